"""Cases of the rules about breaks and pieces that join."""

from __future__ import annotations

from typing import Any

from fieldapp.domain.rules import Around
from tests.domain.cases.records import CONTEXT, Case, Cases, d, docket, reading, shin

SCORES = {"angle": 0, "outline": 1, "texture": 2}
SHAFT = shin(most=("lower_shaft", "distal_metaphysis"))


def joined(other: dict[str, Any], at: str = "fresh", **changes: Any) -> Case:
    """A docket that joins `other`, the docket d2."""
    return d(joins__d2={"break": at}, around=Around(record="d1", refits={"d2": other}), **changes)


CASES: Cases = [
    (
        "docket",
        "fracture_score_out_of_range",
        "fracture/angle",
        d(SHAFT, fracture={**SCORES, "angle": 3}),
        d(SHAFT, fracture=SCORES),
    ),
    (
        "docket",
        "fracture_half_scored",
        "fracture/texture",
        d(SHAFT, fracture={**SCORES, "texture": None}),
        d(SHAFT, fracture=SCORES),
    ),
    (
        "docket",
        "fracture_without_marrow",
        "fracture",
        d(reading("ulna", "cattle", side="left", most=("upper_shaft",)), fracture=SCORES),
        d(reading("radius", "cattle", side="left", most=("upper_shaft",)), fracture=SCORES),
    ),
    (
        "docket",
        "fracture_without_old_break",
        "fracture",
        d(SHAFT, fracture=SCORES, breaks="fresh"),
        d(SHAFT, fracture=SCORES, breaks="both"),
    ),
    (
        "docket",
        "refit_to_itself",
        "joins/d1",
        d(joins__d1={"break": "old"}),
        d(joins__d2={"break": "old"}),
    ),
    (
        "docket",
        "refit_conflicts",
        "joins/d2",
        joined(docket(shin(taxon="pig")), at="old"),
        joined(docket(shin(taxon="large_mammal", side="unsided")), at="old"),
    ),
    (
        "docket",
        "refit_shares_portion",
        "joins/d2",
        joined(docket(SHAFT), at="old"),
        joined(docket(shin(most=("lower_shaft",), part=("distal_metaphysis",))), at="old"),
    ),
    (
        "docket",
        "refit_without_such_break",
        "joins/d2",
        d(joins__d2={"break": "fresh"}, breaks="old"),
        d(joins__d2={"break": "fresh"}, breaks="both"),
    ),
    (
        "docket",
        "new_break_counted_twice",
        "joins/d2",
        joined(docket()),
        joined(docket(), same_as__d2=True),
    ),
    (
        "docket",
        "new_break_burnt_unlike",
        "joins/d2",
        joined(docket(burning="calcined"), burning="unburnt"),
        joined(docket(burning="calcined"), burning="unburnt", at="old"),
    ),
    (
        "docket",
        "new_break_without_refit",
        "breaks",
        d(breaks="fresh", around=Around(context=CONTEXT, new=True)),
        d(breaks="fresh", joins__d2={"break": "fresh"}, around=Around(context=CONTEXT, new=True)),
    ),
]
