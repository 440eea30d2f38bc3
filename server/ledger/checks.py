"""Runs the rules over records that have changed, after the fold: what cannot be so, what to check, what to note.

A record is due when it was folded; its neighbours (the dockets of a context or bag, the groups of a docket, its joined
dockets, who shares its label) are looked at with it. Each chunk is one transaction. Where a rule asks for an answer
to the human question, the cabin's own notebook adds it, once: rules only ever raise.
Not here: the rules (fieldapp.domain.rules) and how they are run over records (fieldapp.records.checking).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from fieldapp.assets import knowledge
from fieldapp.records.checking import Among, is_wanting, reading_by_rule
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.folding import ABOUT, IN_ONE_QUERY, LINKS, label_of, parts, records_of

_OF_HUMANS = ("transfer_of_possible_human", "human_transfer_without_reference", "photo_open_of_possible_human")
_OF_OTHERS = ("label_repeated", "context_number_repeated", "bag_lighter_than_bones", *_OF_HUMANS)
"""Rules whose problem may end when another record changes that cannot be found from it any more."""


class Found(NamedTuple):
    """A problem of a record. `fields` fill the rule's sentence (fieldapp.domain.rules.sentence)."""

    record: str
    kind: str
    label: str
    rule: str
    level: str
    path: str
    fields: dict[str, str]


class Raise(NamedTuple):
    """An answer to the human question that a rule asks for."""

    docket: str
    path: str
    value: dict[str, Any]


def check_due(connection: Connection, limit: int) -> tuple[list[Raise], int]:
    """Checks up to `limit` due records and their neighbours: what is to be raised, and how many are still due."""
    column = tables.record.c
    due = list(
        connection.scalars(
            select(column.id).where(column.due).order_by(column.bag.nulls_first(), column.id).limit(limit)
        )
    )
    if not due:
        return [], 0
    ids = sorted({*due, *_neighbours(connection, due)})
    raises = _check(connection, records_of(connection, ids))
    for part in parts(ids):
        connection.execute(update(tables.record).where(column.id.in_(part)).values(due=False))
    left = connection.scalar(select(func.count()).select_from(tables.record).where(column.due)) or 0
    return raises, left


def problems(connection: Connection, level: str | None, record: str | None) -> list[Found]:
    """What the rules have found, gravest level first, then by label."""
    query = select(tables.problem, tables.record.c.kind, func.coalesce(tables.record.c.label, "").label("called")).join(
        tables.record, tables.record.c.id == tables.problem.c.record
    )
    if level is not None:
        query = query.where(tables.problem.c.level == level)
    if record is not None:
        query = query.where(tables.problem.c.record == record)
    levels = knowledge().words.get("level", ())
    found = [
        Found(row.record, row.kind, row.called, row.rule, row.level, row.path, json.loads(row.fields))
        for row in connection.execute(query.order_by(tables.problem.c.nr))
    ]
    return sorted(
        found, key=lambda one: (levels.index(one.level) if one.level in levels else -1, one.label, one.record)
    )


def _neighbours(connection: Connection, ids: Sequence[str]) -> set[str]:
    """Ids of the records whose problems may hang on these."""
    column, link, found = tables.record.c, tables.link.c, set[str]()
    for part in parts(ids):
        bags = select(column.id).where(column.context.in_(part), column.kind == "bag")
        found.update(connection.scalars(select(column.id).where(column.context.in_(part))))
        found.update(connection.scalars(select(column.id).where(or_(column.bag.in_(part), column.bag.in_(bags)))))
        found.update(connection.scalars(select(link.record).where(link.other.in_(part))))
        found.update(connection.scalars(select(link.other).where(link.record.in_(part), link.sort != "member")))
        # A docket weighs in its bag; what is sent with the bag is sent with it; what is known of a sample, of its bags.
        beside = select(column.bag).where(column.id.in_(part), column.bag.is_not(None))
        found.update(connection.scalars(select(column.id).where(column.id.in_(beside))))
        found.update(connection.scalars(select(link.record).where(link.other.in_(beside), link.sort == "about")))
        ends = ((link.record, link.other), (link.other, link.record))
        for near, far in ends:
            same = select(far).where(near.in_(part), link.sort == "same_as")
            found.update(connection.scalars(select(link.record).where(link.other.in_(same), link.sort == "about")))
        sampled = select(link.record).where(link.other.in_(part), link.sort == "about")
        found.update(connection.scalars(select(column.id).where(column.bag.in_(sampled))))
        labels = select(column.label).where(column.id.in_(part), column.label.is_not(None))
        twins = select(column.label).where(column.label.in_(labels)).group_by(column.label).having(func.count() > 1)
        found.update(connection.scalars(select(column.id).where(column.label.in_(twins))))
        # What these were like before is not known any more; whoever was like them may not be so now.
        problem = tables.problem.c
        inside = select(column.id).where(column.bag.in_(beside))
        double = select(problem.record).where(problem.rule == "possible_double", problem.record.in_(inside))
        found.update(connection.scalars(double))
        repeated = select(problem.record).where(problem.rule.in_(_OF_OTHERS))
        found.update(connection.scalars(repeated.limit(IN_ONE_QUERY)))
    return found


