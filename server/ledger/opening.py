"""The way into a ledger's database: makes it once, and later brings its tables to what this program knows.

A ledger that a later program has written is left alone. An older one is copied beside itself, where it is a file, and
then goes its steps (migrations) under the writer's lock. Not here: what is written into a new ledger.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, inspect

from server.errors import LedgerExists, LedgerIsNewer, LedgerMissing
from server.ledger import meta, migrations
from server.ledger.database import Database
from server.ledger.place import Place

FORMAT = 1
"""Of the tables, before there were steps. The changes in them have a format of their own."""


def new(place: Place) -> Database:
    """The database of a ledger that is to be made. Raises LedgerExists."""
    database = _at(place)
    if database.is_there():
        database.close()
        raise LedgerExists(file=str(place))
    return database


@contextmanager
def filling(database: Database) -> Iterator[Connection]:
    """The transaction in which a new ledger gets its tables and its first rows: all of it or nothing."""
    try:
        with database.writing() as connection:
            database.prepare(connection)
            if inspect(connection).has_table("meta"):
                raise LedgerExists(file=str(database.place))
            migrations.make(connection)
            yield connection
    except LedgerExists:
        database.close()
        raise
    except BaseException:
        database.discard()
        raise


def there(place: Place) -> Database:
    """The database of a ledger that was made. Raises LedgerMissing, LedgerIsNewer."""
    if place.path is not None and not place.path.is_file():
        raise LedgerMissing(file=str(place))
    database = _at(place)
    try:
        with database.reading() as connection:
            current = _look(connection, place)
        if not current:
            with database.writing() as connection:
                # Another process may have done it meanwhile.
                if not _look(connection, place):
                    database.keep_copy(migrations.HEAD)
                    migrations.upgrade(connection)
    except BaseException:
        database.close()
        raise
    return database


def _look(connection: Connection, place: Place) -> bool:
    """Whether the tables are as this program has them."""
    if not inspect(connection).has_table("meta"):
        raise LedgerMissing(file=str(place))
    theirs, revision = meta.format_of(connection), migrations.revision_of(connection)
    if theirs > FORMAT:
        raise LedgerIsNewer(file=str(place), theirs=theirs, own=FORMAT)
    if not migrations.is_known(revision):
        raise LedgerIsNewer(file=str(place), theirs=revision, own=migrations.HEAD)
    return revision == migrations.HEAD


def _at(place: Place) -> Database:
    # Each loads its own driver.
    if place.path is not None:
        from server.ledger.sqlite import SqliteDatabase

        return SqliteDatabase(place.path)
    from server.ledger.postgres import PostgresDatabase

    return PostgresDatabase(place)
