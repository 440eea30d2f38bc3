"""Proof that the stored records are what the changes fold into, and the way back if they are not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, delete, select

from fieldapp.assets import knowledge
from fieldapp.records import standing
from fieldapp.records.changes import read
from fieldapp.records.fold import Fold
from server.ledger import folding, tables
from server.ledger.folding import PROTECTED, Derived


def differences(connection: Connection) -> list[str]:
    """Ids of the records whose stored rows are not what all changes together give."""
    fold, who = _all(connection)
    wanted = {record.id: _compared(folding.derive(record, who)) for record in fold}
    stored = _stored(connection)
    return sorted(one for one in wanted.keys() | stored.keys() if wanted.get(one) != stored.get(one))


def rebuild(connection: Connection) -> None:
    """Works out every record anew; the rules then look at all of them again."""
    fold, who = _all(connection)
    for table in (tables.problem, tables.disagreement, tables.link, tables.record):
        connection.execute(delete(table))
    folding.store(connection, [folding.derive(record, who) for record in fold])


def _all(connection: Connection) -> tuple[Fold, standing.Authority]:
    fold = Fold()
    for body in connection.scalars(select(tables.change.c.body).order_by(tables.change.c.seq)):
        fold.apply(read(body))
    site = next((one for one in fold if one.kind == PROTECTED[0]), None)
    return fold, standing.authority(site, [one for one in fold if one.kind == PROTECTED[1]], knowledge().names)


def _compared(derived: Derived) -> Derived:
    """Without what is not worked out of the changes: whether the rules have been by."""
    return replace(derived, row={**derived.row, "due": None})


def _stored(connection: Connection) -> dict[str, Derived]:
    def grouped(table: Any, key: str, *order: Any) -> dict[str, list[dict[str, Any]]]:
        found: dict[str, list[dict[str, Any]]] = {}
        for row in connection.execute(select(table).order_by(*order)).mappings():
            found.setdefault(row[key], []).append(dict(row))
        return found

    disagreements = grouped(tables.disagreement, "record", tables.disagreement.c.path)
    links = grouped(tables.link, "record", tables.link.c.sort, tables.link.c.other)
    return {
        row["id"]: _compared(
            Derived(dict(row), tuple(disagreements.get(row["id"], ())), tuple(links.get(row["id"], ())))
        )
        for row in connection.execute(select(tables.record)).mappings()
    }
