"""Runs the rules over records that have changed, after the fold: what cannot be so, what to check, what to note.

A record is due when it was folded; its neighbours (the dockets of a context or bag, the groups of a docket, its joined
dockets, who shares its label) are looked at with it. Each chunk is one transaction. Where a rule asks for an answer
to the human question, the cabin's own notebook adds it, once: rules only ever raise. What hangs on that answer is then
looked at again in the same transaction.
Not here: the rules (fieldapp.domain.rules) and how they are run over records (fieldapp.records.checking).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, delete, func, insert, select, update

from fieldapp.assets import knowledge
from fieldapp.domain.rules import Problem
from fieldapp.records.checking import Among, is_wanting, reading_by_rule
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.database import among
from server.ledger.folding import ABOUT, LINKS, label_of, records_of

_OF_HUMANS = ("transfer_of_possible_human", "human_transfer_without_reference", "photo_open_of_possible_human")
_OF_OTHERS = ("label_repeated", "context_number_repeated", "bag_lighter_than_bones", *_OF_HUMANS)
"""Rules whose problem may end when another record changes that cannot be found from it any more."""
_fields = json.JSONEncoder(sort_keys=True).encode

AT_ONCE = 500
"""So many of those records are looked at with every chunk."""


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


Write = Callable[[Sequence[Raise], Mapping[str, Record]], object]
"""Adds what the rules ask for, as changes of the cabin's own, and folds it into these records of the ledger."""


def check_due(connection: Connection, limit: int, write: Write) -> int:
    """Checks up to `limit` due records and their neighbours, and returns how many are still due."""
    column = tables.record.c
    due = list(
        connection.scalars(
            select(column.id).where(column.due).order_by(column.bag.nulls_first(), column.id).limit(limit)
        )
    )
    if not due:
        return 0
    own = set(due)
    ids = sorted(own | _neighbours(connection, own))
    look = _Look(connection, records_of(connection, ids))
    raised = look.answer(write)
    late = look.check()
    look.keep(connection)
    # A docket that was raised as another's neighbour stays due: not all that hangs on it is here.
    done = among(connection, column.id, [one for one in ids if one in own or one not in raised])
    connection.execute(update(tables.record).where(done, column.due).values(due=False))
    write(late, look.records)
    return connection.scalar(select(func.count()).select_from(tables.record).where(column.due)) or 0


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


def _neighbours(connection: Connection, ids: Collection[str]) -> set[str]:
    """Ids of the records whose problems may hang on these; among them some of records that have not come."""
    column, link, problem = tables.record.c, tables.link.c, tables.problem.c

    def ask(*wanted: Any) -> list[Any]:
        return list(connection.execute(select(*wanted[:-1]).where(wanted[-1])).all())

    def of(column: Any, values: Collection[str] = ids) -> Any:
        return among(connection, column, values)

    inside = ask(column.id, column.kind, of(column.context))
    near = ask(link.record, link.sort, of(link.other))
    far = ask(link.other, link.sort, of(link.record) & (link.sort != "member"))
    own = ask(column.bag, column.label, of(column.id))
    found = {one for one, _ in (*inside, *near, *far)}
    # A docket weighs in its bag; what is sent with the bag is sent with it; what is known of a sample, of its bags.
    beside = {bag for bag, _ in own if bag is not None}
    bags = {one for one, kind in inside if kind == "bag"} | {one for one, sort in near if sort == "about"}
    same = {one for one, sort in (*near, *far) if sort == "same_as"}
    labels = select(column.label).where(of(column.label, {label for _, label in own if label is not None}))
    twins = labels.group_by(column.label).having(func.count() > 1)
    # What these were like before is not known any more; whoever was like them may not be so now.
    alike = select(column.id).where(of(column.bag, beside))
    queries = (
        select(column.id).where(of(column.bag, bags.union(ids))),
        select(link.record).where(of(link.other, beside | same), link.sort == "about"),
        select(column.id).where(column.label.in_(twins)),
        select(problem.record).where(problem.rule == "possible_double", problem.record.in_(alike)),
        select(problem.record).where(problem.rule.in_(_OF_OTHERS)).limit(AT_ONCE),
    )
    return found.union(beside, *(connection.scalars(query).all() for query in queries))


