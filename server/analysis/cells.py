"""Cells that tables of several topics share: which pile a row is of, and sources as results name them.

For: one way to say them, where units stand beside each other in a table or a legend. Not for: words (wording).
"""

from __future__ import annotations

from collections.abc import Iterable

from fieldapp.domain.assemblage.results import Cell, Column, Several, Word
from fieldapp.domain.assemblage.selection import HAND, SIEVE, Unit
from server.analysis.wording import visible

UNIT_COLUMNS: tuple[Column, ...] = (Column("where"), Column("recovery"), Column("mesh_mm", "number"))
"""Which unit a row is of: where it lies, how it was got, and on which mesh."""


def unit_cells(unit: Unit) -> tuple[Cell, ...]:
    """The cells of UNIT_COLUMNS."""
    mesh = unit.way.partition(":")[2]
    return unit, way_of(unit), float(mesh) if mesh else None


def legend(unit: Unit, units: Iterable[Unit]) -> Cell:
    """What a legend calls a unit: by what tells it from the others."""
    listed = [*units]
    places, ways = {one.place for one in listed}, {one.way for one in listed}
    mesh = unit.way.partition(":")[2]
    way = (way_of(unit), *([f"{mesh} mm"] if mesh else []))
    parts = (*((unit,) if len(places) > 1 or len(ways) == 1 else ()), *(way if len(ways) > 1 else ()))
    return parts[0] if len(parts) == 1 else Several(parts)


def way_of(unit: Unit) -> Word:
    """How it was got, without its mesh."""
    way = unit.way.partition(":")[0]
    return Word("recovery" if way in (HAND, SIEVE) else "analysis.way", way)


def cite(source: str, seen: str) -> str:
    """A source as results name it, with whether it was seen; of what is the project's own there is nothing to see."""
    # A site's own are pasted, with whatever signs a word processor breaks lines by.
    source = visible(source)
    return source if seen == "-" else f"{source} ({seen})"


def cited(rows: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Sources, each once."""
    return tuple(dict.fromkeys(cite(*row) for row in rows))
