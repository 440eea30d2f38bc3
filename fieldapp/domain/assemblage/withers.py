"""Withers heights: from the length of a bone to the height of the animal at the shoulder, by every published factor.

For: which factors hold for a bone, what they give, and which size class a height lies in. Not for: choosing one factor
as the right one: factors were won from few animals of a few breeds, and stand side by side.

Common practice, no source: only full-grown bones with a greatest (or lateral) length that was not estimated. A factor
for one sex is used for bones of that sex; what it would give for bones of unknown sex is shown only if asked for.
"""

from __future__ import annotations

from collections.abc import Iterable

from fieldapp.domain.assemblage.size_tables import Factor, SizeClass, Sizes
from fieldapp.domain.assemblage.sizes import Value
from fieldapp.domain.knowledge import Knowledge

RADIUS = {"radio_ulna": "radius"}
"""Bones grown together are measured as the one whose length is meant."""


def of_bone(value: Value, sizes: Sizes, knowledge: Knowledge, any_sex: bool = False) -> list[tuple[Factor, float]]:
    """(factor, height in millimetres) of each factor that holds for a value.

    any_sex  a bone of unknown sex is taken as each sex in turn
    """
    key = value.key
    element = RADIUS.get(key.element, key.element)
    return [
        (factor, factor.height_mm(value.mm))
        for factor in sizes.factors
        if (factor.element, factor.code) == (element, key.code)
        and factor.position == key.position
        and knowledge.is_a(key.taxon, factor.taxon)
        and (factor.sex in ("", value.sex) or (any_sex and not value.sex))
    ]


def has_factor(value: Value, sizes: Sizes, knowledge: Knowledge) -> bool:
    """Whether any factor would hold for a value if its sex were known."""
    return any(
        factor.code == value.key.code and factor.element == RADIUS.get(value.key.element, value.key.element)
        for factor in sizes.factors
        if knowledge.is_a(value.key.taxon, factor.taxon) and factor.position == value.key.position
    )


def estimates(found: Iterable[tuple[Factor, float]]) -> list[tuple[Factor, float]]:
    """Those that are estimates: without lower limits."""
    return [(factor, height) for factor, height in found if factor.kind != "bound"]


def size_class(height_mm: float, taxon: str, sizes: Sizes, knowledge: Knowledge) -> SizeClass | None:
    """The class that a height lies in; None where there is none for the animal, or none so tall."""
    cm = height_mm / 10
    return next((one for one in sizes.classes if knowledge.is_a(taxon, one.taxon) and one.holds(cm)), None)
