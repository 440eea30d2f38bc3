"""NISP by animal for every unit of a question, with what does not count there: what tables of shares, diversity and
places are all made of.

For: one way from a question to counts, names that hold one another dealt with, and the notes and columns that such
tables have in common. Not for: any percentage or test.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fieldapp.domain import counting
from fieldapp.domain.assemblage import shares
from fieldapp.domain.assemblage.results import Column, LeftOut, Note, Result
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.shares import APART, AS_NAMED, POOLED, Counted
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from server.analysis.asking import Asked, Option, left_out
from server.analysis.count_common import Here, units
from server.analysis.count_pieces import together

FEW = 50
"""Fewer identified specimens than this are told of in a note (project decision)."""

OVERLAP = "overlap"
HUMAN_NOTE = "count_human"
NAMES_APART = Option(OVERLAP, lambda _: (APART, POOLED), "analysis.row")
NAMES_AS_GIVEN = Option(OVERLAP, lambda _: (AS_NAMED, APART, POOLED), "analysis.row")

"""Which unit a row is of, where a table compares units."""


@dataclass(frozen=True)
class Pile:
    """The identified specimens of one unit by animal, and what of the unit is not among them. `most`: the NISP of all,
    if each disputed record is what gives most."""

    unit: Unit
    taxa: dict[str, Counted]
    most: int
    left_out: tuple[LeftOut, ...]
    notes: tuple[Note, ...]
    tallied: int

    @property
    def counts(self) -> dict[str, int]:
        """{animal: NISP that everybody says}, of those that have any."""
        return {taxon: one.low for taxon, one in self.taxa.items() if one.low}

    @property
    def whole(self) -> int:
        """All of them."""
        return sum(self.counts.values())

    @property
    def records(self) -> tuple[str, ...]:
        """The ids of all that is counted."""
        return tuple(dict.fromkeys(id_ for one in self.taxa.values() for id_ in one.records))


def piles(asked: Asked, overlap: str) -> list[Pile]:
    """A pile for each unit. How names are put together is decided once, over all units, so that they stay alike."""
    known = asked.knowledge
    found = [*units(asked)]
    bones = [shares.identified(here.specimens, known) for here in found]
    given = {one.taxon or "" for here in bones for one in here}
    counted_as = shares.counted_as([one for one in known.taxa if one in given], known, overlap)
    return [_pile(asked, here, its, counted_as) for here, its in zip(found, bones, strict=True)]


def _pile(asked: Asked, here: Here, bones: Sequence[Specimen], counted_as: Mapping[str, str | None]) -> Pile:
    sure = shares.certain(bones, counted_as)
    wider = {one.id for one in sure.values() if counted_as.get(one.taxon or "") is None}
    told = (
        left_out("not_bone", [one for one in here.specimens if one.material in counting.NOT_BONE]),
        left_out("not_identified", _never(here.specimens, bones)),
        left_out("in_dispute", [one for one in bones if one.id not in sure]),
        left_out("wider_name", [one for one in bones if one.id in wider]),
    )
    nisp = shares.nisp(bones, asked.knowledge, together(asked), counted_as)
    return Pile(
        here.unit,
        nisp.taxa,
        nisp.high,
        (*here.left_out, *(one for one in told if one)),
        here.notes,
        sum(one.count for one in bones if one.kind == TALLY),
    )


def _never(here: Iterable[Specimen], bones: Iterable[Specimen]) -> list[Specimen]:
    """Bones that nobody names with element and animal."""
    named = {one.id for one in bones}
    return [one for one in here if one.id not in named and one.material not in counting.NOT_BONE]


def all_left_out(lists: Iterable[Iterable[LeftOut]]) -> tuple[LeftOut, ...]:
    """What several piles leave out, by reason."""
    found: dict[str, LeftOut] = {}
    for one in (each for own in lists for each in own):
        old = found.get(one.why, LeftOut(one.why, (), 0))
        records = tuple(dict.fromkeys((*old.records, *one.records)))
        found[one.why] = LeftOut(one.why, records, old.pieces + one.pieces)
    return tuple(found.values())


def notes_on(counted: Iterable[Pile], every: Iterable[Pile] = ()) -> list[Note]:
    """What is to be said of every figure that is made of these piles. `every`: with those that nothing is counted of,
    which may hold possibly human bone all the same."""
    here = list(counted)
    whole, tallied = sum(one.whole for one in here), sum(one.tallied for one in here)
    found = _of_units(list(every) or here)
    if not whole:
        return [*found, Note("nothing_identified")]
    found.append(Note("not_independent"))
    if small := [one for one in here if one.whole < FEW]:
        found.append(Note("few", {"units": len(small), "few": FEW, "least": min(one.whole for one in small)}))
    return [*found, *([Note("tallied", {"pieces": tallied})] if tallied else [])]


def _of_units(here: Iterable[Pile]) -> list[Note]:
    """What the units say of themselves, once: how many stand apart as possibly human, what was agreed to count."""
    told = [note for one in here for note in one.notes]
    human = [one.fields for one in told if one.key == HUMAN_NOTE]
    found = [Note(HUMAN_NOTE, {name: sum(one[name] for one in human) for name in human[0]})] if human else []
    return found + list({one.key: one for one in told if one.key != HUMAN_NOTE}.values())


def nothing(key: str, asked: Asked, columns: tuple[Column, ...]) -> Result:
    """The table where no unit has anything in it."""
    return Result(key, asked.selection, None, columns, (), asked.left_out(), (Note("nothing_identified"),))
