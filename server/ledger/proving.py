"""Proof that the stored records are what the changes fold into, and the way back if they are not.

A few records at a time, so that it takes the same memory for a hundred records and for a hundred thousand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from sqlalchemy import Connection, delete, select, union

from fieldapp.assets import knowledge
from fieldapp.records import standing
from fieldapp.records.changes import read
from fieldapp.records.fold import Fold
from server.ledger import folding, tables
from server.ledger.folding import AT_ONCE, PROTECTED, Derived

Told = Callable[[int], None]
"""Called with how many records are done."""


def differences(connection: Connection, told: Told | None = None) -> list[str]:
    """Ids of the records whose stored rows are not what all changes together give."""
    who, found, done = _authority(connection), list[str](), 0
    ids = union(select(tables.change.c.record), select(tables.record.c.id), select(tables.disagreement.c.record),
                select(tables.link.c.record)).subquery()  # fmt: skip
    for part in _pages(connection, ids.c[0]):
        wanted = {one.id: _compared(folding.derive(one, who)) for one in _fold(connection, part)}
        stored = _stored(connection, part)
        found += [one for one in part if wanted.get(one) != stored.get(one)]
        done += len(part)
        if told:
            told(done)
    return sorted(found)


def rebuild(connection: Connection, told: Told | None = None) -> None:
    """Works out every record anew; the rules then look at all of them again."""
    who, done = _authority(connection), 0
    for table in reversed(tables.metadata.sorted_tables):
        if table.name in tables.WORKED_OUT:
            connection.execute(delete(table))
    for part in _pages(connection, tables.change.c.record):
        folding.store(connection, [folding.derive(one, who) for one in _fold(connection, part)], ())
        done += len(part)
        if told:
            told(done)


def _pages(connection: Connection, column: Any) -> Iterator[list[str]]:
    """The distinct values of a column, so many at a time; nothing stays open between."""
    last = None
    while True:
        query = select(column).distinct().order_by(column).limit(AT_ONCE)
        part = list(connection.scalars(query if last is None else query.where(column > last)))
        if not part:
            return
        yield part
        last = part[-1]


def _fold(connection: Connection, ids: Any) -> Fold:
    column, fold = tables.change.c, Fold()
    for body in connection.scalars(select(column.body).where(column.record.in_(ids)).order_by(column.seq)):
        fold.apply(read(body))
    return fold


def _authority(connection: Connection) -> standing.Authority:
    column = tables.change.c
    fold = _fold(connection, select(column.record).where(column.kind.in_(PROTECTED)))
    site = next((one for one in fold if one.kind == PROTECTED[0]), None)
    return standing.authority(site, [one for one in fold if one.kind == PROTECTED[1]], knowledge().names)


def _compared(derived: Derived) -> Derived:
    """Without what is not worked out of the changes: whether the rules have been by."""
    return derived._replace(row={**derived.row, "due": None})


def _stored(connection: Connection, ids: list[str]) -> dict[str, Derived]:
    def grouped(table: Any, *order: Any) -> dict[str, list[dict[str, Any]]]:
        found: dict[str, list[dict[str, Any]]] = {}
        query = select(table).where(table.c.record.in_(ids)).order_by(*order)
        for row in connection.execute(query).mappings():
            found.setdefault(row["record"], []).append(dict(row))
        return found

    disagreements = grouped(tables.disagreement, tables.disagreement.c.path)
    links = grouped(tables.link, tables.link.c.sort, tables.link.c.other)
    rows = connection.execute(select(tables.record).where(tables.record.c.id.in_(ids))).mappings()
    found = {
        row["id"]: _compared(
            Derived(dict(row), tuple(disagreements.pop(row["id"], ())), tuple(links.pop(row["id"], ())))
        )
        for row in rows
    }
    # Rows without a record are a difference too.
    return found | {one: Derived({}, (), ()) for one in (*disagreements, *links)}
