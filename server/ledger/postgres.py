"""The ledger in a PostgreSQL database: a schema a site, many readers, one writer a schema.

A writer holds a lock of the schema until its transaction ends, so that the ledger's count is handed out without gaps
and becomes visible in its order. Readers see one moment and cannot write. A connection that was dropped while nobody
used it is replaced unseen; one that drops in the middle is told: only who asked knows whether to ask again.
Not here: any table; copies and their keeping, which are the database's own business.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from psycopg.errors import LockNotAvailable
from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.exc import InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from server.errors import LedgerBusy, LedgerUnreachable
from server.ledger.database import LOCK_SECONDS, Database
from server.ledger.place import Place

_CONNECT_SECONDS = 10
_ALONE = text(
    "SELECT pg_advisory_xact_lock(:key), CASE WHEN current_setting('synchronous_commit') = 'off' "
    "THEN set_config('synchronous_commit', 'on', true) END"
)


class PostgresDatabase(Database):
    """See Database and the module. Nothing is connected to until it is asked for."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._threads = threading.RLock()
        digest = hashlib.sha256(f"bonedocket {place.schema}".encode()).digest()
        self._key = int.from_bytes(digest[:8], "big", signed=True)
        # Not REPEATABLE READ: a writer has to see what was committed while it waited for its turn.
        self._writer = _engine(place, "READ COMMITTED", size=1, more=0)
        self._readers = _engine(place, "REPEATABLE READ", size=2, more=8)

        @event.listens_for(self._readers, "connect")
        def connected(connection: Any, _: Any) -> None:
            connection.read_only = True

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        with self._told(), self._readers.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        with self._told(), self._threads, self._writer.begin() as connection:
            connection.execute(_ALONE, {"key": self._key})
            yield connection

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except PoolTimeout as fault:
            raise LedgerBusy(seconds=30) from fault
        except (OperationalError, InterfaceError) as fault:
            if isinstance(fault.orig, LockNotAvailable):
                raise LedgerBusy(seconds=LOCK_SECONDS) from fault
            why = str(fault.orig).strip().partition("\n")[0]
            raise LedgerUnreachable(place=str(self.place), why=why) from fault

    def rest(self) -> None:
        pass  # it does so by itself

    def is_there(self) -> bool:
        with self.reading() as connection:
            return inspect(connection).has_table("meta")

    def prepare(self, connection: Connection) -> None:
        there = text("SELECT 1 FROM pg_namespace WHERE nspname = :schema")
        # Asked first: a schema that somebody made for us needs no right to make one.
        if connection.scalar(there, {"schema": self.place.schema}) is None:
            connection.exec_driver_sql(f'CREATE SCHEMA "{self.place.schema}"')

    def keep_copy(self, before: str) -> None:
        pass

    def discard(self) -> None:
        # It was made in one transaction, which was taken back.
        self.close()

    def close(self) -> None:
        self._readers.dispose()
        self._writer.dispose()


def _engine(place: Place, level: Any, size: int, more: int) -> Engine:
    assert place.url is not None
    # Said when connecting, so that whatever stands in between and cannot keep it refuses; nobody writes elsewhere.
    settings = f"-csearch_path={place.schema} -clock_timeout={LOCK_SECONDS}s"
    theirs = place.url.query.get("options", "")
    return create_engine(
        place.url,
        isolation_level=level,
        pool_size=size,
        max_overflow=more,
        pool_pre_ping=True,
        hide_parameters=True,
        connect_args={
            "connect_timeout": _CONNECT_SECONDS,
            "application_name": "bonedocket",
            "options": f"{theirs} {settings}".strip(),
        },
    )
