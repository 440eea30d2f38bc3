"""What the cases of the rules are made of: sound records of an invented site, and ways to change one thing in them.

A case is (kind of record, rule, path of the finding, breaking record, near miss).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypeAlias

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
    """The case of a record of any other kind."""
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


SAMPLE = {
    "label": str(Label("HLG26", "B", 9)),
    "context": "c1",
    "type": "flotation",
    "litres": 10,
    "fraction/flot": {"part": "flot", "mesh_mm": 0.3, "sorted_share": 1, "weight_g": 4.5},
    "fraction/r4": {"part": "residue", "mesh_mm": 4, "sorted_share": 1, "weight_g": 900, "bone_g": 12.5},
    "fraction/r1": {"part": "residue", "mesh_mm": 1, "sorted_share": 0.25, "weight_g": 600, "bone_g": 2},
    "bone_g": 14.5,
}
CREMATION = {
    "label": str(Label("HLG26", "B", 11)),
    "context": "c1",
    "type": "cremation",
    "spit": 1,
    "cremation/1": {"fraction_mm": 10, "region": "skull", "weight_g": 40},
    "cremation/2": {"fraction_mm": 5, "region": "lower_limb", "weight_g": 60.2},
    "bone_g": 100,
}
TALLY = {
    "label": str(Label("HLG26", "B", 12)),
    "context": "c1",
    "bag": "b1",
    "taxon": "large_mammal",
    "element": "rib",
    "count": 7,
    "weight_g": 61.5,
    "burning": "unburnt",
    "stage": "scan",
}
SAMPLED = {**BAG, "sample": "s1", "fraction": "r4"}
TRANSFER = {
    "docket": "d1",
    "kind": "destructive_sample",
    "to": "a laboratory (invented)",
    "authority": "the director",
    "reference": "7",
    "lab_code": "LAB-1",
    "taken_g": 2,
    "remainder_g": 118.4,
    "photo_before": "p1",
    "measured_before": True,
}
PHOTO = {"docket": "d1", "sha256": "0" * 64, "view": "overall", "scale": True, "closed": False}

SOUND = {
    "docket": d(),
    "context": c(CONTEXT),
    "bag": c(BAG, context=CONTEXT),
    "group": g(docket(), femur()),
    "sample": c(SAMPLE, context=CONTEXT),
    "tally": c(TALLY, context=CONTEXT, bag=BAG),
    "transfer": c(TRANSFER, context=CONTEXT, subject=docket(), whole=True),
    "photo": c(PHOTO, context=CONTEXT, subject=docket(), whole=True),
    "site": c(
        {
            "code": "HLG26",
            "name": "Hollow Gate (invented)",
            "mode": "excavation",
            "dating": {"from": -400, "to": 43},
        }
    ),
}
"""Records with which nothing at all is wrong."""

Cases: TypeAlias = list[tuple[str, str, str, Case, Case]]
