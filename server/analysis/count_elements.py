"""MNE by animal and element of every unit of a question, with the records behind it: what MAU and likely numbers need.

Not for: what MNE is (fieldapp.domain.assemblage.numbers), working it out (numbers), or the table of MNE.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fieldapp.domain.assemblage import bones
from fieldapp.domain.assemblage.bones import POOLS
from fieldapp.domain.assemblage.numbers import pools
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked
from server.analysis.count_common import Here
from server.analysis.count_minimum import Piles
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


def elements(asked: Asked) -> Iterator[tuple[Here, Elements]]:
    """(unit, {(animal, element): MNE} in the order of the tables)."""
    of = Piles.of(asked)
    records = [_records(one, asked.knowledge) for one in of.piles]
    found: list[dict[tuple[str, str], Mne]] = [{} for _ in of.here]
    for row in Numbers(of.frame).mne.sort(PLACE).iter_rows(named=True):
        unit, place = row["unit"], (of.frame.taxa[row["taxon"]], of.frame.elements[row["element"]])
        sides = row["left"] // RANKS, row["right"] // RANKS
        found[unit][place] = Mne(row["low"], row["high"], *sides, tuple(records[unit].get(place, ())))
    yield from zip(of.here, found, strict=True)


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
