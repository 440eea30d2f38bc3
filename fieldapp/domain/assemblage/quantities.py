"""Pieces, specimens, identified specimens and weight of some bone, animal by animal, with what disputed readings leave.

For: the sums of domain.counting over specimens, groups and refits counted as is asked for. Not for: the definitions of
those sums (domain.counting), minimum numbers, or shares.

- The low end of a figure is over what everybody reads so; the high end over all readings, each record once in each row,
  with the most that anybody says.
- A group that counts as one is one specimen for each animal in it, however many bones it has; its pieces stay pieces.
- Of dockets that are said to be one bone, the first that names both element and animal counts.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from fieldapp.domain import counting
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge


@dataclass(frozen=True, slots=True)
class Range:
    """A figure with its range; None where nothing was weighed."""

    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Quantity:
    """How much there is of an animal, or of all. `nisp`: None of what names no animal. `records`: of every reading."""

    pieces: Range
    nsp: Range
    nisp: Range | None
    weight: Range
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """What counts as one specimen."""

    groups: bool = False
    refits: bool = True

    def lot(self, one: Specimen) -> counting.Lot:
        """A specimen as it is counted so."""
        if self.groups and one.group:
            return replace(one.lot(), count=1, fitted=f"group {one.group}")
        return one.lot() if self.refits else replace(one.lot(), fitted="")


def by_taxon(
    specimens: Iterable[Specimen], knowledge: Knowledge, together: Together
) -> tuple[dict[str, Quantity], Quantity]:
    """({taxon: how much}, of all). "" for what names no animal; words that are in no table after those that are."""
    every = sorted(specimens, key=lambda one: (not counting.is_identified(one.lot(), knowledge), one.id, not one.sure))
    sure = _once(one for one in every if one.sure)
    taxa: dict[str, list[Specimen]] = {}
    for one in every:
        taxa.setdefault(one.taxon or "", []).append(one)
    known = [*knowledge.taxa]
    order = sorted(
        taxa, key=lambda taxon: (not taxon, known.index(taxon) if taxon in knowledge.taxa else len(known), taxon)
    )
    found = {
        taxon: _quantity([one for one in sure if (one.taxon or "") == taxon], taxa[taxon], knowledge, together, taxon)
        for taxon in order
    }
    return found, _quantity(sure, every, knowledge, together, None)


def _once(specimens: Iterable[Specimen]) -> list[Specimen]:
    """Without dockets of a bone that is there already."""
    seen: set[str] = set()
    found = []
    for one in specimens:
        key = one.bone or one.id
        if key not in seen:
            seen.add(key)
            found.append(one)
    return found


def _most(specimens: Collection[Specimen]) -> list[Specimen]:
    """Of each bone the reading of most pieces."""
    return _once(sorted(specimens, key=lambda one: -one.count))


def _quantity(
    sure: list[Specimen], every: list[Specimen], knowledge: Knowledge, together: Together, taxon: str | None
) -> Quantity:
    """Of one taxon, or of all where that is None."""
    row = knowledge.taxa.get(taxon or "")
    names = taxon is None or (row is not None and row.kind in counting.NAMED)

    def of(some: list[Specimen], high: bool, which: str) -> float:
        if which == "pieces":
            return sum(one.count for one in (_most(some) if high else some))
        kept = [one for one in some if counting.is_specimen(one.lot())]
        if which == "nisp":
            kept = [one for one in kept if counting.is_identified(one.lot(), knowledge)]
        return counting.specimens([together.lot(one) for one in (_most(kept) if high else kept)])

    def between(which: str) -> Range:
        low = of(sure, False, which)
        return Range(low, max(low, of(every, True, which)))

    weights = counting.weight(one.lot() for one in sure)
    heaviest = counting.weight(
        one.lot() for one in _once(sorted(every, key=lambda one: -(one.weight_g if one.weight_g is not None else -1.0)))
    )
    return Quantity(
        between("pieces"), between("nsp"), between("nisp") if names else None, Range(weights, heaviest),
        tuple(dict.fromkeys(one.id for one in sorted(every, key=lambda one: one.id))),
    )  # fmt: skip


def countable_of(site: Mapping[str, object]) -> Mapping[str, tuple[str, ...]] | None:
    """{element: portions} that a site has agreed to count by; None where it counts all, or has agreed nothing."""
    agreed = site.get("protocol")
    told = agreed.get("countable") if isinstance(agreed, Mapping) else None
    if not isinstance(told, Mapping):
        return None
    return {
        element: tuple(one for one in portions if isinstance(one, str))
        for element, portions in told.items()
        if isinstance(element, str) and isinstance(portions, list | tuple)
    }


def is_countable(one: Specimen, countable: Mapping[str, Collection[str]], knowledge: Knowledge) -> bool:
    """Whether over half of any portion is there that the site counts by, in whichever bone it has grown together."""
    places = {knowledge.place(element, portion) for element, portions in countable.items() for portion in portions}
    return any(
        (one.element, portion) in places or knowledge.place(one.element or "", portion) in places
        for portion in one.most
    )
