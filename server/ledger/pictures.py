"""What the ledger knows of pictures: which have come, and which records name them.

Functions over a connection. Not here: the files themselves (server.photos), who may look at one (server.review).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from sqlalchemy import Connection, delete, func, insert, or_, select

from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.database import among
from server.ledger.folding import PICTURE, load, records_of, states


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that has come whole: a row of the table `photo`."""

    sha256: str
    size: int
    sealed: bool
    sort: str
    received_at: str
    notebook: str


def found(connection: Connection, names: Iterable[str]) -> dict[str, Picture]:
    """{sha256: picture} of those that have come."""
    query = select(tables.photo).where(among(connection, tables.photo.c.sha256, set(names)))
    return {row.sha256: Picture(**row._mapping) for row in connection.execute(query)}


def put(connection: Connection, picture: Picture) -> None:
    """Notes a picture, in the place of what was noted of it before."""
    connection.execute(delete(tables.photo).where(tables.photo.c.sha256 == picture.sha256))
    connection.execute(insert(tables.photo), asdict(picture))


def naming(connection: Connection, sha256: str) -> list[Record]:
    """The records that name a picture in any of their versions."""
    link = tables.link.c
    return records_of(
        connection, list(connection.scalars(select(link.record).where(link.other == sha256, link.sort == PICTURE)))
    )


def showing(connection: Connection, ids: Iterable[str]) -> list[Record]:
    """The photo records of these dockets and contexts: that name them, or are named by them."""
    link, these = tables.link.c, set(ids)
    known = {
        *connection.scalars(select(link.record).where(among(connection, link.other, these), link.sort == "about")),
        *connection.scalars(select(link.other).where(among(connection, link.record, these), link.sort == "photo")),
    }
    return [one for one in records_of(connection, sorted(known)) if "photo" in one.kinds]


def dockets_of(connection: Connection, photos: Iterable[Record]) -> set[str]:
    """Ids of the dockets of photo records: whatever any version of them names, and the records that name them."""
    link, named = tables.link.c, set[str]()
    listed = list(photos)
    for one in listed:
        named.update(value for value in one.heads.get("docket", {}).values() if isinstance(value, str))
    these = among(connection, link.other, [one.id for one in listed])
    named.update(connection.scalars(select(link.record).where(these, link.sort == "photo")))
    return named


def is_closed(record: Record) -> bool:
    """Whether a photo's record says so, in any of its versions."""
    return any(record.heads.get("closed", {}).values())


def to_close(connection: Connection) -> set[str]:
    """The pictures that lie in the clear although a record says that they are closed."""
    record, link, photo = tables.record.c, tables.link.c, tables.photo.c
    clear = select(link.record).where(
        link.sort == PICTURE, link.other.in_(select(photo.sha256).where(photo.sealed.is_(False)))
    )
    # The text only narrows it down, also where it is written with escapes: what the records say decides.
    text = func.coalesce(tables.change.c.body, record.state)
    told = or_(text.contains('"closed"'), text.contains("\\", autoescape=True))
    named = {
        one
        for each in load(connection, states(record.id.in_(clear), told))
        if is_closed(each)
        for one in each.heads.get("sha256", {}).values()
        if isinstance(one, str)
    }
    return {one.sha256 for one in found(connection, named).values() if not one.sealed}
