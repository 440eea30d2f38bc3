"""For every rule one record that breaks it and one near miss that does not. All of an invented site.

A case is (kind of record, rule, path of the finding, breaking record, near miss). A record is a Case-d tuple of
values, what surrounds it, and the members if it is a group.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.domain.labels import Label
from fieldapp.domain.readings import blank_reading
from fieldapp.domain.rules import Around

K = knowledge()
LABEL = str(Label("HLG26", "B", 417))
MISREAD = LABEL[:-1] + ("A" if LABEL[-1] != "A" else "B")
CONTEXT = {"number": "1042", "type": "pit_fill", "grave_like": "no", "state": "open"}
GRAVE = {**CONTEXT, "grave_like": "yes"}
CLOSED = {**CONTEXT, "state": "closed"}
BAG = {"label": str(Label("HLG26", "B", 3)), "context": "c1", "recovery": "sieve", "mesh_mm": 4}


@dataclass(frozen=True)
class Case:
    """A record and what surrounds it."""

    values: dict[str, Any]
    around: Around = field(default_factory=Around)
    members: dict[str, dict[str, Any]] = field(default_factory=dict)


def reading(element: str = "tibia", taxon: str | None = "cattle", **changes: Any) -> dict[str, Any]:
    """A reading in which what is not named is absent, and no fusion was examined."""
    most, part = changes.pop("most", ()), changes.pop("part", ())
    blank = blank_reading(element, taxon, K, "trench")
    for key in blank["portions"]:
        blank["portions"][key] = "most" if key in most else "part" if key in part else "absent"
    blank["fusion"].update(changes.pop("fusion", {}))
    blank["portions"].update(changes.pop("portions", {}))
    return {**blank, "side": changes.pop("side", blank["side"]), **changes}


SHIN = ("distal_metaphysis", "distal_medial", "distal_lateral")


def shin(**changes: Any) -> dict[str, Any]:
    """The lower end of a left cattle tibia, joined: nothing is wrong with it."""
    return reading("tibia", **{"side": "left", "most": SHIN, "fusion": {"distal": "fused"}, **changes})


def docket(what: Any = None, **changes: Any) -> dict[str, Any]:
    """A docket with which nothing is wrong, but for the changes ("human__a" stands for the path "human/a")."""
    values = {
        "label": LABEL,
        "bag": "b1",
        "material": "bone",
        "reading": shin() if what is None else what,
        "human/1": {"answer": "no_sign", "in_place": False},
        "count": 1,
        "weight_g": 120.5,
    }
    values.update({path.replace("__", "/"): value for path, value in changes.items()})
    return {path: value for path, value in values.items() if value is not ...}


def d(what: Any = None, around: Around | None = None, **changes: Any) -> Case:
    """A docket's case."""
    return Case(docket(what, **changes), around or Around(record="d1", bag=BAG, context=CONTEXT))


def c(values: dict[str, Any], **around: Any) -> Case:
    """A context's or bag's case."""
    return Case(values, Around(**around))


def g(*members: dict[str, Any], **changes: Any) -> Case:
    """An articulated group's case, its members numbered m0, m1 ..."""
    values: dict[str, Any] = {"label": "", "context": "c1", "relation": "articulated_observed"}
    values.update({f"member/m{at}": True for at in range(len(members))})
    values.update({path.replace("__", "/"): value for path, value in changes.items()})
    return Case(values, Around(), {f"m{at}": member for at, member in enumerate(members)})


NO_ANSWER = {"human__1": ...}
QUERY = {"answer": "query"}
VERDICT = {"verdict": "non_human", "taxon": "cattle", "element": "tibia", "bone_seen": "bone", "seen": []}
SHOULDER = reading("humerus", "cattle", side="left", most=("head", "greater_tubercle"), fusion={"proximal": "fused"})
FEMUR_END = ("distal_metaphysis", "medial_condyle", "lateral_condyle")


def femur(side: str = "left", taxon: str = "cattle", most: tuple[str, ...] = FEMUR_END) -> dict[str, Any]:
    """A docket of a lower femur."""
    return docket(reading("femur", taxon, side=side, most=most, fusion={"distal": "fused"}))


SOUND = {
    "docket": d(),
    "context": c(CONTEXT),
    "bag": c(BAG, context=CONTEXT),
    "group": g(docket(), femur()),
}
"""Records with which nothing at all is wrong."""

