"""The ledger's SQLite file: many readers, one writer, on this machine and not on a network drive.

Write-ahead log, every commit on the disk before it is answered. One writing connection at a time, also across
processes (the cabin and a command beside it): SQLite before 3.51.3 can lose commits when two connections write or
checkpoint one log at the same moment, so the lock is held until the commit and its checkpoint are done. Readers can
neither write nor checkpoint. Not here: any table.
"""

from __future__ import annotations

import itertools
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from sqlalchemy import URL, Connection, Engine, create_engine, event

from server.errors import LedgerBusy
from server.ledger.database import LOCK_SECONDS, Database
from server.ledger.place import Place

_WRITER = (
    "PRAGMA page_size=8192",
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA wal_autocheckpoint=8000",
)
"""Pages (of a new file) of a size that takes in a batch soonest. What is in the log is on the disk; it is carried over
into the file when nobody waits (`rest`), at the latest when it has about 64 MB."""


class SqliteDatabase(Database):
    """See Database and the module."""

    def __init__(self, path: Path) -> None:
        self.place = Place(path=path)
        self.path = path
        self._threads = threading.RLock()
        self._processes = FileLock(path.with_name(path.name + ".lock"), timeout=LOCK_SECONDS, thread_local=False)
        self._writer = _engine(path, _WRITER, "BEGIN IMMEDIATE", 1)
        self._readers = _engine(path, ("PRAGMA query_only=ON",), "BEGIN", 8)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        with self._readers.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        with self._alone(), self._writer.begin() as connection:
            yield connection

    @contextmanager
    def _alone(self) -> Iterator[None]:
        with self._threads:
            try:
                self._processes.acquire()
            except Timeout as fault:
                raise LedgerBusy(seconds=LOCK_SECONDS) from fault
            try:
                yield
            finally:
                self._processes.release()

    def rest(self) -> None:
        # Outside a transaction, which SQLAlchemy would begin.
        with self._alone(), closing(self._writer.raw_connection()) as connection:
            connection.cursor().execute("PRAGMA wal_checkpoint(PASSIVE)")

    def is_there(self) -> bool:
        return self.path.exists()

    def prepare(self, connection: Connection) -> None:
        pass

    def keep_copy(self, before: str) -> None:
        for number in itertools.count(1):
            copy = self.path.with_name(f"{self.path.stem}.before-{before}{f'-{number}' if number > 1 else ''}.sqlite")
            if not copy.exists():
                break
        part = copy.with_name(copy.name + ".part")
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        # SQLite's own way: a copy of one moment.
        with self._readers.connect() as connection, closing(sqlite3.connect(part)) as target:
            source: Any = connection.connection.driver_connection
            source.backup(target)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.rename(copy)

    def discard(self) -> None:
        self.close()
        for end in ("", "-wal", "-shm"):
            self.path.with_name(self.path.name + end).unlink(missing_ok=True)

    def close(self) -> None:
        # The last connection to be closed checkpoints: a writer's work.
        with suppress(LedgerBusy), self._alone():
            self._readers.dispose()
            self._writer.dispose()


def _engine(path: Path, pragmas: tuple[str, ...], begin: str, size: int) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        pool_size=size,
        max_overflow=0,
        connect_args={"timeout": LOCK_SECONDS},
        hide_parameters=True,
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
