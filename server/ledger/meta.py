"""The ledger's few single values: epoch, own notebook, site, head of the count, stamp of the last authority."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, select

from server.ledger import database, tables


class Names(NamedTuple):
    """Which ledger this is.

    epoch     this life of it: another one after it was put back from a backup
    notebook  the cabin's own
    site      id
    head      the last number of its count
    authority the number of the last change that decides about authority
    """

    epoch: str
    notebook: str
    site: str
    head: int
    authority: int


_ALL = select(tables.meta.c.key, tables.meta.c.value)


def names(connection: Connection) -> Names:
    """All of them at this moment."""
    found = {key: value for key, value in connection.execute(_ALL)}
    return Names(
        found["epoch"], found["notebook"], found["site"], int(found.get("head", 0)), int(found.get("authority", 0))
    )


def format_of(connection: Connection) -> int:
    """The format of the tables."""
    return int(connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "format")) or 1)


def known(connection: Connection) -> str:
    """With what the records were last worked out, "" if that was before it was written down."""
    return str(connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "known")) or "")


def rebuilt(connection: Connection) -> str:
    """Another word each time that all records were worked out anew: what was made of them before may be otherwise."""
    return str(connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "rebuilt")) or "")


def labelled(connection: Connection) -> tuple[list[str], int]:
    """The letters that the cabin itself has labelled with, the present one last ("" where a new one is to be taken),
    and the last number given under it."""
    wanted = tables.meta.c.key.in_(("letters", "label"))
    found = {key: value for key, value in connection.execute(_ALL.where(wanted))}
    return found.get("letters", "").split(" "), int(found.get("label", 0))


def put(connection: Connection, **values: str | int) -> None:
    """Sets some of them."""
    rows = [{"key": key, "value": str(value)} for key, value in values.items()]
    database.put(connection, tables.meta, rows, replace=True)
