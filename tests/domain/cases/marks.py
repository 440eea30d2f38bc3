"""Cases of the rules about single marks."""

from __future__ import annotations

from fieldapp.domain.rules import Around
from tests.domain.cases.records import CONTEXT, QUERY, VERDICT, Cases, d, shin

CUT = {"kind": "cut", "portion": "distal_metaphysis", "aspect": "cranial", "direction": "transverse", "number": 2}
TRAMPLED = {"kind": "trampling", "portion": "distal_metaphysis"}
STONE_AGE = {**CONTEXT, "dating": {"from": -6500, "to": -6000}}

CASES: Cases = [
    ("docket", "mark_of_other_bone", "mark/a", d(mark__a={**CUT, "portion": "trochlea"}), d(mark__a=CUT)),
    ("docket", "mark_on_absent_portion", "mark/a", d(mark__a={**CUT, "portion": "upper_shaft"}), d(mark__a=CUT)),
    (
        "docket",
        "mark_without_portion",
        "mark/a",
        d(shin(stage="analysis"), mark__a={**CUT, "portion": None}),
        d(shin(stage="analysis"), mark__a=CUT),
    ),
    (
        "docket",
        "mark_number_not_positive",
        "mark/a",
        d(mark__a={**CUT, "number": 0}),
        d(mark__a={**CUT, "number": 1}),
    ),
    (
        "docket",
        "mark_written_twice",
        "mark/b",
        d(mark__a=CUT, mark__b=dict(CUT)),
        d(mark__a=CUT, mark__b={**CUT, "direction": "oblique"}),
    ),
    (
        "docket",
        "mark_aspect_not_on_bone",
        "mark/a",
        d(mark__a={**CUT, "aspect": "lingual"}),
        d(mark__a={**CUT, "aspect": "plantar"}),
    ),
    (
        "docket",
        "pale_mark_may_be_new",
        "mark/a",
        d(mark__a={**CUT, "tone": "paler"}),
        d(mark__a={**CUT, "tone": "same"}),
    ),
    (
        "docket",
        "tool_against_mark",
        "mark/a",
        d(mark__a={**CUT, "kind": "carnivore_gnawing", "tool": "metal_blade"}),
        d(mark__a={**CUT, "tool": "metal_blade"}),
    ),
    (
        "docket",
        "tool_before_its_time",
        "mark/a",
        d(mark__a={**CUT, "tool": "metal_blade"}, around=Around(context=STONE_AGE)),
        d(mark__a={**CUT, "tool": "stone_edge"}, around=Around(context=STONE_AGE)),
    ),
    (
        "docket",
        "mark_on_lost_surface",
        "mark/a",
        d(mark__a=CUT, preservation="lost"),
        d(mark__a={**CUT, "kind": "chop"}, preservation="lost"),
    ),
    (
        "docket",
        "cut_beside_trampling",
        "mark/a",
        d(mark__a=CUT, mark__b=TRAMPLED),
        d(mark__a={**CUT, "tool": "stone_edge"}, mark__b=TRAMPLED),
    ),
    (
        "docket",
        "blow_without_old_break",
        "mark/a",
        d(mark__a={**CUT, "kind": "percussion"}, breaks="fresh"),
        d(mark__a={**CUT, "kind": "percussion"}, breaks="both"),
    ),
    (
        "docket",
        "mark_on_possible_human",
        "mark/a",
        d(mark__a=CUT, human__2=QUERY),
        d(mark__a=CUT, human__2=QUERY, assessment__1=VERDICT),
    ),
]
