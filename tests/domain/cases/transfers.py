"""Cases of the rules about transfers and photos."""

from __future__ import annotations

from tests.domain.cases.records import Cases, c

CASES: Cases = [
    ("transfer", "word_unknown", "type", c({"docket": "d1", "type": "odd"}), c({"docket": "d1", "type": "grave"})),
    ("photo", "word_unknown", "type", c({"docket": "d1", "type": "odd"}), c({"docket": "d1", "type": "grave"})),
]
