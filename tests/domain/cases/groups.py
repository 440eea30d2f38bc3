"""Cases of the rules about groups."""

from __future__ import annotations

from typing import Any

from tests.domain.cases.records import QUERY, SHOULDER, Cases, docket, femur, g, reading, shin


def rib(side: str, number: str) -> dict[str, Any]:
    """A docket of the head of a rib."""
    return docket(reading("rib", "large_mammal", side=side, most=("head",), position=number))


CASES: Cases = [
    (
        "group",
        "group_taxa_differ",
        "member/m1",
        g(docket(), femur(taxon="horse")),
        g(docket(), femur(taxon="large_mammal")),
    ),
    (
        "group",
        "group_same_side_twice",
        "member/m1",
        g(femur(), femur()),
        g(femur(), femur(most=("head", "greater_trochanter"))),
    ),
    (
        "group",
        "group_more_than_skeleton",
        "member/m1",
        g(docket(reading("atlas", most=("left_wing",))), docket(reading("atlas", most=("left_wing",)))),
        g(docket(reading("atlas", most=("left_wing",))), docket(reading("atlas", most=("right_wing",)))),
    ),
    (
        "group",
        "group_ages_clash",
        "member/m0",
        g(docket(shin(fusion={"distal": "unfused"})), docket(SHOULDER)),
        g(docket(shin(fusion={"distal": "fusing"}, taxon="large_mammal")), docket(SHOULDER)),
    ),
    (
        "group",
        "group_contexts_differ",
        "member/m1",
        g(docket(), {**femur(), "context": "c2"}),
        g(docket(), {**femur(), "context": "c1"}),
    ),
    (
        "group",
        "group_member_missing",
        "member/m2",
        g(docket(), femur(), member__m2=True),
        g(docket(), femur(), member__m2=None),
    ),
    ("group", "group_of_one", "member", g(docket()), g(docket(), femur())),
    (
        "group",
        "group_with_possible_human",
        "member/m1",
        g({**docket(), "human/2": QUERY}, femur()),
        g({**docket(), "human/2": QUERY}, {**femur(), "human/2": {"answer": "stop"}}),
    ),
    (
        "group",
        "group_same_position_twice",
        "member/m1",
        g(rib("left", "4"), rib("left", "4")),
        g(rib("left", "4"), rib("right", "4")),
    ),
    (
        "group",
        "group_age_words_differ",
        "member/m1",
        g(docket(shin(age="adult")), docket(reading("femur", side="left", age="newborn"))),
        g(docket(shin(age="adult")), docket(reading("femur", side="left", age="subadult"))),
    ),
    (
        "group",
        "group_sexes_differ",
        "member/m1",
        g(docket(reading("pelvis", sex="female")), docket(reading("metacarpal", sex="male"))),
        g(docket(reading("pelvis", sex="female")), docket(reading("metacarpal", sex="female"))),
    ),
    (
        "group",
        "group_name_to_share",
        "member/m1",
        g(docket(), femur(taxon="large_mammal")),
        g(docket(shin(certainty="cf")), femur(taxon="large_mammal")),
    ),
    (
        "group",
        "group_piece_left_out",
        "member/m0",
        g(docket(same_as__d9=True), femur()),
        g(docket(same_as__m1=True), femur()),
    ),
    (
        "group",
        "compared_bones_differ",
        "member/m1",
        g(femur(), docket(), relation="compared"),
        g(femur(), femur("right"), relation="compared"),
    ),
]
