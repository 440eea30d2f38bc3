"""Runs the rules over records that have changed, after the fold: what cannot be so, what to check, what to note.

A record is due when it was folded; its neighbours (beside.neighbours) are looked at with it. Each chunk is one
transaction. Where a rule asks for an answer to the human question, the cabin's own notebook adds it, once, before the
other rules look: rules only ever raise.
Not here: the rules (fieldapp.domain.rules) and how they are run over records (fieldapp.records.checking).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, delete, func, insert, select, update

from fieldapp.assets import knowledge
from fieldapp.domain.rules import Problem
from fieldapp.records.changes import Change
from fieldapp.records.checking import Among, answers_wanted, subject_of
from fieldapp.records.checking import Found as RuleFound
from fieldapp.records.fold import Record
from fieldapp.records.second import KIND as SECOND
from server.ledger import beside, lines, tables
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
    waiting = list(
        connection.scalars(
            select(column.id).where(column.due).order_by(column.bag.nulls_first(), column.id).limit(limit)
        )
    )
    if not waiting:
        return 0
    own = records_of(connection, waiting)
    near = beside.neighbours(connection, own).difference(waiting)
    look = _Look(connection, [*own, *records_of(connection, sorted(near))])
    raised = look.answer(write)
    late = look.check()
    look.keep(connection)
    # A docket that was raised as another's neighbour stays due: not all that hangs on it is here.
    done = among(connection, column.id, [*waiting, *near.difference(raised)])
    connection.execute(update(tables.record).where(done, column.due).values(due=False))
    write(late, look.folded)
    return due(connection)


WEIGHS = ("region", "dating", "plausible", "fusion_source", "protocol")
"""What of the site's record the rules look at beside a docket."""


def weighs(change: Change) -> bool:
    """Whether a change of the site's record changes what the rules find elsewhere."""
    return any(path.partition("/")[0] in WEIGHS for path in change.set)


def all_due(connection: Connection) -> None:
    """Lets the rules look at every docket again, in time."""
    column = tables.record.c
    connection.execute(update(tables.record).where(column.kind == "docket", ~column.due).values(due=True))


def due(connection: Connection) -> int:
    """How many records the rules have not looked at yet."""
    return connection.scalar(select(func.count()).select_from(tables.record).where(tables.record.c.due)) or 0


def problems(connection: Connection, level: str | None = None, records: Collection[str] | None = None) -> list[Found]:
    """What the rules have found, gravest level first, then by label."""
    where = [] if level is None else [tables.problem.c.level == level]
    if records is not None:
        where.append(among(connection, tables.problem.c.record, records))
    levels = knowledge().words.get("level", ())
    return sorted(
        _found(connection, *where).values(),
        key=lambda one: (levels.index(one.level) if one.level in levels else -1, one.label, one.record),
    )


def would_find(connection: Connection, records: Sequence[Record]) -> dict[str, list[Problem]]:
    """What the rules would find in records that are not written down yet, or as they would be. Nothing is kept."""
    among_others = Among(
        [*records, *beside.around(connection, records)], knowledge(), _labels(connection, records), whole=True
    )
    return {record.id: _each_once(found) for record, found in among_others.check_many(records)}


def troubled(connection: Connection, records: Iterable[str]) -> set[str]:
    """Those of these records in which the rules have found something, or which they have not looked at yet."""
    ids, column, problem = sorted(set(records)), tables.record.c, tables.problem.c
    due = connection.scalars(select(column.id).where(among(connection, column.id, ids), column.due))
    found = connection.scalars(select(problem.record).where(among(connection, problem.record, ids)))
    return {*due, *found}


def numbered(connection: Connection, numbers: Sequence[int]) -> list[Found]:
    """The problems with these numbers, in their order."""
    found = _found(connection, among(connection, tables.problem.c.nr, numbers))
    return [found[one] for one in numbers if one in found]


def _found(connection: Connection, *where: ColumnElement[bool]) -> dict[int, Found]:
    column, record = tables.problem.c, tables.record.c
    query = select(tables.problem, record.kind, func.coalesce(record.label, "").label("called"))
    rows = connection.execute(query.join(tables.record, record.id == column.record).where(*where).order_by(column.nr))
    return {
        row.nr: Found(row.record, row.kind, row.called, row.rule, row.level, row.path, json.loads(row.fields))
        for row in rows
    }


class _Look:
    """One look at some records: what the rules find in each, to be kept in the place of what they had found before."""

    def __init__(self, connection: Connection, records: Sequence[Record]) -> None:
        self.records = {one.id: one for one in records}
        # What a second reading raises is its docket's: read whole before anything is folded into it.
        again = {subject_of(one) for one in records if one.kind == SECOND}.difference(self.records)
        self.folded = {**self.records, **{one.id: one for one in records_of(connection, sorted(again))}}
        around = beside.around(connection, records)
        self._among = Among([*records, *around], knowledge(), _labels(connection, records), whole=True)
        self._places = lines.places_in([*records, *around])
        self._found: dict[str, list[Problem]] = {}

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
            problems = _each_once(all_found)
            self._found[record.id] = problems
            late += self._wanting(record, problems)
        return late

    def _wanting(self, record: Record, problems: Iterable[Problem]) -> list[Raise]:
        """The answers that these ask for and that the docket has not, each once."""
        docket = subject_of(record)
        wanted = answers_wanted(record.id, self.folded.get(docket), problems) if docket else {}
        return [Raise(docket, path, value) for path, value in wanted.items()]

    def keep(self, connection: Connection) -> None:
        """Writes down what was found, and the lines of lists."""
        connection.execute(delete(tables.problem).where(among(connection, tables.problem.c.record, self._found)))
        if rows := [_row(self.records[one], problem) for one, found in self._found.items() for problem in found]:
            connection.execute(insert(tables.problem), rows)
        lines.keep(connection, self.records.values(), self._places, self._found)


def _each_once(all_found: Sequence[RuleFound]) -> list[Problem]:
    """A rule may find the same in several readings of a disputed docket; to the list that is one problem."""
    found = {(one.problem.rule, one.problem.path): one.problem for one in reversed(all_found)}
    return list(reversed(found.values()))


def _row(record: Record, problem: Problem) -> dict[str, Any]:
    return {
        "record": record.id,
        "sort": lines.sort_key(label_of(record)),
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
