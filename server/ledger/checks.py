"""Runs the rules over records that have changed, after the fold: what cannot be so, what to check, what to note.

A record is due when it was folded; its neighbours (beside.neighbours) are looked at with it. Each chunk is one
transaction. Where a rule asks for an answer to the human question, the cabin's own notebook adds it, once, before the
other rules look: rules only ever raise.
Not here: the rules (fieldapp.domain.rules) and how they are run over records (fieldapp.records.checking).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, delete, func, insert, select, update

from fieldapp.assets import knowledge
from fieldapp.domain.rules import Problem
from fieldapp.records.checking import Among, is_wanting, reading_by_rule, subject_of
from fieldapp.records.fold import Record
from fieldapp.records.second import KIND as SECOND
from server.ledger import beside, tables
from server.ledger.database import among
from server.ledger.folding import label_of, records_of

_fields = json.JSONEncoder(sort_keys=True).encode


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
    own = records_of(connection, due)
    near = beside.neighbours(connection, own).difference(due)
    look = _Look(connection, [*own, *records_of(connection, sorted(near))])
    raised = look.answer(write)
    late = look.check()
    look.keep(connection)
    # A docket that was raised as another's neighbour stays due: not all that hangs on it is here.
    done = among(connection, column.id, [*due, *near.difference(raised)])
    connection.execute(update(tables.record).where(done, column.due).values(due=False))
    write(late, look.folded)
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


class _Look:
    """One look at some records: what the rules find in each, to be kept in the place of what they had found before."""

    def __init__(self, connection: Connection, records: Sequence[Record]) -> None:
        self.records = {one.id: one for one in records}
        # What a second reading raises is its docket's: read whole before anything is folded into it.
        again = {subject_of(one) for one in records if one.kind == SECOND}.difference(self.records)
        self.folded = {**self.records, **{one.id: one for one in records_of(connection, sorted(again))}}
        around = beside.around(connection, records)
        self._among = Among([*records, *around], knowledge(), _labels(connection, records), whole=True)
        self._found: dict[str, list[dict[str, Any]]] = {}

    def answer(self, write: Write) -> set[str]:
        """Adds the answers to the human question that the rules ask for and miss: the ids of their dockets."""
        asked = self._among.raises(self.records.values())
        raises = [one for record, problems in asked for one in self._wanting(record, problems)]
        write(raises, self.folded)
        ids = {one.docket for one in raises}
        for one in ids & self.records.keys():
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
            late += self._wanting(record, problems)
        return late

    def _wanting(self, record: Record, problems: Iterable[Problem]) -> list[Raise]:
        """The answers that these ask for and that the docket has not, each once."""
        asked = dict(reading_by_rule(record.id, problem) for problem in problems if problem.raises)
        docket = subject_of(record)
        there = self.folded.get(docket)
        return [
            Raise(docket, path, value)
            for path, value in asked.items()
            if docket and (there is None or is_wanting(there, path, value))
        ]

    def keep(self, connection: Connection) -> None:
        """Writes down what was found."""
        connection.execute(delete(tables.problem).where(among(connection, tables.problem.c.record, self._found)))
        if rows := [row for one in self._found.values() for row in one]:
            connection.execute(insert(tables.problem), rows)


def _row(record: str, problem: Problem) -> dict[str, Any]:
    return {
        "record": record,
        "rule": problem.rule,
        "level": problem.level,
        "path": problem.path,
        "fields": _fields(problem.fields),
    }


def _labels(connection: Connection, records: Sequence[Record]) -> dict[str, dict[str, int]]:
    """{kind: {label: how many live records carry it}} of the labels that these carry."""
    column = tables.record.c
    found: dict[str, dict[str, int]] = {}
    carried = among(connection, column.label, {label for one in records if (label := label_of(one))})
    query = select(column.kind, column.label, func.count()).where(carried, column.life != "deleted")
    for kind, label, number in connection.execute(query.group_by(column.kind, column.label)):
        found.setdefault(kind, {})[label] = number
    return found
