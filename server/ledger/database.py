"""What both databases of the ledger promise, and the few statements that each of them says in its own way.

Many readers, one writer at a time across threads and processes; what was written is on the disk when it is answered.
SQLite and PostgreSQL keep it each in a module of its own. Not here: any table.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any

from sqlalchemy import ColumnElement, Connection, Insert, Table, any_, bindparam, literal, or_, text
from sqlalchemy.dialects import postgresql, sqlite

from server.ledger.columns import writable
from server.ledger.place import Place

LOCK_SECONDS = 60
"""How long a writer waits for another process's batch before it gives up."""


class Database(ABC):
    """`reading()` and `writing()` give connections inside a transaction. Both raise LedgerBusy, LedgerUnreachable."""

    place: Place

    @abstractmethod
    def reading(self) -> AbstractContextManager[Connection]:
        """One moment of the ledger: everything read in it fits together."""

    @abstractmethod
    def writing(self) -> AbstractContextManager[Connection]:
        """The only writer. Committed, and on the disk, when the block ends; nothing is kept of a block that raises."""

    @abstractmethod
    def is_there(self) -> bool:
        """Whether there is something where the ledger should be."""

    @abstractmethod
    def prepare(self, connection: Connection) -> None:
        """Makes what the tables are put into."""

    @abstractmethod
    def keep_copy(self, before: str) -> None:
        """Puts a copy beside the ledger, where that is this program's to do, before its tables are changed."""

    @abstractmethod
    def discard(self) -> None:
        """Takes away what was just made and could not be filled."""

    @abstractmethod
    def close(self) -> None:
        """Lets go of it."""


def upsert(connection: Connection, table: Table) -> Insert:
    """Inserts a row, or puts it in the place of the one that has its key."""
    statement: Any = (postgresql if connection.dialect.name == "postgresql" else sqlite).insert(table)
    columns = {one.name: statement.excluded[one.name] for one in table.c if not one.primary_key}
    keys = [one.name for one in table.primary_key]
    done: Insert = statement.on_conflict_do_update(index_elements=keys, set_=columns)
    return done


def execute_many(connection: Connection, statement: Insert, rows: Sequence[Mapping[str, Any]]) -> None:
    """Inserts `rows`, which have all the table's columns; on SQLite the driver's own way, half the time of a batch."""
    if connection.dialect.name != "sqlite":
        connection.execute(statement, rows)
        return
    compiled = statement.values(dict.fromkeys(rows[0])).compile(connection)
    names = compiled.positiontup or []
    connection.exec_driver_sql(compiled.string, [tuple(row[name] for name in names) for row in rows])


_LISTED = text("SELECT value FROM json_each(:listed)")


def among(connection: Connection, column: ColumnElement[Any], values: Collection[Any]) -> ColumnElement[bool]:
    """Whether `column` holds one of `values`, however many: one parameter, so that the statement is made once.

    A list of parameters is written out anew for each length; for some hundred that takes longer than the asking.
    """
    if connection.dialect.name == "postgresql":
        return column == any_(literal(list(values), postgresql.ARRAY(column.type)))
    told = [writable(one) if isinstance(one, str) else one for one in values]
    # SQLite's JSON ends a text at its first NUL: what holds one is asked for by itself.
    odd = [one for one in told if isinstance(one, str) and "\0" in one]
    if odd:
        told = [one for one in told if not (isinstance(one, str) and "\0" in one)]
    found = column.in_(_LISTED.bindparams(bindparam("listed", json.dumps(told), unique=True)))
    return or_(found, column.in_(odd)) if odd else found
