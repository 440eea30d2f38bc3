"""Cases of the rules about tallies."""

from __future__ import annotations

from tests.domain.cases.records import CLOSED, CONTEXT, GRAVE, MISREAD, TALLY, Case, Cases, c

BURNT = {**TALLY, "burning": "calcined"}


def t(around_of: dict[str, object] = CONTEXT, **changes: object) -> Case:
    return c({**TALLY, **changes}, context=around_of)


CASES: Cases = [
    ("tally", "tally_may_be_human", "taxon", t(taxon="mammal_or_human"), t(taxon="mammal")),
    ("tally", "tally_from_grave", "context", t(GRAVE), t(GRAVE, element="snail_shell")),
    ("tally", "tally_burnt_unnamed", "burning", t(burning="calcined"), t(burning="calcined", taxon="pig")),
    ("tally", "word_unknown", "element", t(element="ribbe"), t(element=None)),
    ("tally", "count_below_one", "count", t(count=0), t(count=1)),
    ("tally", "weight_not_positive", "weight_g", t(weight_g=-2), t(weight_g=0.1)),
    ("tally", "label_check_wrong", "label", t(label=MISREAD), t()),
    (
        "tally",
        "label_repeated",
        "label",
        c(TALLY, context=CONTEXT, labels={TALLY["label"]: 2}),
        c(TALLY, context=CONTEXT, labels={TALLY["label"]: 1}),
    ),
    ("tally", "context_closed", "bag", c(TALLY, context=CLOSED, new=True), c(TALLY, context=CLOSED)),
]
