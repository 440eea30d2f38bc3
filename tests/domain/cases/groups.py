"""Cases of the rules about groups."""

from __future__ import annotations

from tests.domain.cases.records import QUERY, SHOULDER, Cases, docket, femur, g, reading, shin

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
]
