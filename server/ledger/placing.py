"""Which records belong on a context's sheet, asked of the tables: its bags, what lies in them, and what hangs on that.

The table of records keeps one place a record. Where somebody disputes it, the record has a row among the disagreements,
and all of those are looked at too: a docket in dispute between two contexts is found for both. So a sheet costs what
its context holds, not what the site does. More may be given than belongs there: fieldapp.sheets.selecting decides.
Not here: what a sheet says.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, select

from fieldapp.domain.ids import hold_id
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.columns import writable
from server.ledger.database import among
from server.ledger.folding import PICTURE, load, records_of, short, states

PLACES = ("bag", "context", "docket")
"""Paths that say where a record belongs."""


def on_sheet(connection: Connection, context: str) -> list[Record]:
    """The records of a context's sheet, deleted ones too, and those that may be named on it; the context itself first
    if it is there."""
    column, link = tables.record.c, tables.link.c
    found: dict[str, Record] = {}

    def take(records: Iterable[Record]) -> None:
        found.update((one.id, one) for one in records)

    def fetch(ids: Iterable[str]) -> None:
        take(records_of(connection, sorted({one for one in ids if one not in found})))

    fetch([context])
    disputed = load(connection, states(among(connection, column.id, _disputed(connection))))
    take(one for one in disputed if context in named(one, "context"))
    take(load(connection, states(column.context == _key(context))))
    bags = {one.id for one in found.values() if "bag" in one.kinds}
    take(one for one in disputed if bags & named(one, "bag"))
    take(load(connection, states(among(connection, column.bag, {_key(one) for one in bags}))))
    dockets = {one.id for one in found.values() if "docket" in one.kinds}
    take(one for one in disputed if dockets & named(one, "docket"))
    keys = {_key(one) for one in dockets}
    take(load(connection, states(among(connection, column.docket, keys))))
    # What points at a docket or the context, whichever way: groups, the other docket of a bone, photographs.
    pointing = select(link.record).where(among(connection, link.other, {*keys, _key(context)}), link.sort != PICTURE)
    pointed = {other for one in [*found.values()] for _, other in one.links(("same_as/", "photo/"))}
    fetch({*connection.scalars(pointing), *pointed, *map(hold_id, dockets)})
    # Another record of the same picture may close it.
    pictures = {_key(sha256) for one in found.values() if "photo" in one.kinds for sha256 in named(one, "sha256")}
    shown = select(link.record).where(among(connection, link.other, pictures), link.sort == PICTURE)
    fetch(connection.scalars(shown))
    # Those that are only named: a bag of another context in a disputed version, a group's docket from elsewhere.
    fetch(
        other
        for one in [*found.values()]
        for other in (*(id for path in PLACES for id in named(one, path)), *(end for _, end in one.links(("member/",))))
    )
    return sorted(found.values(), key=lambda one: (one.id != context, one.id))


def _disputed(connection: Connection) -> set[str]:
    """Ids of the records about whose place somebody disagrees."""
    column = tables.disagreement.c
    return set(connection.scalars(select(column.record).where(column.path.in_(PLACES))))


def named(record: Record, path: str) -> set[str]:
    """Every id that a version of `path` names."""
    return {one for one in record.heads.get(path, {}).values() if isinstance(one, str) and one}


def _key(text: str) -> str:
    """An id as it stands in the tables."""
    return short(writable(text) or "")
