"""What was noticed and who did what at the cabin: added, never altered. The sentences are texts, `cabin.event.<what>`.

Not here: changes to records, which keep their own history.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
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


def since(connection: Connection, what: str, at: str) -> int:
    """How many lines of one sort there are from the moment `at` on (ISO 8601 UTC, as written by the ledger)."""
    column = tables.event.c
    query = select(func.count()).select_from(tables.event).where(column.what == what, column.at >= at)
    return connection.scalar(query) or 0


def of(connection: Connection, what: str, who: str) -> int:
    """How many lines of one sort there are about `who`."""
    column = tables.event.c
    query = select(func.count()).select_from(tables.event).where(column.what == what, column.who == who)
    return connection.scalar(query) or 0
