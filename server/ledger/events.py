"""What was noticed and who did what at the cabin: added, never altered. The sentences are texts, `cabin.event.<what>`.

Not here: changes to records, which keep their own history.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, insert, select

from server.ledger import tables


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the log."""

    nr: int
    at: str
    what: str
    who: str
    fields: dict[str, Any]


def note(connection: Connection, what: str, who: str, at: str, fields: Mapping[str, Any]) -> None:
    """Adds a line; it stands or falls with the transaction it belongs to."""
    connection.execute(
        insert(tables.event), {"at": at, "what": what, "who": who, "fields": json.dumps(dict(fields), sort_keys=True)}
    )


def newest(connection: Connection, limit: int, what: str | None = None) -> list[Event]:
    """The last lines, newest first; of one sort if `what` is given."""
    column = tables.event.c
    query = select(tables.event).order_by(column.nr.desc()).limit(limit)
    if what is not None:
        query = query.where(column.what == what)
    return [Event(row.nr, row.at, row.what, row.who, json.loads(row.fields)) for row in connection.execute(query)]


def naming(connection: Connection, what: str, word: str) -> list[Event]:
    """Lines of one sort in whose fields a word stands, such as an id, newest first."""
    column = tables.event.c
    query = select(tables.event).where(column.what == what, column.fields.contains(word, autoescape=True))
    rows = connection.execute(query.order_by(column.nr.desc()))
    return [Event(row.nr, row.at, row.what, row.who, json.loads(row.fields)) for row in rows]


def last_of(connection: Connection, what: str, who: str) -> Event | None:
    """The last line of one sort and of one person, if there is one."""
    column = tables.event.c
    query = select(tables.event).where(column.what == what, column.who == who).order_by(column.nr.desc()).limit(1)
    row = connection.execute(query).first()
    return None if row is None else Event(row.nr, row.at, row.what, row.who, json.loads(row.fields))


def holding(connection: Connection, what: Collection[str], field: str, value: str) -> Event | None:
    """The last line of some sorts that has a text in a field."""
    column = tables.event.c
    held = column.fields.contains(json.dumps({field: value})[1:-1], autoescape=True)
    query = select(tables.event).where(column.what.in_(what), held).order_by(column.nr.desc()).limit(1)
    row = connection.execute(query).first()
    return None if row is None else Event(row.nr, row.at, row.what, row.who, json.loads(row.fields))


def page(
    connection: Connection,
    limit: int,
    *,
    only: Collection[str] | None = None,
    but: Collection[str] = (),
    after: str = "",
    until: str = "",
    below: int | None = None,
) -> list[Event]:
    """Lines of a stretch of time [`after`, `until`), newest first, from below the number `below` on; of some sorts
    only, or of all `but` some."""
    column = tables.event.c
    query = select(tables.event).order_by(column.nr.desc()).limit(limit)
    for wanted, clause in (
        (only is not None, column.what.in_(only or ())),
        (but, column.what.not_in(but)),
        (after, column.at >= after),
        (until, column.at < until),
        (below is not None, column.nr < (below or 0)),
    ):
        if wanted:
            query = query.where(clause)
    return [Event(row.nr, row.at, row.what, row.who, json.loads(row.fields)) for row in connection.execute(query)]


def between(connection: Connection, what: str, first: str, last: str, who: str | None = None) -> int:
    """How many lines of one sort there are between two moments (ISO 8601 UTC, as written by the ledger).

    Both ends, because a clock may be put back: what was written before that lies in the future then.
    """
    column = tables.event.c
    query = (
        select(func.count()).select_from(tables.event).where(column.what == what, column.at >= first, column.at <= last)
    )
    if who is not None:
        query = query.where(column.who == who)
    return connection.scalar(query) or 0


def note_seldom(
    connection: Connection, what: str, who: str, at: str, fields: Mapping[str, Any], *, unless_since: str
) -> None:
    """Adds a line unless there is one of this sort and of `who` since then: what anybody may cause fills no disk."""
    if not between(connection, what, unless_since, at, who):
        note(connection, what, who, at, fields)
