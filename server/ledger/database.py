"""The ledger's SQLite file: many readers, one writer, on this machine and not on a network drive.

Write-ahead log, every commit on the disk before it is answered. One writing connection at a time, also across
processes (the cabin and a command beside it): SQLite before 3.51.3 can lose commits when two connections write or
checkpoint one log at the same moment, so the lock is held until the commit and its checkpoint are done. Readers can
neither write nor checkpoint. Not here: any table.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from filelock import FileLock
from sqlalchemy import URL, Connection, Engine, Insert, MetaData, create_engine, event

_WRITER = ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL", "PRAGMA wal_autocheckpoint=4000")

LOCK_SECONDS = 60
"""How long a writer waits for another process's batch before it gives up."""


class Database:
    """`reading()` and `writing()` give connections inside a transaction. Missing tables are made."""

    def __init__(self, path: Path, metadata: MetaData) -> None:
        self.path = path
        self._threads = threading.RLock()
        self._processes = FileLock(path.with_name(path.name + ".lock"), timeout=LOCK_SECONDS, thread_local=False)
        self._writer = _engine(path, _WRITER, "BEGIN IMMEDIATE", 1)
        self._readers = _engine(path, ("PRAGMA query_only=ON",), "BEGIN", 8)
        with self.writing() as connection:
            metadata.create_all(connection)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One moment of the ledger: everything read in it fits together."""
        with self._readers.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """The only writer. Committed, and on the disk, when the block ends; nothing is kept of a block that raises."""
        with self._threads, self._processes, self._writer.begin() as connection:
            yield connection

    def close(self) -> None:
        """Lets go of the file."""
        self._readers.dispose()
        self._writer.dispose()


def execute_many(connection: Connection, statement: Insert, rows: Sequence[Mapping[str, Any]]) -> None:
    """Inserts `rows`, which have all the table's columns, by the driver's own way: half the time of a long batch."""
    compiled = statement.values(dict.fromkeys(rows[0])).compile(connection)
    names = compiled.positiontup or []
    connection.exec_driver_sql(compiled.string, [tuple(row[name] for name in names) for row in rows])


def _engine(path: Path, pragmas: tuple[str, ...], begin: str, size: int) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)), pool_size=size, max_overflow=0, connect_args={"timeout": LOCK_SECONDS}
    )

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        # The driver's own idea of when a transaction starts is switched off; `begun` says it instead.
        connection.isolation_level = None
        for pragma in ("PRAGMA foreign_keys=ON", *pragmas):
            connection.execute(pragma)

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine
