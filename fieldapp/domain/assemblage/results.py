"""What an analysis answers: tables of figures with what they mean, what they rest on and what was left out.

For: one shape for every figure, so that page, command, file and report say the same. Words are keys; whoever shows a
result puts them into a language (texts `analysis.<key>.title`, `.how`, and `analysis.column.<key>`). Not for: working
anything out, layout, or drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain.assemblage.selection import Selection, Unit


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with its range over disputed readings, or an interval; both ends the same where nothing is open."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Word:
    """A word of a vocabulary: `of` is the beginning of its text's key ("taxon", "element", "analysis.row")."""

    of: str
    key: str


@dataclass(frozen=True, slots=True)
class Several:
    """Cells that read as one, with a comma or something else between."""

    parts: tuple[Cell, ...]
    between: str = ", "


Cell = str | int | float | Span | Word | Unit | Several | None
"""None stands for what cannot be said, and is never a nought. A str is shown as it is, a Unit by where it lies."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column. `kind`: "word" (words and free text), "count", "number", "percent" (0 to 100), "span" (of counts: whole
    figures stand as whole ones), "interval" (of any other figures); `digits` after the point of a number."""

    key: str
    kind: str = "word"
    digits: int = 1


@dataclass(frozen=True, slots=True)
class Row:
    """A row. `records`: ids of the records that its figures are made of. `total`: whether it sums up others."""

    cells: tuple[Cell, ...]
    records: tuple[str, ...] = ()
    total: bool = False


@dataclass(frozen=True, slots=True)
class Note:
    """A sentence beside a table: the text `analysis.note.<key>` filled with `fields`."""

    key: str
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What does not count here, and why: the text `analysis.left_out.<why>`."""

    why: str
    records: tuple[str, ...]
    pieces: int


@dataclass(frozen=True, slots=True)
class Series:
    """A line, a row of bars or a cloud of points.

    name     what the legend says; None where there is no legend
    x        numbers, or Words and texts for bars
    y        heights; None leaves a gap
    low, high  a band or whiskers, as long as y; () for none
    records  of each point, where it is one record's: ids as long as x
    n        how many bones each height rests on, as long as x, or the one figure that all of it rests on; () where
             heights are numbers of bones themselves
    """

    name: Cell
    x: tuple[Cell, ...]
    y: tuple[float | None, ...]
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    records: tuple[str, ...] = ()
    n: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture of a result.

    kind    "bars" (side by side), "ranges" (a point and its whiskers, on no base line), "stacked" (parts of a whole),
            "steps" and "lines" (curves, with bands), "points",
            "density" (curves with `more["rug"]`, a tuple of values a series, and a line at `more["zero"]`),
            "skeleton" (`shares` on the skeleton of `form`), "plate" (an element's plate in `form`: `more["element"]`,
            `more["counts"]` {portion: n}, `more["marks"]` of (view, x, y, kind))
    x, y    texts `analysis.axis.<key>`
    shares  of a skeleton: {element: 0 to 1}
    more    what only one kind needs; `more["limits"]`: least and greatest x, least and greatest y, each may be None;
            `more["said"]`: what the texts of the axes are filled with; `more["n"]`: how many bones a picture rests on
    name    what tells this chart from others of its table, beside the title; None where there is one
    """

    kind: str
    x: str = ""
    y: str = ""
    series: tuple[Series, ...] = ()
    form: str = ""
    shares: Mapping[str, float] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)
    name: Cell = None


@dataclass(frozen=True, slots=True)
class Result:
    """One table.

    key        names its texts: title and how it is worked out (the definition)
    selection  what was asked for, so that it can be asked again;  unit: the pile it is of, None if it compares several
    options    what was chosen where the table leaves a choice: which animal, which source
    sources    of definitions and values, as the tables have them, each saying whether it was seen
    """

    key: str
    selection: Selection
    unit: Unit | None
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[Note, ...] = ()
    sources: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    options: Mapping[str, Cell] = field(default_factory=dict)
