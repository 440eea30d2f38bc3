"""One row of a reference table read cell by cell, and the fault that a cell may be.

What the tables mean is not known here (domain.tables and its kin), nor where they lie (fieldapp.assets).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

from fieldapp.domain.entries import Occurs

Row = Mapping[str, str]
Rows = Sequence[tuple[str, int, Row]]
"""(table or file of a table, line, row) triples."""

Tables = Mapping[str, Rows]
T = TypeVar("T")


class TableFault(Exception):
    """A table that cannot be used.

    table  its name, folder/name for one in several files;  line  its line, 1 is the head;  what  the fault
    """

    def __init__(self, table: str, line: int, what: str) -> None:
        super().__init__(f"{table}, line {line}: {what}")
        self.table = table
        self.line = line
        self.what = what


class Cells:
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


def cells_of(name: str, tables: Tables) -> list[Cells]:
    """The rows of a table."""
    return [Cells(file, line, row) for file, line, row in tables[name]]


def by_key(name: str, tables: Tables, make: Callable[[Cells], T]) -> dict[str, T]:
    """{key: what `make` makes of the row}; a repeated key is a fault."""
    found: dict[str, T] = {}
    for cells in cells_of(name, tables):
        key = cells.key()
        if key in found:
            raise cells.fault(f"the key {key!r} is given twice")
        found[key] = make(cells)
    return found
