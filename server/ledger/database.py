"""What both databases of the ledger promise, and the few statements that each of them says in its own way.

Many readers, one writer at a time across threads and processes; what was written is on the disk when it is answered.
SQLite and PostgreSQL keep it each in a module of its own. Not here: any table.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from functools import cache
from operator import itemgetter
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, any_, bindparam, column, func, literal, or_, text
from sqlalchemy.dialects import postgresql, sqlite

from server.ledger.columns import Text, writable
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
    def rest(self) -> None:
        """Tidies up while nobody waits. Nothing depends on it."""

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


def put(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]], *, replace: bool = False) -> None:
    """Inserts `rows`, which have all the table's columns; `replace`: each in the place of the one that has its key."""
    if not rows:
        return
    if connection.dialect.name == "postgresql":
        connection.execute(_statement(postgresql.insert(table), table, replace), rows)
        return
    # The driver's own way: half the time of a batch.
    statement, in_order = _on_sqlite(table, replace)
    connection.exec_driver_sql(statement, [in_order(row) for row in rows])


@cache
def _on_sqlite(table: Table, replace: bool) -> tuple[str, Callable[[Mapping[str, Any]], Any]]:
    """The statement, and what brings a row's values into its order."""
    statement = _statement(sqlite.insert(table), table, replace).values(dict.fromkeys(table.c.keys()))
    compiled = statement.compile(dialect=sqlite.dialect())
    return compiled.string, itemgetter(*(compiled.positiontup or ()))


def _statement(insert: Any, table: Table, replace: bool) -> Any:
    if not replace:
        return insert
    columns = {one.name: insert.excluded[one.name] for one in table.c if not one.primary_key}
    return insert.on_conflict_do_update(index_elements=[one.name for one in table.primary_key], set_=columns)


def listed(connection: Connection, values: Collection[str]) -> Any:
    """Texts without a NUL as rows of one column, `value`, to be joined with."""
    if connection.dialect.name == "postgresql":
        array = literal(list(values), postgresql.ARRAY(Text))
        return func.unnest(array).table_valued(column("value", Text)).render_derived()
    return func.json_each(json.dumps(list(values))).table_valued(column("value", Text))


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
