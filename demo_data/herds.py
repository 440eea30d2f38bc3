"""An invented assemblage: herds that lived, were eaten, broken and recorded, from a seed.

No such animals or finds exist. Each skeleton has an age, a sex and a size; its bones survive by chance, break into runs
of neighbouring portions, and are written down as a careful recorder would, so that analyses have something to find.
For: the demonstration and the benchmarks. Not for: tests of definitions, which make their own small worlds.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.readings import blank_reading

Values = dict[str, Any]

LONG = ("humerus", "radius", "ulna", "femur", "tibia", "metacarpal", "metatarsal")
ELEMENTS = (
    *LONG, "scapula", "pelvis", "mandible", "calcaneum", "astragalus", "phalanx_1", "phalanx_2", "atlas", "axis", "rib",
)  # fmt: skip
SURVIVES = {"mandible": 0.5, "tibia": 0.4, "humerus": 0.4, "scapula": 0.35, "rib": 0.06, "phalanx_1": 0.12,
            "phalanx_2": 0.1}  # fmt: skip
USUALLY = 0.28
SHORTENED = {"rib": 8, "phalanx_1": 4, "phalanx_2": 4}
"""Of bones of which there are many, no more than so many of a skeleton are tried."""
FRACTURE = ("angle", "outline", "texture")


@dataclass(frozen=True, slots=True)
class Herd:
    """Animals of one kind. `ages`: (months, weight) at which they die; `size`: mean of a factor around the middle of
    the published range, whose spread is 3 %; `parted`: how often sheep are told from sheep or goat."""

    taxon: str
    animals: int
    ages: tuple[tuple[float, int], ...]
    size: float = 1.0
    parted: float = 1.0


YOUNG = ((3, 2), (8, 4), (18, 6), (30, 5), (42, 3), (60, 3), (84, 2))
OLD = ((6, 1), (18, 2), (36, 3), (60, 4), (84, 4), (108, 2))
PIGS = ((5, 2), (10, 4), (18, 6), (26, 5), (36, 2))
HERDS = {
    "1": (Herd("sheep", 6, OLD, 0.97, 0.4), Herd("cattle", 3, OLD, 0.97), Herd("pig", 2, PIGS)),
    "2": (Herd("sheep", 9, YOUNG, 1.0, 0.4), Herd("cattle", 6, OLD, 1.0), Herd("pig", 5, PIGS), Herd("dog", 1, OLD)),
    "3": (Herd("sheep", 7, YOUNG, 1.06, 0.4), Herd("cattle", 5, YOUNG, 1.04), Herd("pig", 7, PIGS),
          Herd("horse", 1, OLD)),
}  # fmt: skip
"""{phase: what was kept}: sheep get larger and are killed younger, pigs more."""


def fragments(
    herds: tuple[Herd, ...], knowledge: Knowledge, seed: object, new_id: Callable[[], str]
) -> Iterator[Values]:
    """The values of a docket for each fragment of these herds, without label and place."""
    rng = random.Random(str(seed))
    for herd in herds:
        months, weights = zip(*herd.ages, strict=True)
        for _ in range(herd.animals):
            age = rng.choices(months, weights)[0] * rng.uniform(0.85, 1.15)
            size, male = herd.size * rng.gauss(1, 0.03), rng.random() < 0.35
            for element in ELEMENTS:
                yield from _bones(herd, element, age, size * (1.04 if male else 1.0), knowledge, rng, new_id)


def _bones(
    herd: Herd, element: str, age: float, size: float, knowledge: Knowledge, rng: random.Random,
    new_id: Callable[[], str],
) -> Iterator[Values]:  # fmt: skip
    if not knowledge.occurs(element, herd.taxon):
        return
    count = knowledge.count(herd.taxon, element) or 0
    bone = knowledge.elements[element]
    for n in range(min(count, SHORTENED.get(element, count))):
        if rng.random() > SURVIVES.get(element, USUALLY):
            continue
        side = ("left", "right")[n % 2] if bone.sided else "midline" if bone.midline else None
        taxon = herd.taxon if herd.taxon != "sheep" or rng.random() < herd.parted else "sheep_goat"
        for kept in _pieces(element, taxon, age, knowledge, rng):
            yield _docket(element, taxon, side, kept, age, size, knowledge, rng, new_id)


def _state(age: float, element: str, centre: str, taxon: str, knowledge: Knowledge) -> str:
    low, high = knowledge.fusion_range(taxon, element, centre) or (None, None)
    if low is None and high is None:
        return "not_visible"
    low = low if low is not None else high or 0.0
    high = high if high is not None else low
    return "unfused" if age < low else "fused" if age >= high else "fusing"


def _pieces(
    element: str, taxon: str, age: float, knowledge: Knowledge, rng: random.Random
) -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """({portion: state}, {centre: state}) of each fragment of a bone: what is not joined yet has come apart, and the
    rest has broken between neighbouring steps."""
    portions = knowledge.portions_of(element, taxon)
    states = {one.key: _state(age, element, one.key, taxon, knowledge) for one in knowledge.centres_of(element, taxon)}
    loose = {centre for centre, state in states.items() if state == "unfused"}
    body = [one for one in portions if one.centre not in loose]
    for centre in sorted(loose):
        own = [one for one in portions if one.centre == centre]
        if own and rng.random() < 0.35:
            yield {one.key: "most" for one in own}, {centre: "loose_epiphysis"}
    steps = sorted({one.step for one in body})
    if not steps:
        return
    cut = rng.randint(1, len(steps)) if rng.random() < 0.75 else len(steps)
    for run in (steps[:cut], steps[cut:]):
        if not run or (len(run) < len(steps) and rng.random() < 0.4):
            continue
        kept = {one.key: rng.choices(("most", "part"), (5, 1))[0] for one in body if one.step in run}
        seen = {}
        for centre_of in knowledge.centres_of(element, taxon):
            key, ends = centre_of.key, [one.key for one in portions if one.centre == centre_of.key]
            if (key in loose and centre_of.metaphysis in kept) or any(one in kept for one in ends):
                seen[key] = states[key]
        yield kept, seen


def _docket(
    element: str, taxon: str, side: str | None, kept: tuple[dict[str, str], dict[str, str]], age: float, size: float,
    knowledge: Knowledge, rng: random.Random, new_id: Callable[[], str],
) -> Values:  # fmt: skip
    portions, fusion = kept
    reading = blank_reading(element, taxon, knowledge, "analysis")
    reading["side"], reading["compared"] = side, "reference collection"
    positions = knowledge.positions_of(element, taxon)
    reading["position"] = rng.choice(positions) if positions else None
    reading["certainty"] = "certain" if rng.random() < 0.92 else "cf"
    reading["portions"] |= {key: portions.get(key, "absent") for key in reading["portions"]}
    reading["fusion"] |= {key: fusion.get(key, "not_visible") for key in reading["fusion"]}
    whole = len(portions) / max(1, len(reading["portions"]))
    heavy = {"cattle": 180, "horse": 220, "pig": 45, "dog": 22}.get(taxon, 30) * (1.0 if element in LONG else 0.35)
    values: Values = {
        "material": knowledge.elements[element].material,
        "reading": reading,
        "count": 1,
        "weight_g": round(max(0.3, heavy * whole * size * rng.uniform(0.7, 1.2)), 1),
        f"human/{new_id()}": {"answer": "no_sign", "why": "", "in_place": False, "by_rule": None, "stage": "scan"},
    }
    _measure(values, element, taxon, portions, fusion, size, knowledge, rng, new_id)
    if element == "mandible":
        _teeth(values, taxon, side, age, portions, rng, new_id)
    _surface(values, element, taxon, portions, rng, new_id)
    return values


def _measure(
    values: Values, element: str, taxon: str, portions: dict[str, str], fusion: dict[str, str], size: float,
    knowledge: Knowledge, rng: random.Random, new_id: Callable[[], str],
) -> None:  # fmt: skip
    most = {one for one, state in portions.items() if state == "most"}
    for taking in knowledge.measures.possible(element, taxon, most, fusion):
        code = taking.measurement.code
        limits = knowledge.measures.limits(element, code, taxon)
        if not taking.now or taking.measurement.tooth or values.get("burning") or limits is None or rng.random() > 0.8:
            continue
        mm = (limits.low + limits.high) / 2 * size * rng.gauss(1, 0.012)
        values[f"measure/{new_id()}"] = {"code": code, "mm": round(mm, 1), "estimated": rng.random() < 0.05, "note": ""}


_GRANT = "abcdefghjklmn"
_COMES = {"M1": 4.0, "M2": 11.0, "M3": 24.0}
"""Months at which a molar comes into wear in this invented herd; in cattle at half as much again."""


def _teeth(
    values: Values, taxon: str, side: str | None, age: float, portions: dict[str, str], rng: random.Random,
    new_id: Callable[[], str],
) -> None:  # fmt: skip
    if taxon not in ("sheep", "sheep_goat", "cattle", "pig") or rng.random() > 0.7 or len(portions) < 2:
        return
    pace = 1.5 if taxon == "cattle" else 1.0
    for tooth, comes in _COMES.items():
        since = age - comes * pace
        if since < 0:
            continue
        worn = _GRANT[min(int(since / (7 * pace)), len(_GRANT) - 1)]
        values[f"tooth/{new_id()}"] = {
            "tooth": tooth, "jaw": "lower", "side": side, "seat": "in_jaw", "stage": "in_wear", "scheme": "grant_1982",
            "wear": worn, "crown_height_mm": None, "note": "",
        }  # fmt: skip


def _surface(
    values: Values, element: str, taxon: str, portions: dict[str, str], rng: random.Random, new_id: Callable[[], str]
) -> None:
    keys = sorted(portions)
    if keys and rng.random() < (0.22 if taxon in ("cattle", "horse") else 0.12):
        for _ in range(rng.randint(1, 2)):
            kind = rng.choices(("cut", "chop", "percussion"), (6, 3, 1))[0]
            values[f"mark/{new_id()}"] = {
                "kind": kind, "portion": rng.choice(keys), "aspect": None, "direction": None,
                "tool": "metal_blade" if kind != "percussion" else "hammer", "number": rng.randint(1, 4),
            }  # fmt: skip
    if keys and rng.random() < 0.14:
        kind = rng.choices(("carnivore_gnawing", "rodent_gnawing"), (5, 1))[0]
        values[f"mark/{new_id()}"] = {"kind": kind, "portion": rng.choice(keys)}
    values["burning"] = rng.choices(("unburnt", "charred", "calcined"), (92, 6, 2))[0]
    if values["burning"] != "unburnt":
        values["burn_colour"] = {"charred": "black", "calcined": "white"}[values["burning"]]
    values["weathering"] = rng.choices((0, 1, 2, 3, 4), (40, 35, 15, 8, 2))[0]
    values["preservation"] = rng.choices(("crisp", "good", "dulled", "poor"), (1, 5, 3, 1))[0]
    values["roots"] = rng.choices(("none", "some", "most"), (6, 3, 1))[0]
    if element in LONG and any("shaft" in one and state == "most" for one, state in portions.items()):
        values["fracture"] = {one: rng.choices((0, 1, 2), (5, 3, 2))[0] for one in FRACTURE}
