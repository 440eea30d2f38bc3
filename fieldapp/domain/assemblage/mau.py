"""Which parts of an animal are there: MNE over how many of the element a skeleton has, and that on a drawn skeleton.

For: MAU and %MAU, with the source of each number of a skeleton. Not for: minimum numbers of elements (numbers), or why
a part is missing: hard parts last longer, heavy ones were left behind, small ones take a sieve.

- *MAU* (minimum animal units) = MNE / how many a skeleton has, both sides together.
- *%MAU*: the MAU in a hundred of the largest MAU of that animal, which so is 100.

Binford 1984 for both (from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from fieldapp.domain.bodies import drawn_as
from fieldapp.domain.entries import SkeletonCount
from fieldapp.domain.knowledge import Knowledge


def mau(mne: Mapping[str, float], in_skeleton: Mapping[str, int | None]) -> dict[str, float]:
    """{element: MAU} of those elements of which it is known how many a skeleton has."""
    return {element: number / many for element, number in mne.items() if (many := in_skeleton.get(element))}


def percent(units: Mapping[str, float]) -> dict[str, float]:
    """{element: %MAU}; {} where all is nought."""
    most = max(units.values(), default=0)
    return {element: 100 * one / most for element, one in units.items()} if most else {}


def counted_after(taxon: str, element: str, knowledge: Knowledge) -> tuple[SkeletonCount, ...]:
    """The rows of the tables that say how many the animal has: its own, those of the animals of an unparted pair, or of
    the nearest group that has one; () where none says."""
    animal = knowledge.taxa.get(taxon)
    if animal is None or knowledge.count(taxon, element) is None:
        return ()
    rows = {row.taxon: row for row in knowledge.skeleton_counts if row.chosen and row.element == element}
    if taxon in rows:
        return (rows[taxon],)
    members = tuple(rows[one] for one in knowledge.members(taxon) if one in rows) if animal.kind == "pair" else ()
    if members:
        return members
    for one in animal.broader:
        own = (one,) if one in rows else knowledge.members(one) if knowledge.taxa[one].kind == "pair" else ()
        if found := tuple(rows[each] for each in own if each in rows):
            return found
    return ()


def on_skeleton(percents: Mapping[str, float], drawn: Collection[str], knowledge: Knowledge) -> dict[str, float]:
    """{bone that is drawn: share from 0 to 1}. Of several elements that one drawn bone stands for (the carpals), it
    shows the best represented; bones grown together are shown as each."""
    shares: dict[str, float] = {}
    for element, value in percents.items():
        for one in drawn_as(knowledge, drawn, element):
            shares[one] = max(shares.get(one, 0.0), value / 100)
    return shares