class _Look:
    """One look at some records: what the rules find in each, to be kept in the place of what they had found before."""

    def __init__(self, connection: Connection, records: Sequence[Record]) -> None:
        self.records = {one.id: one for one in records}
        around = _around(connection, records)
        self._among = Among([*records, *around], knowledge(), _labels(connection, records), whole=True)
        self._found: dict[str, list[dict[str, Any]]] = {}

    def answer(self, write: Write) -> set[str]:
        """Adds the answers to the human question that the rules ask for and miss: the ids of their dockets."""
        asked = self._among.raises(self.records.values())
        raises = [one for record, problems in asked for one in _wanting(record, problems)]
        write(raises, self.records)
        ids = {one.docket for one in raises}
        for one in ids:
            self._among.raised(self.records[one])
        return ids

    def check(self) -> list[Raise]:
        """Looks at all of them, and gives what is asked for even now: one answer may bring about another's."""
        late: list[Raise] = []
        for record, all_found in self._among.check_many(self.records.values()):
            # A rule may find the same in several readings of a disputed docket; to the list that is one problem.
            found = {(one.problem.rule, one.problem.path): one.problem for one in reversed(all_found)}
            problems = list(reversed(found.values()))
            self._found[record.id] = [_row(record.id, problem) for problem in problems]
            late += _wanting(record, problems)
        return late

    def keep(self, connection: Connection) -> None:
        """Writes down what was found."""
        connection.execute(delete(tables.problem).where(among(connection, tables.problem.c.record, self._found)))
        if rows := [row for one in self._found.values() for row in one]:
            connection.execute(insert(tables.problem), rows)


def _wanting(record: Record, problems: Iterable[Problem]) -> list[Raise]:
    """The answers that these ask for and that the record has not, each once."""
    asked = dict(reading_by_rule(record.id, problem) for problem in problems if problem.raises)
    return [Raise(record.id, path, value) for path, value in asked.items() if is_wanting(record, path, value)]


def _row(record: str, problem: Problem) -> dict[str, Any]:
    return {
        "record": record,
        "rule": problem.rule,
        "level": problem.level,
        "path": problem.path,
        "fields": _fields(problem.fields),
    }


def _around(connection: Connection, records: Sequence[Record]) -> list[Record]:
    """The records beside these that the rules may look at.

    The site, bags and what lies in them, contexts, samples, members, joined dockets, fitting pieces, photos, transfers.
    """
    known = {one.id for one in records}
    found: list[Record] = []

    def fetch(ids: Iterable[str]) -> None:
        wanted = {one for one in ids if one not in known}
        if wanted:
            new = records_of(connection, sorted(wanted))
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
    bags |= {one.id for one in records if one.kind == "bag"}
    fetch(connection.scalars(select(column.id).where(among(connection, column.bag, bags))))
    linked = among(connection, link.other, named.union(one.id for one in records))
    fetch(connection.scalars(select(link.record).where(linked, link.sort != "member")))
    return found


def _labels(connection: Connection, records: Sequence[Record]) -> dict[str, dict[str, int]]:
    """{kind: {label: how many live records carry it}} of the labels that these carry."""
    column = tables.record.c
    found: dict[str, dict[str, int]] = {}
    carried = among(connection, column.label, {label for one in records if (label := label_of(one))})
    query = select(column.kind, column.label, func.count()).where(carried, column.life != "deleted")
    for kind, label, number in connection.execute(query.group_by(column.kind, column.label)):
        found.setdefault(kind, {})[label] = number
    return found
