"""Pieces, specimens, identified specimens and weight of some bone, animal by animal, with what disputed readings leave.

For: the sums of domain.counting over specimens, groups and refits counted as is asked for. Not for: the definitions of
those sums (domain.counting), minimum numbers, or shares.

- The low end of a figure is over what everybody reads so, with the least of it: a bone that one calls a left rib of
  sheep and another a right one is in the low end of sheep. What one calls cattle and another pig is in no animal's, and
  in that of all together.
- The high end is over all readings, each record once in each row, with the most that anybody says.
- A group that counts as one is one specimen for each animal in it, however many bones it has; its pieces stay pieces.
- Of dockets that are said to be one bone, the first that names both element and animal counts.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

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

    def by_name(self, one: Specimen, taxon: str | None) -> counting.Lot:
        """The same, as an animal of that name: a group is one specimen for each animal in it."""
        lot = self.lot(one)
        if self.groups and one.group:
            return replace(lot, taxon=taxon, fitted=f"{lot.fitted} {taxon}")
        return lot if lot.taxon == taxon else replace(lot, taxon=taxon)


def by_taxon(
    specimens: Iterable[Specimen], knowledge: Knowledge, together: Together
) -> tuple[dict[str, Quantity], Quantity]:
    """({taxon: how much}, of all). "" for what names no animal; words that are in no table after those that are."""
    every = sorted(
        (
            _Told(one, together.by_name(one, one.taxon), counting.is_identified(one.lot(), knowledge))
            for one in specimens
        ),
        key=lambda told: (not told.identified, told.one.id, not told.one.sure),
    )
    certain = _certain(every, together)
    sure: dict[str, list[_Told]] = {}
    for told in _once(told for told in certain if told.agreed):
        sure.setdefault(told.one.taxon or "", []).append(told)
    taxa: dict[str, list[_Told]] = {}
    for told in every:
        taxa.setdefault(told.one.taxon or "", []).append(told)
    at = {taxon: n for n, taxon in enumerate(knowledge.taxa)}
    found = {}
    for taxon in sorted(taxa, key=lambda taxon: (not taxon, at.get(taxon, len(at)), taxon)):
        names_animal = taxon in at and knowledge.taxa[taxon].kind in counting.NAMED
        found[taxon] = _quantity(sure.get(taxon, []), taxa[taxon], names_animal)
    return found, _quantity(_once(certain), every, True)


class _Told(NamedTuple):
    """A reading, as a lot that counts as it is asked for, whether its bone and animal are named, and whether it is of
    the same animal to everybody."""

    one: Specimen
    lot: counting.Lot
    identified: bool
    agreed: bool = True


def _certain(every: Sequence[_Told], together: Together) -> list[_Told]:
    """What is sure of each record: what everybody says, or the least that all of its readings come to."""
    readings: dict[str, list[_Told]] = {}
    for told in every:
        readings.setdefault(told.one.id, []).append(told)
    found = []
    for those in readings.values():
        sure = next((told for told in those if told.one.sure), None)
        if sure is not None:
            found.append(sure)
        elif len(those) == those[0].one.readings:
            # All of them are asked for, so it counts here whoever is right.
            found.append(_least(those, together))
    return sorted(found, key=lambda told: (not told.identified, told.one.id))


def _least(those: Sequence[_Told], together: Together) -> _Told:
    weights = [told.one.weight_g for told in those]
    known = [one for one in weights if one is not None]
    least = replace(
        those[0].one,
        count=min(told.one.count for told in those),
        weight_g=min(known) if len(known) == len(weights) else None,
        material=next(
            (told.one.material for told in those if not counting.is_specimen(told.lot)), those[0].one.material
        ),
    )
    alike = len({told.one.taxon for told in those}) == 1
    return _Told(least, together.by_name(least, least.taxon), all(told.identified for told in those), alike)


def _once(readings: Iterable[_Told]) -> list[_Told]:
    """Without dockets of a bone that is there already."""
    seen: set[str] = set()
    found = []
    for told in readings:
        key = told.one.bone or told.one.id
        if key not in seen:
            seen.add(key)
            found.append(told)
    return found


def _quantity(sure: Sequence[_Told], every: Sequence[_Told], names_animal: bool) -> Quantity:
    """What is sure, and each reading. `names_animal`: whether there may be a NISP."""
    # Of each bone, the reading of most pieces is the high end.
    most = sorted(every, key=lambda told: -told.one.count)
    heaviest = sorted(every, key=lambda told: -(told.one.weight_g if told.one.weight_g is not None else -1.0))

    def specimens(which: Callable[[_Told], bool]) -> Range:
        low = counting.specimens([told.lot for told in sure if which(told)])
        return Range(low, max(low, counting.specimens([told.lot for told in _once(filter(which, most))])))

    return Quantity(
        Range(sum(told.one.count for told in sure), sum(told.one.count for told in _once(most))),
        specimens(lambda told: counting.is_specimen(told.lot)),
        specimens(lambda told: told.identified) if names_animal else None,
        Range(counting.weight(told.lot for told in sure), counting.weight(told.lot for told in _once(heaviest))),
        tuple(sorted({told.one.id for told in every})),
    )


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


def countable_places(countable: Mapping[str, Collection[str]], knowledge: Knowledge) -> frozenset[tuple[str, str]]:
    """(element, portion) that a site counts by, in whichever bone it has grown together."""
    told = {(element, portion) for element, portions in countable.items() for portion in portions}
    return frozenset(told | {knowledge.place(*place) for place in told})


def is_countable(one: Specimen, places: Collection[tuple[str, str]], knowledge: Knowledge) -> bool:
    """Whether over half of any of these places is there."""
    element = one.element or ""
    return any((element, portion) in places or knowledge.place(element, portion) in places for portion in one.most)
