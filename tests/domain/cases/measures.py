"""Cases of the rules about measurements."""

from __future__ import annotations

from typing import Any

from tests.domain.cases.records import SHIN, Case, Cases, d, reading, shin


def measured(code: Any, mm: Any = 60, what: Any = None, **changes: Any) -> Case:
    """A docket of the lower end of a cattle tibia with one measurement; `item` adds to it."""
    item = {"code": code, "mm": mm, "estimated": False, **changes.pop("item", {})}
    return d(what, measure__a=item, **changes)


def toe(**changes: Any) -> dict[str, Any]:
    """A first toe bone of a sheep, whole and joined."""
    most = ("proximal_epiphysis", "body")
    return reading("phalanx_1", "sheep", **{"most": most, "fusion": {"proximal": "fused"}, **changes})


SHOULDER = ("supraglenoid_tubercle", "glenoid", "neck")
FOOT = (
    "proximal_medial", "proximal_lateral", "upper_shaft", "lower_shaft",
    "distal_metaphysis", "medial_condyle", "lateral_condyle",
)  # fmt: skip
TOOTH = reading("loose_tooth", "cattle", side="left", most=("crown",))
PIG_FOOT = reading("metacarpal", "pig", side="left", most=FOOT, fusion={"distal": "fused"})


def shoulder(lg: float, glp: float, **item: Any) -> Case:
    """A sheep's shoulder with length of the socket and length of the joint end."""
    what = reading("scapula", "sheep", side="left", most=SHOULDER, fusion={"distal": "fused"})
    return d(what, measure__a={"code": "LG", "mm": lg, **item}, measure__b={"code": "GLP", "mm": glp})


def marked(kind: str, portion: str, path: str = "mark__1") -> Case:
    return measured("Bd", **{path: {"kind": kind, "portion": portion}})


A = "measure/a"
CASES: Cases = [
    ("docket", "measure_unknown", A, measured("bd"), measured("Bd")),
    ("docket", "measure_of_other_bone", A, measured("BT"), measured("Dd", 45)),
    ("docket", "measure_not_in_animal", A, measured("Ll"), measured("Ll", what=shin(taxon="horse"))),
    (
        "docket",
        "measure_needs_portion",
        A,
        measured("Bd", what=shin(most=("distal_metaphysis", "distal_medial"), part=("distal_lateral",))),
        measured("Bd", what=shin(most=("distal_metaphysis", "distal_medial")), item={"estimated": True}),
    ),
    (
        "docket",
        "measure_needs_fusion",
        A,
        measured("Bd", what=shin(fusion={"distal": "unfused"})),
        measured("Bd", what=shin(fusion={"distal": "fusing", "proximal": "unfused"})),
    ),
    (
        "docket",
        "measure_needs_tooth",
        A,
        measured("M3L", 35, {**TOOTH, "position": "M1"}),
        measured("M3L", 35, {**TOOTH, "position": "M3"}),
    ),
    (
        "docket",
        "measure_needs_position",
        A,
        measured("GL", 75, PIG_FOOT),
        measured("GL", 75, {**PIG_FOOT, "position": "3"}),
    ),
    ("docket", "measure_not_a_number", A, measured("Bd", "60"), measured("Bd", 60.0)),
    ("docket", "measure_unit_slip", A, measured("Bd", 6.0), measured("Bd", 95)),
    ("docket", "measure_out_of_range", A, measured("Bd", 95), measured("Bd", 86)),
    ("docket", "measure_order", A, shoulder(31, 30), shoulder(31, 30, estimated=True)),
    (
        "docket",
        "measure_repeated_differs",
        "measure/b",
        measured("Bd", 60, measure__b={"code": "Bd", "mm": 61.5}),
        measured("Bd", 60, measure__b={"code": "Bd", "mm": 61.0}),
    ),
    ("docket", "measure_burnt", A, measured("Bd", burning="calcined"), measured("Bd", burning="unburnt")),
    (
        "docket",
        "measure_of_young",
        A,
        measured("Bd", what={**shin(), "texture": "porous"}),
        measured("Bd", what={**shin(), "texture": "compact"}),
    ),
    (
        "docket",
        "measure_on_damage",
        A,
        marked("carnivore_gnawing", "distal_medial"),
        marked("carnivore_gnawing", SHIN[0]),
    ),
    (
        "docket",
        "measure_on_disease",
        A,
        marked("joint_rim", "distal_medial", "pathology__1"),
        marked("joint_rim", SHIN[0], "pathology__1"),
    ),
    ("docket", "measure_of_several", A, measured("GLpe", 35, toe(), count=2), measured("GLpe", 35, toe())),
    (
        "docket",
        "measure_not_named",
        "reading/taxon",
        measured("Bd", what=shin(taxon="large_mammal")),
        measured("Bd", what=shin(taxon="cattle", certainty="cf")),
    ),
]
