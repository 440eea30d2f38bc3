"""Cases of the rules about samples."""

from __future__ import annotations

from fieldapp.domain.labels import Label
from tests.domain.cases.records import CLOSED, MISREAD, SAMPLE, Cases, c

OWN = str(Label("HLG26", "B", 9))

CASES: Cases = [
    ("sample", "label_check_wrong", "label", c({**SAMPLE, "label": MISREAD}), c(SAMPLE)),
    ("sample", "label_repeated", "label", c(SAMPLE, labels={OWN: 2}), c(SAMPLE, labels={OWN: 1})),
    (
        "sample",
        "context_closed",
        "context",
        c(SAMPLE, new=True, context=CLOSED),
        c(SAMPLE, new=False, context=CLOSED),
    ),
]
