"""Rules about what a fragment is made of, how many there are, how long they are and what they weigh."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, number, shown, term, text

LONGEST_MM = 700
LONGEST_ANTLER_MM = 1500
"""A piece longer than this is taken for a slip of the pen (project decision)."""

DENSEST_G_CM3 = 3.0
"""Enamel, the heaviest tissue of a skeleton, weighs about this much for its size (memory)."""

_OF_BODY = frozenset({"bone", "tooth", "antler", "horn_core"})
_HEADGEAR = frozenset({"antler", "horn_core"})
_NOT_OF_SKELETON = frozenset({"not_bone", "shell", "eggshell"})
_OF_BONE_ALONE = frozenset(
    {"tooth", "measure", "mark", "pathology", "burn_colour", "burning", "weathering", "preservation", "roots"}
    | {"breaks", "fracture", "digestion", "antler_base", "joins"}
)
"""Paths that say something only of bone and its like."""


def material_against_element(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth called by a bone's name, a bone by a tooth's, an antler by that of neither antler nor skull."""
    row = docket.element_row
    if row is None or docket.material not in _OF_BODY or docket.material == row.material:
        return
    of_head = (
        (docket.material == "tooth" and row.material == "bone" and row.region == "head")
        or (docket.material in _HEADGEAR and row.material == "bone" and know.is_part(row.key, "skull"))
        or (docket.material == "bone" and row.material == "horn_core")
    )
    if not of_head:
        yield "material", docket.names(material=term("material", docket.material))


def material_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Antler, horn core or tooth of an animal that has none."""
    taxon = docket.taxon_row
    if taxon is not None:
        grows = {"antler": taxon.antler, "horn_core": taxon.horn_core, "tooth": taxon.tooth}
        if docket.material in grows and grows[docket.material] == "no":
            yield "material", docket.names(material=term("material", docket.material))


def not_bone_with_reading(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Not bone, or shell, and still an element of a skeleton. Some elements are of shell themselves."""
    if docket.material in _NOT_OF_SKELETON and docket.element is not None:
        if docket.element_row is not None and docket.element_row.material == docket.material:
            return
        yield "material", docket.names(material=term("material", docket.material))


def not_bone_with_details(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Not of an animal at all, and still described as bone is: such a record closes with a note."""
    if docket.material == "not_bone":
        for path, value in docket.values.items():
            if value is not None and path.partition("/")[0] in _OF_BONE_ALONE:
                yield path, {"material": term("material", "not_bone")}
                return


def antler_base_without_antler(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Shed or attached, said of something that is no antler."""
    base = text(docket.values.get("antler_base"))
    if base is not None and know.is_word("antler_base", base) and docket.material not in (None, "antler", "unsure"):
        if docket.element_row is None or docket.element_row.material != "antler":
            yield (
                "antler_base",
                docket.names(base=term("antler_base", base), material=term("material", docket.material)),
            )


def shed_with_skull_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An antler that was cast, and skull at its base."""
    row = docket.element_row
    if docket.values.get("antler_base") == "shed" and row is not None and know.is_part(row.key, "skull"):
        if row.material == "bone" and docket.present & docket.parted.keys():
            yield "antler_base", docket.names(base=term("antler_base", "shed"))


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
    # The vertebrae of fish and other small creatures are counted by the handful.
    strung = know.is_part(docket.element or "", "vertebra") and not know.is_a(docket.taxon or "mammal", "mammal")
    if count is not None and count > 1 and docket.most and docket.side in ("left", "right", "midline") and not strung:
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


def longest_implausible(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A greatest length of nothing or less, no number, or beyond what bones reach."""
    longest = docket.values.get("longest_mm")
    if longest is not None:
        row = docket.element_row
        antler = docket.material == "antler" or (row is not None and row.material == "antler")
        limit = LONGEST_ANTLER_MM if antler else LONGEST_MM
        if (value := number(longest)) is None or not 0 < value <= limit:
            yield "longest_mm", {"longest": shown(longest), "limit": str(limit)}


def longest_against_weight(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Heavier than a ball of enamel as wide as the piece is long: no piece of that length can weigh so much."""
    longest, weight = number(docket.values.get("longest_mm")), number(docket.values.get("weight_g"))
    if longest is None or weight is None or longest <= 0:
        return
    count = number(docket.values.get("count"))
    limit = DENSEST_G_CM3 * math.pi / 6 * (longest / 10) ** 3 * (count if count is not None and count >= 1 else 1)
    if weight > limit:
        about = f"{float(f'{limit:.2g}'):.10g}"
        yield (
            "longest_mm",
            {"longest": shown(docket.values.get("longest_mm")), "weight": f"{weight:.10g}", "limit": about},
        )


RULES = by_name(
    material_against_element,
    material_not_in_taxon,
    not_bone_with_reading,
    not_bone_with_details,
    antler_base_without_antler,
    shed_with_skull_bone,
    count_below_one,
    several_as_one_bone,
    weight_not_positive,
    weight_too_great,
    longest_implausible,
    longest_against_weight,
)
