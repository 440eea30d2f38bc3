"""What the ledger knows of bags without opening what lies in them: numbers, transfers, what weighs too little.

Counted by the database, so that ten thousand bags are listed at once. Functions over a connection, reads only. Not
here: which bags are shown (server.review.bags), the rules about them (fieldapp.domain.rules.containers).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, func, or_, select

from fieldapp.domain.samples import amount
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.database import among
from server.ledger.folding import load, records_of, states
from server.ledger.holds import components
from server.ledger.lines import LINE

IN_BAGS = ("docket", "tally")
LIGHTER = "bag_lighter_than_bones"
"""The rule that compares a bag's weight with that of the dockets in it."""


class Inside(NamedTuple):
    """How many records lie in a bag."""

    dockets: int = 0
    tallies: int = 0


def numbers(connection: Connection) -> dict[str, Inside]:
    """{bag: how many dockets and tallies name it} of the bags that any does."""
    column = tables.record.c
    # Nearly all that name a bag are dockets: counted from the index alone, and what is none, or gone, taken off.
    named = select(column.bag, func.count()).where(column.bag.is_not(None)).group_by(column.bag)
    every = {bag: count for bag, count in connection.execute(named)}
    gone = (column.kind == "docket") & (column.life == "deleted")
    # Asked by kind alone, for which there is an index; told of the bag too, a database may go through all dockets.
    others = select(column.bag, column.kind, column.life).where(
        or_(column.kind < "docket", column.kind > "docket", gone)
    )
    tallies: dict[str, int] = defaultdict(int)
    for bag, kind, life in connection.execute(others).all():
        if bag in every:
            every[bag] -= 1
            if kind == "tally" and life != "deleted":
                tallies[bag] += 1
    return {bag: Inside(count, tallies.get(bag, 0)) for bag, count in every.items()}


def numbers_in(connection: Connection, bags: Collection[str]) -> dict[str, Inside]:
    """The same of some bags."""
    column = tables.record.c
    # By the bag alone, as in `inside`.
    rows = connection.execute(select(column.bag, column.kind, column.life).where(among(connection, column.bag, bags)))
    found = Counter((bag, kind) for bag, kind, life in rows.all() if life != "deleted")
    return {bag: Inside(*(found[bag, kind] for kind in IN_BAGS)) for bag in {bag for bag, _ in found}}


def lighter(connection: Connection, bags: Collection[str] | None = None) -> set[str]:
    """Bags (of these, if they are given) that weigh less than what was recorded from them, as far as the rules have
    looked."""
    problem = tables.problem.c
    query = select(problem.record).where(problem.rule == LIGHTER)
    return set(connection.scalars(query if bags is None else query.where(among(connection, problem.record, bags))))


def inside(connection: Connection, bags: Collection[str]) -> list[Record]:
    """The dockets and tallies in some bags, by label."""
    column = tables.record.c
    # By the bag alone: told the kind too, a database may go through all that there are of it.
    query = states(among(connection, column.bag, bags)).order_by(column.label.nulls_first(), column.id)
    return [one for one in load(connection, query) if one.kind in IN_BAGS and one.life() != "deleted"]


def weights(connection: Connection, bags: Collection[str]) -> dict[str, float]:
    """{bag: grams recorded of what lies in it} of those of which any weight is."""
    own = tables.record.c
    # Of dockets by their lines, where these are as the dockets are now; of the few others by what they say.
    line = select(own.bag, LINE.weight_g).join(tables.docket_line, LINE.record == own.id)
    told = connection.execute(line.where(among(connection, own.bag, bags), own.kind == "docket", ~own.due)).all()
    others = load(connection, states(among(connection, own.bag, bags), (own.kind != "docket") | own.due))
    return _summed([*told, *_weights(others)])


def weights_of(records: Iterable[Record]) -> dict[str, float]:
    """The same of what was found in bags."""
    return _summed(_weights(records))


def _weights(records: Iterable[Record]) -> list[tuple[str, float | None]]:
    there = (one for one in records if one.kind in IN_BAGS and one.life() != "deleted")
    return [(str(one.value("bag")), amount(one.value("weight_g"))) for one in there]


def _summed(weights: Iterable[Sequence[Any]]) -> dict[str, float]:
    found: dict[str, list[float]] = defaultdict(list)
    for bag, weight in weights:
        if weight:
            found[bag].append(weight)
    return {bag: math.fsum(each) for bag, each in found.items()}


def labelled(connection: Connection, kind: str, labels: Collection[str]) -> dict[str, list[Record]]:
    """{label: the records of a kind that carry it} of those that any does."""
    column = tables.record.c
    query = states(column.kind == kind, column.life != "deleted", among(connection, column.label, labels))
    found: dict[str, list[Record]] = defaultdict(list)
    for one in load(connection, query.order_by(column.id)):
        found[str(one.value("label"))].append(one)
    return dict(found)


def transfers_of(connection: Connection, ids: Collection[str]) -> list[Record]:
    """The transfers of some bags and dockets."""
    link = tables.link.c
    about = select(link.record).where(link.sort == "about", among(connection, link.other, ids))
    named = set(connection.scalars(about))
    return [one for one in records_of(connection, sorted(named)) if one.kind == "transfer" and one.life() != "deleted"]


def same_bones(connection: Connection) -> dict[str, tuple[str, ...]]:
    """{docket: all dockets that are said to be the same bone} of those that are joined at all."""
    link = tables.link.c
    return components(connection.execute(select(link.record, link.other).where(link.sort == "same_as")))
