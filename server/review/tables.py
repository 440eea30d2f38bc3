"""Lists that are searched, narrowed down, sorted and paged by their address: links and one form, no script.

    table = Table(rows, [Column("number", …), Column("dockets", …, many_first=True)], text=…, only={"holds": …})

The address holds `find` (words, each of which has to be in a row's text), `only` (one of the names given), `sort` (a
column's name, with a minus before it the other way round) and `page`. What it holds besides is passed over. Not here:
any list, how one looks (tables.html).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from urllib.parse import urlencode

from flask import request

T = TypeVar("T")

ON_A_PAGE = 50
LONGEST = 200
"""Characters of what is looked for."""


@dataclass(frozen=True, slots=True)
class Column(Generic[T]):
    """A column that can be sorted by. `key` gives "" or None for nothing, which comes last either way."""

    name: str
    key: Callable[[T], Any]
    many_first: bool = False


class Table(Generic[T]):
    """See the module.

    rows    those of this page
    number, last  this page and the last one
    found, total  how many rows fit, and how many there are
    """

    def __init__(
        self,
        rows: Sequence[T],
        columns: Sequence[Column[T]],
        *,
        text: Callable[[T], str],
        only: Mapping[str, Callable[[T], bool]],
    ) -> None:
        """`rows` in their usual order, which stays wherever a column says nothing else."""
        asked = request.args
        self._columns = {one.name: one for one in columns}
        self.choices = tuple(only)
        self.find = " ".join(asked.get("find", "")[:LONGEST].split())
        self.only = asked.get("only", "") if asked.get("only") in only else ""
        sort = asked.get("sort", "")
        self.sort = sort if sort.removeprefix("-") in self._columns else ""
        fitting = [one for one in rows if not self.only or only[self.only](one)]
        wanted = self.find.casefold().split()
        if wanted:
            fitting = [one for one in fitting if all(word in text(one).casefold() for word in wanted)]
        self.total, self.found = len(rows), len(fitting)
        self.last = max(1, -(-self.found // ON_A_PAGE))
        self.number = min(max(1, asked.get("page", 1, int)), self.last)
        start = (self.number - 1) * ON_A_PAGE
        self.rows = self._sorted(fitting)[start : start + ON_A_PAGE]

    def _sorted(self, rows: list[T]) -> list[T]:
        if not self.sort:
            return rows
        key = self._columns[self.sort.removeprefix("-")].key
        told = [one for one in rows if key(one) not in ("", None)]
        silent = [one for one in rows if key(one) in ("", None)]
        return sorted(told, key=key, reverse=self.sort.startswith("-")) + silent

    def sorted_by(self, name: str) -> str:
        """How the rows stand by a column, as `aria-sort` says it."""
        if self.sort.removeprefix("-") != name:
            return "none"
        return "descending" if self.sort.startswith("-") else "ascending"

    def sort_link(self, name: str) -> str:
        """The address of this list sorted by a column; sorted by it already, the other way round."""
        first = f"-{name}" if self._columns[name].many_first else name
        other = name if first.startswith("-") else f"-{name}"
        return self.link(sort=other if self.sort == first else first)

    def link(self, **changes: str | int) -> str:
        """The address of this list with something else in it; on its first page, unless that is what changes."""
        parts = {"find": self.find, "only": self.only, "sort": self.sort, **changes}
        return "?" + urlencode({name: value for name, value in parts.items() if value})
