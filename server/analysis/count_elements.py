"""MNE by animal and element of every unit of a question, with the records behind it: what MAU and likely numbers need.

Not for: what MNE is (fieldapp.domain.assemblage.numbers), working it out (numbers), or the table of MNE.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fieldapp.domain.assemblage import bones
from fieldapp.domain.assemblage.numbers import POOLS, pools
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked
from server.analysis.frames import frame
from server.analysis.numbers import PLACE, RANKS, Numbers


@dataclass(frozen=True, slots=True)
class Mne:
    """The MNE of one element of one animal with its range, One of each side, and the records of every reading."""

    low: int
    high: int
    left: int
    right: int
    records: tuple[str, ...]


Elements = Mapping[tuple[str, str], Mne]


def elements(asked: Asked) -> Iterator[tuple[Unit, Sequence[Specimen], Elements]]:
    """(unit, its specimens, {(animal, element): MNE} in the order of the tables)."""
    known, refits = asked.knowledge, asked.selection.refits == "one"
    piles = [bones.pile(here, known, refits=refits) for here in asked.units.values()]
    of = frame(piles, known)
    records = [_records(one, known) for one in piles]
    found: list[dict[tuple[str, str], Mne]] = [{} for _ in piles]
    for row in Numbers(of).mne.sort(PLACE).iter_rows(named=True):
        unit, place = row["unit"], (of.taxa[row["taxon"]], of.elements[row["element"]])
        sides = row["left"] // RANKS, row["right"] // RANKS
        found[unit][place] = Mne(row["low"], row["high"], *sides, tuple(records[unit].get(place, ())))
    yield from zip(asked.units, asked.units.values(), found, strict=True)


def _records(pile: bones.Pile, known: Knowledge) -> dict[tuple[str, str], dict[str, None]]:
    """{(animal, element): ids of all that counts there}, with what is pooled in it."""
    there = {one.taxon for one in pile.every}
    wider = {
        taxon: [taxon, *(one for one in known.taxa[taxon].broader if one in there and pools(one, known))]
        for taxon in there
    }
    found: dict[tuple[str, str], dict[str, None]] = {}
    for one in pile.every:
        for taxon in wider[one.taxon]:
            for element in (one.element, *(wide for wide, finer in POOLS.items() if one.element in finer)):
                found.setdefault((taxon, element), {})[one.id] = None
    return found
