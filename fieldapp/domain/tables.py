"""Turns the rows of the reference tables into Knowledge, and refuses tables that contradict one another.

Takes rows, not files: `fieldapp.assets` reads them. Each table is a list of (line, row) pairs, a row being
{column: text}. A fault is a TableFault with the table, the line and what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

from fieldapp.domain.knowledge import (
    Centre,
    Element,
    ElementForm,
    FusionAge,
    Knowledge,
    Occurs,
    Portion,
    RuleRow,
    SkeletonCount,
    Taxon,
)

Row = Mapping[str, str]
Rows = Sequence[tuple[int, Row]]
Tables = Mapping[str, Rows]
T = TypeVar("T")

NAMES = (
    "taxa",
    "elements",
    "element_taxon",
    "portions",
    "centres",
    "fusion_ages",
    "fusion_choices",
    "skeleton_counts",
    "roles",
    "words",
    "rules",
)
"""The tables that Knowledge is made of."""

MOST_PORTIONS = 14


class TableFault(Exception):
    """A table that cannot be used. `table` is its name, `line` its line (1 is the head), `what` the fault."""

    def __init__(self, table: str, line: int, what: str) -> None:
        super().__init__(f"{table}, line {line}: {what}")
        self.table = table
        self.line = line
        self.what = what


class _Cells:
    """One row, read cell by cell; whatever does not fit is a fault of its line."""

    def __init__(self, table: str, line: int, row: Row) -> None:
        self.table, self.line, self.row = table, line, row

    def fault(self, what: str) -> TableFault:
        return TableFault(self.table, self.line, what)

    def text(self, column: str) -> str:
        try:
            return self.row[column].strip()
        except KeyError:
            raise self.fault(f"there is no column `{column}`") from None

    def key(self, column: str = "key") -> str:
        found = self.text(column)
        if not found.isidentifier() or found != found.lower():
            raise self.fault(f"`{column}` is {found!r}, not a lower snake case word")
        return found

    def one_of(self, column: str, *allowed: str) -> str:
        found = self.text(column)
        if found not in allowed:
            raise self.fault(f"`{column}` is {found!r}, not one of {', '.join(allowed)}")
        return found

    def known(self, column: str, among: Iterable[str]) -> str:
        found = self.text(column)
        if found not in among:
            raise self.fault(f"`{column}` names {found!r}, which is not in its table")
        return found

    def several_of(self, column: str, *allowed: str) -> tuple[str, ...]:
        found = self.several(column)
        if not found or not set(found) <= set(allowed):
            raise self.fault(f"`{column}` is {self.text(column)!r}, not some of {', '.join(allowed)}")
        return found

    def yes(self, column: str) -> bool:
        return self.one_of(column, "yes", "no") == "yes"

    def occurs(self, column: str) -> Occurs:
        words: dict[str, Occurs] = {"yes": "yes", "no": "no", "some": "some"}
        return words[self.one_of(column, *words)]

    def number(self, column: str) -> float | None:
        found = self.text(column)
        try:
            return float(found) if found else None
        except ValueError:
            raise self.fault(f"`{column}` is {found!r}, not a number") from None

    def whole(self, column: str) -> int:
        found = self.text(column)
        if not found.isascii() or not found.isdigit():
            raise self.fault(f"`{column}` is {found!r}, not a whole number")
        return int(found)

    def several(self, column: str) -> tuple[str, ...]:
        return tuple(part for part in self.text(column).split("|") if part)


def knowledge_from(tables: Tables) -> Knowledge:
    """Knowledge from the tables named in NAMES. Raises TableFault."""
    for name in NAMES:
        if name not in tables:
            raise TableFault(name, 0, "the table is missing")
    taxa = _taxa(tables)
    elements = _by_key("elements", tables, _element)
    centres = _centres(tables, elements, taxa)
    portions = _portions(tables, elements, centres)
    _check_growth_lines(tables, portions, centres)
    return Knowledge(
        taxa=taxa,
        elements=elements,
        forms=tuple(_element_form(cells, taxa, elements) for cells in _cells("element_taxon", tables)),
        portions=portions,
        centres=centres,
        fusion_ages=_fusion_ages(tables, taxa, elements, centres),
        skeleton_counts=_skeleton_counts(tables, taxa, elements),
        roles=_roles(tables),
        words=_words(tables),
        rules=_by_key("rules", tables, _rule),
    )


def _cells(name: str, tables: Tables) -> list[_Cells]:
    return [_Cells(name, line, row) for line, row in tables[name]]


def _by_key(name: str, tables: Tables, make: Callable[[_Cells], T]) -> dict[str, T]:
    found: dict[str, T] = {}
    for cells in _cells(name, tables):
        key = cells.key()
        if key in found:
            raise cells.fault(f"the key {key!r} is given twice")
        found[key] = make(cells)
    return found


def _taxa(tables: Tables) -> dict[str, Taxon]:
    above = {cells.key(): cells.text("broader") for cells in _cells("taxa", tables)}
    for cells in _cells("taxa", tables):
        cells.known("broader", {"", *above})
        if (cells.text("broader") == "") != (cells.key() == "unknown"):
            raise cells.fault("`unknown`, and it alone, stands above all: every other taxon has a wider group")
    for cells in _cells("taxa", tables):
        if cells.key() in _line(cells.key(), above):
            raise cells.fault(f"the wider groups of {cells.key()!r} go round in a circle")

    def make(cells: _Cells) -> Taxon:
        return Taxon(
            key=cells.key(),
            name=cells.text("name"),
            latin=cells.text("latin"),
            ncbi=tuple(int(one) for one in cells.several("ncbi")),
            broader=_line(cells.key(), above),
            kind=cells.one_of("kind", "species", "pair", "size_class", "group"),
            form=cells.key("form"),
            antler=cells.occurs("antler"),
            horn_core=cells.occurs("horn_core"),
            tooth=cells.occurs("tooth"),
            burrows=cells.occurs("burrows"),
            infant_sized=cells.occurs("infant_sized"),
            heaviest_g=cells.number("heaviest_g"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    return _by_key("taxa", tables, make)


def _line(key: str, above: Mapping[str, str]) -> tuple[str, ...]:
    """Every wider group, nearest first, each once."""
    line: list[str] = []
    while (key := above[key]) != "" and key not in line:
        line.append(key)
    return tuple(line)


def _element(cells: _Cells) -> Element:
    return Element(
        key=cells.key(),
        name=cells.text("name"),
        latin=cells.text("latin"),
        kind=cells.one_of("kind", "long_bone", "flat", "short", "axial", "tooth", "indeterminate"),
        sided=cells.yes("sided"),
        midline=cells.yes("midline"),
        finest=cells.one_of("finest", "species", "size_class"),
        shows_sex=cells.occurs("shows_sex"),
        material=cells.one_of("material", "bone", "tooth"),
        uberon=cells.text("uberon"),
        uberon_label=cells.text("uberon_label"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _element_form(cells: _Cells, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> ElementForm:
    return ElementForm(
        element=cells.known("element", elements),
        taxon=cells.known("taxon", taxa),
        occurs=cells.yes("occurs"),
        form=cells.text("form"),
        name=cells.text("name"),
        uberon=cells.text("uberon"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _centres(
    tables: Tables, elements: Mapping[str, Element], taxa: Mapping[str, Taxon]
) -> dict[str, tuple[Centre, ...]]:
    found: dict[str, list[Centre]] = {key: [] for key in elements}
    for cells in _cells("centres", tables):
        element, key = cells.known("element", elements), cells.key()
        if any(centre.key == key for centre in found[element]):
            raise cells.fault(f"{element} has the centre {key!r} twice")
        for column in ("only", "not_in"):
            for taxon in cells.several(column):
                if taxon not in taxa:
                    raise cells.fault(f"`{column}` names {taxon!r}, which is not in its table")
        found[element].append(
            Centre(
                element=element,
                key=key,
                name=cells.text("name"),
                metaphysis=cells.text("metaphysis") or None,
                ends=cells.several("ends"),
                only=cells.several("only"),
                not_in=cells.several("not_in"),
                source=cells.text("source"),
                seen=cells.text("seen"),
            )
        )
    return {key: tuple(rows) for key, rows in found.items()}


def _portions(
    tables: Tables, elements: Mapping[str, Element], centres: Mapping[str, tuple[Centre, ...]]
) -> dict[str, tuple[Portion, ...]]:
    found: dict[str, list[Portion]] = {key: [] for key in elements}
    for cells in _cells("portions", tables):
        element, key = cells.known("element", elements), cells.key()
        if any(portion.key == key for portion in found[element]):
            raise cells.fault(f"{element} has the portion {key!r} twice")
        if len(found[element]) == MOST_PORTIONS:
            raise cells.fault(f"{element} has more than {MOST_PORTIONS} portions")
        kind = cells.one_of("kind", "epiphysis", "metaphysis", "shaft", "part")
        centre = cells.text("centre") or None
        if centre is not None and centre not in {one.key for one in centres[element]}:
            raise cells.fault(f"`centre` names {centre!r}, which {element} does not have")
        if kind == "epiphysis" and centre is None:
            raise cells.fault(f"the epiphysis {key!r} of {element} names no fusion centre")
        found[element].append(
            Portion(
                element=element,
                key=key,
                step=cells.whole("step"),
                kind=kind,
                centre=centre,
                share=cells.number("share") or 0.0,
                tells_side=cells.yes("tells_side"),
                name=cells.text("name"),
                definition=cells.text("definition"),
                source=cells.text("source"),
                seen=cells.text("seen"),
            )
        )
    return {key: tuple(rows) for key, rows in found.items()}


def _check_growth_lines(
    tables: Tables, portions: Mapping[str, tuple[Portion, ...]], centres: Mapping[str, tuple[Centre, ...]]
) -> None:
    for cells in _cells("centres", tables):
        element, metaphysis = cells.text("element"), cells.text("metaphysis")
        if metaphysis and metaphysis not in {portion.key for portion in portions[element]}:
            raise cells.fault(f"`metaphysis` names {metaphysis!r}, which is no portion of {element}")
    last: dict[str, _Cells] = {cells.text("element"): cells for cells in _cells("portions", tables)}
    for element, rows in portions.items():
        if rows and abs(sum(portion.share for portion in rows) - 1) > 1e-6:
            raise last[element].fault(f"the shares of {element} add up to {sum(p.share for p in rows):.2f}, not 1")
        if rows and {portion.step for portion in rows} != set(range(1, max(p.step for p in rows) + 1)):
            raise last[element].fault(f"the steps of {element} leave a gap")


def _fusion_ages(
    tables: Tables,
    taxa: Mapping[str, Taxon],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
) -> tuple[FusionAge, ...]:
    choice = {cells.known("taxon", taxa): cells.text("chosen_source") for cells in _cells("fusion_choices", tables)}
    found: list[FusionAge] = []
    for cells in _cells("fusion_ages", tables):
        age = FusionAge(
            taxon=cells.known("taxon", taxa),
            element=cells.known("element", elements),
            centre=cells.key("centre"),
            sex=cells.one_of("sex", "any", "F", "M"),
            min_months=cells.number("min_months"),
            max_months=cells.number("max_months"),
            chosen=cells.yes("chosen"),
            method=cells.one_of("method", "radiographic", "not stated"),
            published_element=cells.text("published_element"),
            published_end=cells.text("published_end"),
            confidence=cells.one_of("confidence", "high", "medium", "low"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        centre = next((one for one in centres[age.element] if one.key == age.centre), None)
        if centre is None:
            raise cells.fault(f"{age.element} has no fusion centre {age.centre!r}")
        if age.published_end not in centre.ends:
            raise cells.fault(f"the centre {age.element} {age.centre} does not list the end {age.published_end!r}")
        if age.min_months is not None and age.max_months is not None and age.min_months > age.max_months:
            raise cells.fault("the age ends before it begins")
        if age.chosen != (choice.get(age.taxon) == age.source):
            raise cells.fault(f"`chosen` does not follow the source chosen for {age.taxon}")
        found.append(age)
    return tuple(found)


def _skeleton_counts(
    tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]
) -> tuple[SkeletonCount, ...]:
    found: list[SkeletonCount] = []
    chosen: set[tuple[str, str]] = set()
    for cells in _cells("skeleton_counts", tables):
        row = SkeletonCount(
            taxon=cells.known("taxon", taxa),
            element=cells.known("element", elements),
            count=cells.whole("count"),
            count_max=cells.whole("count_max"),
            chosen=cells.yes("chosen"),
            published_taxon=cells.text("published_taxon"),
            published_element=cells.text("published_element"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        if not 0 < row.count <= row.count_max:
            raise cells.fault(f"a skeleton cannot have {row.count} to {row.count_max}")
        if row.chosen:
            if (row.taxon, row.element) in chosen:
                raise cells.fault(f"two counts are chosen for {row.element} of {row.taxon}")
            chosen.add((row.taxon, row.element))
        found.append(row)
    return tuple(found)


def _roles(tables: Tables) -> dict[tuple[str, str], str]:
    return {
        (cells.key("act"), cells.key("role")): cells.one_of("allowed", "yes", "no", "policy", "zone")
        for cells in _cells("roles", tables)
    }


def _words(tables: Tables) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for cells in _cells("words", tables):
        of, word = cells.key("list"), cells.key()
        if word in found.get(of, ()):
            raise cells.fault(f"the list {of!r} has {word!r} twice")
        found[of] = (*found.get(of, ()), word)
    return found


def _rule(cells: _Cells) -> RuleRow:
    return RuleRow(
        key=cells.key(),
        level=cells.one_of("level", "impossible", "check", "note"),
        kinds=cells.several_of("kinds", "docket", "context", "bag", "group"),
        families=cells.several("families"),
        raises=cells.one_of("raises", "", "query", "not_excluded"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )
