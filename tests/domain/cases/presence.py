"""Cases of the rules about where and when animals lived."""

from __future__ import annotations

from tests.domain.cases.records import Cases, c

CASES: Cases = [
    ("site", "word_unknown", "type", c({"code": "HLG26", "type": "odd"}), c({"code": "HLG26", "type": "grave"})),
]