def _check(connection: Connection, records: Sequence[Record]) -> list[Raise]:
    among = Among([*records, *_around(connection, records)], knowledge(), _labels(connection, records), whole=True)
    rows: list[dict[str, Any]] = []
    raises: list[Raise] = []
    for record in records:
        # A rule may find the same in several readings of a disputed docket; to the list that is one problem.
        found = {(one.problem.rule, one.problem.path): one.problem for one in reversed(among.check(record))}
        for problem in reversed(found.values()):
            rows.append(
                {
                    "record": record.id,
                    "rule": problem.rule,
                    "level": problem.level,
                    "path": problem.path,
                    "fields": json.dumps(dict(problem.fields), sort_keys=True),
                }
            )
            if problem.raises:
                path, value = reading_by_rule(record.id, problem)
                if is_wanting(record, path, value):
                    raises.append(Raise(record.id, path, value))
    for part in parts([one.id for one in records]):
        connection.execute(delete(tables.problem).where(tables.problem.c.record.in_(part)))
    if rows:
        connection.execute(insert(tables.problem), rows)
    return raises


def _around(connection: Connection, records: Sequence[Record]) -> list[Record]:
    """The records beside these that the rules may look at.

    The site, bags and what lies in them, contexts, samples, members, joined dockets, fitting pieces, photos, transfers.
    """
    known = {one.id for one in records}
    found: list[Record] = []

    def fetch(ids: Iterable[str]) -> None:
        new = records_of(connection, sorted({one for one in ids if one not in known}))
        known.update(one.id for one in new)
        found.extend(new)

    column, link = tables.record.c, tables.link.c
    bags = {bag for one in records if isinstance(bag := one.value("bag"), str)}
    fetch(bags | {other for one in records for sort in LINKS for other in one.linked(sort)})
    named = {
        other
        for one in (*records, *found)
        for path in ABOUT.get(one.kind, ())
        if isinstance(other := one.value(path), str)
    }
    fetch(named)
    fetch({other for one in found if one.id in named for other in one.linked("same_as")})
    fetch(connection.scalars(select(column.id).where(column.kind == "site")))
    fetch({context for one in (*records, *found) if isinstance(context := one.value("context"), str)})
    for part in parts(sorted(bags | {one.id for one in records if one.kind == "bag"})):
        fetch(connection.scalars(select(column.id).where(column.bag.in_(part))))
    for part in parts([*(one.id for one in records), *sorted(named)]):
        fetch(connection.scalars(select(link.record).where(link.other.in_(part), link.sort != "member")))
    return found


def _labels(connection: Connection, records: Sequence[Record]) -> dict[str, dict[str, int]]:
    """{kind: {label: how many live records carry it}} of the labels that these carry."""
    column = tables.record.c
    found: dict[str, dict[str, int]] = {}
    for part in parts(sorted({label for one in records if (label := label_of(one))})):
        query = select(column.kind, column.label, func.count()).where(column.label.in_(part), column.life != "deleted")
        for kind, label, number in connection.execute(query.group_by(column.kind, column.label)):
            found.setdefault(kind, {})[label] = number
    return found
