"""Rows of the ledger's tables as lines of JSON, and back. The same for every database.

Which tables: all that are declared, but those that are worked out of the changes (tables.WORKED_OUT). A new table is
kept without anybody having to think of it. Not here: the file (archive), transactions.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, Integer, LargeBinary, Table, func, insert, select, text

from server.keeping.errors import BackupDamaged, BackupIsNewer
from server.ledger import tables

AT_ONCE = 1000
_text_of = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def kept() -> list[Table]:
    """The tables that a backup holds, those before that others point to."""
    return [one for one in tables.metadata.sorted_tables if one.name not in tables.WORKED_OUT]


def lines_of(connection: Connection, table: Table) -> Iterator[bytes]:
    """A table's rows, by its key."""
    binary = _binary(table)
    query = select(table).order_by(*table.primary_key.columns).execution_options(yield_per=AT_ONCE)
    for row in connection.execute(query).mappings():
        told = dict(row)
        for name in binary:
            if told[name] is not None:
                told[name] = base64.b64encode(told[name]).decode("ascii")
        yield _text_of(told).encode("utf-8") + b"\n"


def fill(connection: Connection, table: Table, lines: Iterable[bytes]) -> None:
    """Adds rows to an empty table. Raises BackupIsNewer for a column that this program does not know, BackupDamaged."""
    binary, waiting = _binary(table), list[Mapping[str, Any]]()
    for line in lines:
        try:
            row = json.loads(line)
            if unknown := row.keys() - table.c.keys():
                raise BackupIsNewer(theirs=f"{table.name}: {', '.join(sorted(unknown))}", own="")
            for name in binary:
                if row.get(name) is not None:
                    row[name] = base64.b64decode(row[name], validate=True)
        except (ValueError, AttributeError, TypeError) as error:
            raise BackupDamaged(why=f"tables/{table.name}") from error
        # Rows of one statement name the same columns.
        if waiting and (len(waiting) == AT_ONCE or waiting[0].keys() != row.keys()):
            connection.execute(insert(table), waiting)
            waiting = []
        waiting.append(row)
    if waiting:
        connection.execute(insert(table), waiting)


def count_on(connection: Connection) -> None:
    """Lets the numbers that the database itself hands out go on after those that were put in."""
    if connection.dialect.name != "postgresql":
        return
    for table in tables.metadata.sorted_tables:
        column = table.autoincrement_column
        if column is None or not isinstance(column.type, Integer):
            continue
        name = connection.dialect.identifier_preparer.format_table(table)
        named = {"name": name, "column": column.name}
        counter = connection.scalar(text("select pg_get_serial_sequence(:name, :column)"), named)
        if counter is not None:
            last = connection.scalar(select(func.max(column))) or 0
            told = {"counter": counter, "next": last + 1}
            connection.execute(text("select setval(cast(:counter as regclass), :next, false)"), told)


def _binary(table: Table) -> list[str]:
    return [column.name for column in table.columns if isinstance(column.type, LargeBinary)]
