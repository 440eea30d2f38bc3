"""What tables of surfaces leave open, and the pieces that a question is about.

For: the options, groups, columns and notes that these tables share. Not for: who can show a mark (domain.assemblage.
rates), or any figure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.rates import Pieces, Rate
from fieldapp.domain.assemblage.results import Cell, Column, LeftOut, Note, Span, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from server.analysis.asking import Asked, Option, left_out
from server.analysis.sizes_asked import ROW

BY = Option("by_what", lambda asked: ("all", "taxon", "element", "taxon_element"), ROW)
"""Over all pieces, or each animal, each bone, or each bone of each animal apart."""
UNRECORDED = Option("unrecorded_surface", lambda asked: ("taken_as_able", "left_out"), ROW)
"""What of pieces of which nobody says how the surface is preserved."""

RATE = (
    Column("marked", "count"), Column("can_show", "count"), Column("rate", "percent"),
    Column("rate_interval", "interval"),
)  # fmt: skip
INTERVAL = "Wilson 1927, interval of a share, J. Am. Stat. Assoc. 22: 209-212 (memory)"
FEW = 30
"""Of fewer pieces than this a note says that a rate tells little (project decision)."""


@dataclass(frozen=True)
class Look:
    """The pieces of one unit. `hard`: without teeth and tallies."""

    asked: Asked
    unit: Unit
    specimens: Sequence[Specimen]
    pieces: Pieces

    @cached_property
    def hard(self) -> list[Specimen]:
        """Those on which marks are looked for."""
        return self.pieces.dockets()

    def left(self, *, tallies: bool = True, teeth: bool = True, **own: Sequence[Specimen]) -> tuple[LeftOut, ...]:
        """What counts nowhere, and what not here; `own`: more of the table's, by reason."""
        those = self.pieces.found
        told = [
            left_out("surface_disputed", self.pieces.disputed),
            left_out("surface_tallies", [one for one in those if one.kind == TALLY]) if tallies else None,
            left_out("surface_teeth", [one for one in those if one.kind != TALLY and rates.is_tooth(one)])
            if teeth
            else None,
            *(left_out(why, found) for why, found in own.items()),
        ]
        return (*self.asked.left_out(self.unit), *(one for one in told if one is not None))

    def groups(self, those: Sequence[Specimen], by: str) -> Iterator[tuple[tuple[Cell, Cell], list[Specimen]]]:
        """((animal, bone), pieces) as BY has it; None for what is not parted. All together comes first."""
        if by == "all":
            yield (None, None), list(those)
            return
        known = self.asked.knowledge
        taxa = {key: at for at, key in enumerate(known.taxa)}
        elements = {key: at for at, key in enumerate(known.elements)}
        parted: dict[tuple[str, str], list[Specimen]] = {}
        for one in those:
            key = (one.taxon or "" if "taxon" in by else "", one.element or "" if "element" in by else "")
            parted.setdefault(key, []).append(one)
        for taxon, element in sorted(
            parted, key=lambda key: (taxa.get(key[0], len(taxa)), elements.get(key[1], len(elements)), key)
        ):
            cells = (
                Word("taxon", taxon) if "taxon" in by else None,
                Word("element", element) if "element" in by else None,
            )
            yield cells, parted[taxon, element]

    def alike(self, marked: Sequence[Specimen]) -> list[Note]:
        """A note where something is said of a docket of several pieces, and is taken as said of each."""
        several = [one for one in marked if one.count > 1]
        fields = {"n": len(several), "pieces": rates.number(several)}
        return [Note("surface_alike", fields)] if several else []

    def protocol(self, field: str) -> list[Note]:
        """A note where the site does not say that a field is always filled in."""
        return [] if rates.always_recorded(self.asked.gathered.site, field) else [Note("surface_not_always")]


def looks(asked: Asked) -> Iterator[Look]:
    """Each unit of a question."""
    refits = asked.selection.refits == "one"
    for unit, specimens in asked.units.items():
        yield Look(asked, unit, specimens, rates.pieces(specimens, refits))


def rate_cells(rate: Rate) -> tuple[Cell, Cell, Cell, Cell]:
    """The cells of RATE."""
    return rate.n, rate.of, rate.percent, interval(rate)


def interval(rate: Rate) -> Span | None:
    """The interval of a rate as a cell."""
    found = rate.interval
    return Span(*found) if found is not None else None


def of_columns(by: str) -> tuple[Column, ...]:
    """The columns of what rows are of."""
    return tuple(Column(name) for name in ("taxon", "element") if name in by)


def of_cells(cells: tuple[Cell, Cell]) -> tuple[Cell, ...]:
    """The cells of `of_columns`."""
    return tuple(one for one in cells if one is not None)


def of_word(cells: tuple[Cell, Cell]) -> Cell:
    """What a group is called along an axis."""
    return next((one for one in reversed(cells) if one is not None), Word(ROW, "all"))
