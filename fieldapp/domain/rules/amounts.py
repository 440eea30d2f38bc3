"""Rules about what a fragment is made of, how many there are and what they weigh."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, number, shown, term

_WITH_TEETH = frozenset({"loose_tooth", "mandible", "skull"})
_HEADGEAR = frozenset({"antler", "horn_core"})


def material_against_element(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth called by a bone's name, or a bone by a tooth's."""
    row = docket.element_row
    if row is None or docket.material is None:
        return
    wrong = (
        (docket.material == "tooth" and row.key not in _WITH_TEETH)
        or (docket.material == "bone" and row.material in ("tooth", "antler"))
        or (docket.material in _HEADGEAR and row.material != docket.material and row.key != "skull")
    )
    if wrong:
        yield "material", docket.names(material=term("material", docket.material))


def material_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Antler, horn core or tooth of an animal that has none."""
    taxon = docket.taxon_row
    if taxon is not None:
        grows = {"antler": taxon.antler, "horn_core": taxon.horn_core, "tooth": taxon.tooth}
        if docket.material in grows and grows[docket.material] == "no":
            yield "material", docket.names(material=term("material", docket.material))


def not_bone_with_reading(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Not bone, or shell, and still an element of a skeleton."""
    if docket.material in ("not_bone", "shell") and docket.element is not None:
        yield "material", docket.names(material=term("material", docket.material))


def count_below_one(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A count that is not a whole number from 1 up."""
    count = docket.values.get("count")
    if count is None:
        return
    value = number(count)
    if value is None or value < 1 or value != int(value):
        yield "count", {"count": shown(count)}


def several_as_one_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Several fragments that share one reading of portions and side, as if each were that same piece."""
    count = number(docket.values.get("count"))
    if count is not None and count > 1 and docket.most and docket.side in ("left", "right", "midline"):
        yield "count", docket.names(count=shown(docket.values.get("count")))


def weight_not_positive(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A weight of nothing, less than nothing, or no number."""
    weight = docket.values.get("weight_g")
    if weight is not None and ((value := number(weight)) is None or value <= 0):
        yield "weight_g", {"weight": shown(weight)}


def weight_too_great(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Heavier, fragment for fragment, than any bone of the animal."""
    weight, taxon = number(docket.values.get("weight_g")), docket.taxon_row
    if weight is None or taxon is None or taxon.heaviest_g is None:
        return
    count = number(docket.values.get("count"))
    if weight > taxon.heaviest_g * (count if count is not None and count >= 1 else 1):
        limit = f"{taxon.heaviest_g:g}"
        yield "weight_g", docket.names(weight=shown(docket.values.get("weight_g")), limit=limit)


RULES = by_name(
    material_against_element,
    material_not_in_taxon,
    not_bone_with_reading,
    count_below_one,
    several_as_one_bone,
    weight_not_positive,
    weight_too_great,
)