CASES: list[tuple[str, str, str, Case, Case]] = [
    # The human question
    (
        "docket",
        "human_without_answer",
        "reading/taxon",
        d(shin(taxon="human")),
        d(shin(taxon="human"), human__2=QUERY),
    ),
    (
        "docket",
        "grave_without_answer",
        "human",
        d(around=Around(context=GRAVE)),
        d(around=Around(context=CONTEXT)),
    ),
    (
        "docket",
        "young_shaft_not_excluded",
        "human",
        d(reading("femur", "medium_mammal", most=("upper_shaft", "distal_metaphysis"), fusion={"distal": "unfused"})),
        d(reading("femur", "medium_mammal", most=FEMUR_END, fusion={"distal": "unfused"})),
    ),
    (
        "docket",
        "burnt_not_excluded",
        "human",
        d(reading("rib", "medium_mammal", most=("upper_body",)), burning="calcined"),
        d(reading("rib", "medium_mammal", most=("upper_body",)), burning="unburnt"),
    ),
    (
        "docket",
        "no_sign_without_portion",
        "human/1",
        d(shin(most=(), part=("distal_metaphysis",))),
        d(shin(most=("distal_metaphysis",))),
    ),
    ("docket", "question_not_asked", "human", d(human__1={"answer": "not_asked"}), d(human__1=QUERY)),
    (
        "docket",
        "stop_but_lifted",
        "human/1",
        d(human__1={"answer": "stop", "in_place": False}),
        d(human__1={"answer": "query", "in_place": False}),
    ),
    (
        "docket",
        "in_place_but_bagged",
        "human/1",
        d(human__1={"answer": "stop", "in_place": True}),
        d(human__1={"answer": "stop", "in_place": True}, bag=..., context="c1"),
    ),
    (
        "docket",
        "assessment_against_reading",
        "assessment/1",
        d(shin(taxon="sheep"), assessment__1=VERDICT),
        d(shin(taxon="large_mammal"), assessment__1=VERDICT),
    ),
    (
        "docket",
        "assessment_cannot_clear",
        "assessment/1",
        d(assessment__1={**VERDICT, "bone_seen": "pictures"}),
        d(assessment__1=VERDICT),
    ),
    # Words, names, sex, age
    ("docket", "word_unknown", "reading/taxon", d(shin(taxon="aurochs")), d(shin(taxon="unknown"))),
    ("context", "word_unknown", "type", c({**CONTEXT, "type": "posthole"}), c({**CONTEXT, "type": "other"})),
    ("bag", "word_unknown", "recovery", c({**BAG, "recovery": "shovel"}), c({**BAG, "recovery": None})),
    ("group", "word_unknown", "relation", g(docket(), femur(), relation="near"), g(docket(), femur())),
    (
        "docket",
        "element_not_in_taxon",
        "reading/element",
        d(reading("calcaneum", "fowl", most=("body",))),
        d(reading("calcaneum", "cat", most=("body",))),
    ),
    (
        "docket",
        "taxon_finer_than_bone",
        "reading/taxon",
        d(reading("rib", "sheep", most=("head",))),
        d(reading("rib", "sheep", certainty="cf", most=("head",))),
    ),
    (
        "docket",
        "taxon_coarser_than_bone",
        "reading/taxon",
        d(reading("astragalus", "medium_mammal", most=("proximal_medial", "proximal_lateral"))),
        d(reading("astragalus", "medium_mammal", most=("proximal_medial",))),
    ),
    (
        "docket",
        "cf_without_name",
        "reading/certainty",
        d(shin(taxon="large_mammal", certainty="cf")),
        d(shin(taxon="sheep_goat", certainty="cf")),
    ),
    (
        "docket",
        "pair_parted_without_comparison",
        "reading/compared",
        d(shin(taxon="goat")),
        d(shin(taxon="goat", compared="the unit's own skeletons")),
    ),
    (
        "docket",
        "sex_not_visible",
        "reading/sex",
        d(shin(sex="female")),
        d(reading("pelvis", sex="female", side="left", most=("acetabulum_pubis",))),
    ),
    (
        "docket",
        "adult_with_unfused",
        "reading/age",
        d(shin(age="adult", fusion={"distal": "unfused"})),
        d(shin(age="adult", fusion={"distal": "fusing"})),
    ),
    ("docket", "reading_missing", "reading", d(reading=None), d(reading=None, material="shell")),
    # Portions and sides
    (
        "docket",
        "portion_of_other_bone",
        "reading/portions/trochlea",
        d(shin(portions={"trochlea": "absent"})),
        d(shin(portions={"trochlea": "not_examined"})),
    ),
    (
        "docket",
        "detail_without_element",
        "reading/side",
        d(reading("long_bone", "large_mammal", side="right")),
        d(reading("long_bone", "large_mammal", side="unsided")),
    ),
    (
        "docket",
        "side_on_midline",
        "reading/side",
        d(reading("atlas", side="left", most=("left_wing",))),
        d(reading("mandible", side="left", most=("diastema",))),
    ),
    (
        "docket",
        "midline_on_paired",
        "reading/side",
        d(shin(side="midline")),
        d(reading("pelvis", side="midline", most=("symphysis",))),
    ),
    ("docket", "side_missing", "reading/side", d(shin(side=None)), d(shin(side=None, most=(), part=SHIN))),
    (
        "docket",
        "portions_all_absent",
        "reading/portions",
        d(shin(most=())),
        d(shin(most=(), portions={"tuberosity": "not_examined"})),
    ),
    (
        "docket",
        "portions_not_written",
        "reading/portions",
        d({**shin(), "portions": {"distal_medial": "most"}}),
        d({**shin(), "portions": {portion.key: "not_examined" for portion in K.portions_of("tibia")}}),
    ),
    (
        "docket",
        "portions_not_joined",
        "reading/portions",
        d(shin(most=("upper_shaft", "distal_medial"))),
        d(shin(most=("upper_shaft", "distal_medial"), portions={"lower_shaft": "not_examined"}, part=SHIN)),
    ),
    (
        "docket",
        "portions_not_examined",
        "reading/portions",
        d({**blank_reading("tibia", "cattle", K, "analysis"), "side": "left"}),
        d({**blank_reading("tibia", "cattle", K, "scan"), "side": "left"}),
    ),
    # Fusion
    (
        "docket",
        "centre_of_other_bone",
        "reading/fusion/head",
        d(shin(fusion={"distal": "fused", "head": "fused"})),
        d(reading("femur", side="left", most=("head",), fusion={"head": "fused"})),
    ),
    (
        "docket",
        "centre_not_in_taxon",
        "reading/fusion/proximal",
        d(reading("phalanx_3", "cattle", most=("articular_end",), fusion={"proximal": "fused"})),
        d(reading("phalanx_3", "human", most=("articular_end",), fusion={"proximal": "fused"})),
    ),
    (
        "docket",
        "epiphysis_missing",
        "reading/fusion/distal",
        d(shin(most=("distal_metaphysis",))),
        d(shin(most=("distal_metaphysis",), part=("distal_medial",))),
    ),
    (
        "docket",
        "growth_line_missing",
        "reading/fusion/proximal",
        d(shin(fusion={"distal": "fused", "proximal": "unfused"}, taxon=None)),
        d(shin(fusion={"distal": "fused", "proximal": "not_visible"}, taxon=None)),
    ),
    (
        "docket",
        "loose_with_shaft",
        "reading/fusion/distal",
        d(shin(fusion={"distal": "loose_epiphysis"})),
        d(shin(fusion={"distal": "loose_epiphysis"}, most=("distal_medial", "distal_lateral"))),
    ),
    (
        "docket",
        "fusion_order",
        "reading/fusion/distal",
        d(shin(fusion={"distal": "unfused", "proximal": "fused"})),
        d(shin(fusion={"distal": "fused", "proximal": "unfused"})),
    ),
    (
        "docket",
        "fusion_left_blank",
        "reading/fusion/distal",
        d(shin(fusion={})),
        d(shin(fusion={"distal": "not_visible"})),
    ),
    # Material, number, weight
    ("docket", "material_against_element", "material", d(material="tooth"), d(reading("mandible"), material="tooth")),
    (
        "docket",
        "material_not_in_taxon",
        "material",
        d(reading("skull", "pig", most=("left_frontal",)), material="antler"),
        d(reading("skull", "red_deer", most=("left_frontal",)), material="antler"),
    ),
    (
        "docket",
        "not_bone_with_reading",
        "material",
        d(material="not_bone"),
        d({**shin(), "element": None}, material="not_bone"),
    ),
    ("docket", "count_below_one", "count", d(count=0), d(count=1)),
    (
        "docket",
        "several_as_one_bone",
        "count",
        d(count=3),
        d(reading("long_bone", "large_mammal", side="unsided"), count=3),
    ),
    ("docket", "weight_not_positive", "weight_g", d(weight_g=0), d(weight_g=0.1)),
    ("docket", "weight_too_great", "weight_g", d(weight_g=4100), d(weight_g=4100, count=2)),
    # Places, labels, joining
    ("docket", "place_missing", "bag", d(bag=None), d(bag=None, context="c1")),
    ("docket", "bag_of_other_context", "context", d(context="c2"), d(context="c1")),
    (
        "docket",
        "context_closed",
        "bag",
        d(around=Around(context=CLOSED, new=True)),
        d(around=Around(context=CLOSED)),
    ),
    (
        "bag",
        "context_closed",
        "context",
        c(BAG, context=CLOSED, new=True),
        c(BAG, context=CONTEXT, new=True),
    ),
    ("docket", "label_check_wrong", "label", d(label=MISREAD), d(label=LABEL.lower())),
    ("bag", "label_check_wrong", "label", c({**BAG, "label": MISREAD}), c({**BAG, "label": "sherds"})),
    ("group", "label_check_wrong", "label", g(docket(), femur(), label=MISREAD), g(docket(), femur(), label="leg")),
    ("docket", "label_repeated", "label", d(around=Around(labels={LABEL: 2})), d(around=Around(labels={LABEL: 1}))),
    ("bag", "label_repeated", "label", c(BAG, labels={BAG["label"]: 2}), c(BAG, labels={LABEL: 2})),
    (
        "group",
        "label_repeated",
        "label",
        Case({"label": LABEL, "member/m0": True, "member/m1": True}, Around(labels={LABEL: 2})),
        Case({"label": LABEL, "member/m0": True, "member/m1": True}, Around(labels={LABEL: 1})),
    ),
    (
        "docket",
        "possible_double",
        "weight_g",
        d(around=Around(siblings=[docket(label="HLG26 B418")])),
        d(around=Around(siblings=[docket(label="HLG26 B418", weight_g=120.6)])),
    ),
    ("docket", "joined_to_itself", "same_as/d1", d(same_as__d1=True), d(same_as__d2=True)),
    (
        "docket",
        "joined_but_conflicting",
        "same_as/d2",
        d(same_as__d2=True, around=Around(record="d1", joined={"d2": docket(shin(taxon="pig"))})),
        d(same_as__d2=True, around=Around(record="d1", joined={"d2": docket(shin(taxon="large_mammal"))})),
    ),
    (
        "docket",
        "burrower",
        "reading/taxon",
        d(shin(taxon="hare_rabbit"), weight_g=3),
        d(shin(taxon="cat"), weight_g=3),
    ),
    # Contexts and bags
    ("context", "context_number_missing", "number", c({**CONTEXT, "number": ""}), c({**CONTEXT, "number": "0"})),
    (
        "context",
        "context_number_repeated",
        "number",
        c(CONTEXT, labels={"1042": 2}),
        c(CONTEXT, labels={"1042": 1, "1043": 2}),
    ),
    (
        "context",
        "grave_denied",
        "grave_like",
        c({**CONTEXT, "type": "grave", "grave_like": "no"}),
        c({**CONTEXT, "type": "grave", "grave_like": "yes"}),
    ),
    (
        "context",
        "grave_not_asked",
        "grave_like",
        c({**CONTEXT, "grave_like": "unknown"}),
        c({**CONTEXT, "grave_like": "unknown", "type": "grave"}),
    ),
    ("bag", "bag_without_context", "context", c({**BAG, "context": None}), c(BAG)),
    ("bag", "sieve_without_mesh", "mesh_mm", c({**BAG, "mesh_mm": None}), c({**BAG, "mesh_mm": 0.5})),
    (
        "bag",
        "mesh_without_sieve",
        "mesh_mm",
        c({**BAG, "recovery": "hand"}),
        c({**BAG, "recovery": "hand", "mesh_mm": None}),
    ),
    ("bag", "mesh_implausible", "mesh_mm", c({**BAG, "mesh_mm": 400}), c({**BAG, "mesh_mm": 10})),
    # Groups
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
