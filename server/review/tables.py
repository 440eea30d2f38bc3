"""Lists that are searched, narrowed down, sorted and paged by their address, so that a link is the list as it was.

    table = Table(rows, [Column("number", …), Column("dockets", …, many_first=True)], text=…, only={"holds": …})
    table = Paged(connection, query, {"label": Sort(…)}, find=…, only={"asked": …}, usual=…)

A `Table` has its rows at hand; of a `Paged` list the database sorts and counts and gives one page. The address holds
`find` (words, each of which has to be in a row), `only` (one of the names given), `sort` (a column's name, with a minus
before it the other way round) and `page`. What it holds besides is passed over. Not here: any list, how one looks
(tables.html).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from urllib.parse import urlencode

from flask import request
from sqlalchemy import ColumnElement, Connection, Select, case, func, select
from werkzeug.datastructures import MultiDict

T = TypeVar("T")

ON_A_PAGE = 50
MOST_WORDS = 500
"""Words of a vocabulary that a list is sorted by; what records may hold besides comes after them."""
LONGEST = 200
"""Characters of what is looked for."""


@dataclass(frozen=True, slots=True)
class Column(Generic[T]):
    """A column that can be sorted by. `key` gives "" or None for nothing, which comes last either way."""

    name: str
    key: Callable[[T], Any]
    many_first: bool = False


@dataclass(frozen=True, slots=True)
class Sort:
    """The same of a `Paged` list; null is nothing. `order`: puts the keys of a vocabulary in the order of what the page
    says for them, where a list is sorted by that and not by keys."""

    by: ColumnElement[Any]
    many_first: bool = False
    order: Callable[[Iterable[str]], Iterable[str]] | None = None


class Asked:
    """What an address asks of a list, and the addresses of the same list otherwise.

    number, last  this page and the last one
    found, total  how many rows fit, and how many there are
    choices       names of what it can be narrowed down to
    also          what else its address holds, and keeps
    """

    def __init__(
        self,
        many_first: Mapping[str, bool],
        choices: Sequence[str],
        also: Mapping[str, str],
        asked: MultiDict[str, str] | None = None,
    ) -> None:
        """`asked`: what the address holds, if it is not the one that is asked for now."""
        asked = request.args if asked is None else asked
        self.also = also
        self._many_first, self.choices = many_first, tuple(choices)
        self.find = " ".join(asked.get("find", "")[:LONGEST].replace("\0", " ").split())
        self.only = asked.get("only", "") if asked.get("only") in self.choices else ""
        sort = asked.get("sort", "")
        self.sort = sort if sort.removeprefix("-") in many_first else ""
        self.number, self.last, self.found, self.total = max(1, asked.get("page", 1, int)), 1, 0, 0

    @property
    def words(self) -> list[str]:
        """What is looked for, word by word, capitals as small letters."""
        return self.find.casefold().split()

    def _turn_to(self, found: int, total: int) -> int:
        """The page that is asked for, of so many rows; where it begins."""
        self.found, self.total = found, total
        self.last = max(1, -(-found // ON_A_PAGE))
        self.number = min(self.number, self.last)
        return (self.number - 1) * ON_A_PAGE

    def sorted_by(self, name: str) -> str:
        """How the rows stand by a column, as `aria-sort` says it."""
        if self.sort.removeprefix("-") != name:
            return "none"
        return "descending" if self.sort.startswith("-") else "ascending"

    def sorts(self, name: str) -> bool:
        """Whether it can be sorted by a column."""
        return name in self._many_first

    def sort_link(self, name: str) -> str:
        """The address of this list sorted by a column; sorted by it already, the other way round."""
        first = f"-{name}" if self._many_first[name] else name
        other = name if first.startswith("-") else f"-{name}"
        return self.link(sort=other if self.sort == first else first)

    def link(self, **changes: str | int) -> str:
        """The address of this list with something else in it; on its first page, unless that is what changes."""
        parts = {**self.also, "find": self.find, "only": self.only, "sort": self.sort, **changes}
        return "?" + urlencode({name: value for name, value in parts.items() if value})


class Table(Asked, Generic[T]):
    """See the module. `rows`: those of this page."""

    def __init__(
        self,
        rows: Sequence[T],
        columns: Sequence[Column[T]],
        *,
        text: Callable[[T], str],
        only: Mapping[str, Callable[[T], bool]],
    ) -> None:
        """`rows` in their usual order, which stays wherever a column says nothing else."""
        self._columns = {one.name: one for one in columns}
        super().__init__({one.name: one.many_first for one in columns}, tuple(only), {})
        fitting = [one for one in rows if not self.only or only[self.only](one)]
        if wanted := self.words:
            fitting = [one for one in fitting if all(word in text(one).casefold() for word in wanted)]
        start = self._turn_to(len(fitting), len(rows))
        self.rows = self._sorted(fitting)[start : start + ON_A_PAGE]

    def _sorted(self, rows: list[T]) -> list[T]:
        if not self.sort:
            return rows
        key = self._columns[self.sort.removeprefix("-")].key
        told = [one for one in rows if key(one) not in ("", None)]
        silent = [one for one in rows if key(one) in ("", None)]
        return sorted(told, key=key, reverse=self.sort.startswith("-")) + silent


class Paged(Asked):
    """See the module. `rows`: those of this page, as the query gives them."""

    def __init__(
        self,
        connection: Connection,
        query: Select[Any],
        sorts: Mapping[str, Sort],
        *,
        find: Callable[[str], ColumnElement[bool]],
        only: Mapping[str, ColumnElement[bool]],
        usual: Sequence[ColumnElement[Any]],
        also: Mapping[str, str] | None = None,
        asked: MultiDict[str, str] | None = None,
    ) -> None:
        """`find`: whether a row has a word; `usual`: the order where a column says nothing else, down to one row."""
        super().__init__({name: one.many_first for name, one in sorts.items()}, tuple(only), also or {}, asked)
        narrowed = [only[self.only]] if self.only else []
        narrowed += [find(word) for word in self.words]
        total = _count(connection, query)
        fitting = query.where(*narrowed)
        start = self._turn_to(_count(connection, fitting) if narrowed else total, total)
        order: list[ColumnElement[Any]] = []
        if self.sort:
            by = _places(connection, fitting, sorts[self.sort.removeprefix("-")])
            order = [by.is_(None), by.desc() if self.sort.startswith("-") else by]
        page = fitting.order_by(*order, *usual).offset(start).limit(ON_A_PAGE)
        self.rows = connection.execute(page).all()


def _places(connection: Connection, query: Select[Any], sort: Sort) -> ColumnElement[Any]:
    """What to sort by. Of a vocabulary the words that are there: they are few, and a database knows no language."""
    if sort.order is None:
        return sort.by
    there = connection.scalars(query.with_only_columns(sort.by).where(sort.by > "").distinct().limit(MOST_WORDS))
    places = {key: n for n, key in enumerate(sort.order(there))}
    return case(places, value=sort.by, else_=case((sort.by > "", len(places)))) if places else sort.by


def _count(connection: Connection, query: Select[Any]) -> int:
    return connection.scalar(select(func.count()).select_from(query.subquery())) or 0
