"""Dockets that belong together or may do so: recorded twice, perhaps; pieces, groups and bones that name each other.

Reads only, functions over a connection. Not here: what makes a double (fieldapp.records.checking) or a piece that may
fit (fieldapp.domain.refits), and who says which it is (server.review.doubles).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from sqlalchemy import Connection, func, select

from fieldapp.assets import knowledge
from fieldapp.records.checking import Among
from fieldapp.records.fold import Record
from server.ledger import asking, beside, folding, tables
from server.ledger.database import among

DOUBLE = "possible_double"
"""The rule that finds them."""

PIECES = 5_000
"""So many dockets of a context are looked at for pieces that fit."""


_NOTED = select(tables.problem.c.record).where(tables.problem.c.rule == DOUBLE).distinct()


def doubted(connection: Connection) -> int:
    """How many dockets the rules took for half of a pair."""
    return connection.scalar(select(func.count()).select_from(_NOTED.subquery())) or 0


def doubles(connection: Connection, limit: int, offset: int = 0) -> list[tuple[Record, Record]]:
    """Pairs that the rules took for one bone recorded twice, by label."""
    column = tables.record.c
    page = select(column.id).where(column.id.in_(_NOTED)).order_by(column.label.nulls_first(), column.id)
    ids = list(connection.scalars(page.limit(limit).offset(offset)))
    found = {one.id: one for one in folding.records_of(connection, ids)}
    listed = [found[one] for one in ids if one in found]
    around = {one.id: one for one in beside.around(connection, listed)} | found
    among_them = Among(around.values(), knowledge(), whole=True)
    pairs: dict[frozenset[str], tuple[Record, Record]] = {}
    for one in listed:
        for other in among_them.doubles(one):
            pairs.setdefault(frozenset((one.id, other)), (one, around[other]))
    return list(pairs.values())


def pieces_of(connection: Connection, context: str) -> tuple[list[Record], bool]:
    """Live dockets of a context that bear a reading, by label, at most PIECES; and whether those are all."""
    found = asking.records(connection, "docket", context, deleted=False)
    return found[:PIECES], len(found) <= PIECES


def pointing(connection: Connection, ids: Collection[str], sorts: Sequence[str]) -> list[tuple[str, str, str]]:
    """(record, sort, other) of the links to these records: a docket is named in its group, and by its other half."""
    column = tables.link.c
    query = select(column.record, column.sort, column.other).where(
        among(connection, column.other, set(ids)), column.sort.in_(sorts)
    )
    return [(record, sort, other) for record, sort, other in connection.execute(query.order_by(column.record)).all()]


def labelled(connection: Connection, labels: Iterable[str], kind: str = "docket") -> dict[str, list[str]]:
    """{label: ids of the live records that carry it}, as they were asked for."""
    column = tables.record.c
    query = select(column.label, column.id).where(
        among(connection, column.label, set(labels)), column.kind == kind, column.life != "deleted"
    )
    found: dict[str, list[str]] = {}
    for label, one in connection.execute(query.order_by(column.id)).all():
        found.setdefault(label, []).append(one)
    return found
