"""What is known of marks and fire on bone: kinds of mark, what makes them, where they can lie, what a colour tells.

The words themselves, with their definitions, stand in the lists of words. Not here: what a rule makes of it, and
rates of marks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fieldapp.domain.cells import Cells, TableFault, Tables, by_key, cells_of
from fieldapp.domain.entries import Element, Taxon

NAMES: tuple[str, ...] = ("burn_colours", "mark_kinds", "mark_aspects", "marrow", "tool_dates")
"""The tables that are read here."""


@dataclass(frozen=True, slots=True)
class MarkKind:
    """A kind of mark.

    group  "gnawing", "butchery", "working", "natural", "new" (made in digging or later) or "unclear"
    tools  what can have made it; none for what no tool makes
    fine   it goes with the outer surface, so that it cannot be looked for where that is lost
    """

    key: str
    group: str
    tools: tuple[str, ...]
    fine: bool
    source: str
    seen: str


@dataclass(frozen=True)
class Surface:
    """What is known of surfaces. Every word of its lists is in each mapping."""

    degrees: Mapping[str, tuple[str, ...]]
    """{colour: the words for burning that it goes with}"""

    kinds: Mapping[str, MarkKind]
    """{kind of mark: what is known of it}"""

    regions: Mapping[str, tuple[str, ...]]
    """{aspect: the regions of the body whose bones have such a side}"""

    marrow: Mapping[str, tuple[str, ...]]
    """{element: groups in whose animals its shaft holds marrow and its old breaks are scored}"""

    from_year: Mapping[tuple[str, str], int]
    """{(tool, region): the earliest year of such a tool there}, region "" for anywhere; negative years are BC"""

    def earliest(self, tool: str, region: str = "") -> int | None:
        """The earliest year in which a tool of this kind is to be expected; None where nothing is known of it."""
        found = self.from_year.get((tool, region))
        return self.from_year.get((tool, "")) if found is None else found


def read(tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Surface:
    """Surface from the tables named in NAMES and the lists of words. Raises TableFault."""
    words: dict[str, list[str]] = {}
    for cells in cells_of("words", tables):
        words.setdefault(cells.text("list"), []).append(cells.text("key"))
    regions = {element.region for element in elements.values()}
    return Surface(
        degrees=_by_word("burn_colours", "colour", "burn_colour", tables, words, "burning", words.get("burning", ())),
        kinds=_kinds(tables, words),
        regions=_by_word("mark_aspects", "aspect", "aspect", tables, words, "regions", sorted(regions)),
        marrow={
            cells.known("element", elements): cells.several_of("only", *taxa) for cells in cells_of("marrow", tables)
        },
        from_year={
            (
                cells.known("tool", words.get("tool", ())),
                cells.known("region", ("", *words.get("region", ()))),
            ): _year(cells)
            for cells in cells_of("tool_dates", tables)
        },
    )


def _by_word(
    name: str, column: str, of: str, tables: Tables, words: Mapping[str, list[str]], into: str, allowed: Sequence[str]
) -> dict[str, tuple[str, ...]]:
    found = {
        cells.known(column, words.get(of, ())): cells.several_of(into, *allowed) for cells in cells_of(name, tables)
    }
    _complete(name, found, words.get(of, []))
    return found


def _kinds(tables: Tables, words: Mapping[str, list[str]]) -> dict[str, MarkKind]:
    tools = set(words.get("tool", ()))

    def make(cells: Cells) -> MarkKind:
        return MarkKind(
            key=cells.known("key", words.get("mark_kind", ())),
            group=cells.one_of("group", "gnawing", "butchery", "working", "natural", "new", "unclear"),
            tools=cells.several_of("tools", *tools) if cells.text("tools") else (),
            fine=cells.yes("fine"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    found = by_key("mark_kinds", tables, make)
    _complete("mark_kinds", found, words.get("mark_kind", []))
    return found


def _complete(name: str, found: Mapping[str, object], wanted: Sequence[str]) -> None:
    missing = [word for word in wanted if word not in found]
    if missing:
        raise TableFault(name, 0, f"there is no row for {missing[0]!r}")


def _year(cells: Cells) -> int:
    year = cells.number("from_year")
    if year is None or year != int(year):
        raise cells.fault("`from_year` is not a whole year")
    return int(year)
