"""Runs the rules over records that have changed, after the fold: what cannot be so, what to check, what to note.

A record is due when it was folded; its neighbours (the dockets of a context or bag, the groups of a docket, its joined
dockets, who shares its label) are looked at with it. Each chunk is one transaction. Where a rule asks for an answer
to the human question, the cabin's own notebook adds it, once: rules only ever raise.
Not here: the rules (fieldapp.domain.rules, and the shapes in fieldapp.records.schemas).
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from fieldapp.assets import knowledge
from fieldapp.domain import rules
from fieldapp.domain.rules import Around
from fieldapp.records.fold import ADD_ONLY, Record
from fieldapp.records.schemas import problems_of
from server.ledger import tables
from server.ledger.folding import LINKS, label_of, parts, records_of

SHAPE = "shape"
"""The rule a value breaks that has not the shape of its path; its level is `check`."""

CHECKED = ("context", "bag", "docket", "group")


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
    due = list(connection.scalars(select(column.id).where(column.due).order_by(column.id).limit(limit)))
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
        found.update(connection.scalars(select(link.other).where(link.record.in_(part), link.sort == "same_as")))
        labels = select(column.label).where(column.id.in_(part), column.label.is_not(None))
        twins = select(column.label).where(column.label.in_(labels)).group_by(column.label).having(func.count() > 1)
        found.update(connection.scalars(select(column.id).where(column.label.in_(twins))))
    return found


def _check(connection: Connection, records: Sequence[Record]) -> list[Raise]:
    about = _Surroundings(connection, records)
    rows: list[dict[str, Any]] = []
    raises: list[Raise] = []
    for record in records:
        if record.kind not in CHECKED:
            continue
        for path, messages in problems_of(record.kind, about.values(record)).items():
            fields = {"path": path, "why": "; ".join(messages)}
            rows.append(_row(record, SHAPE, "check", path, fields))
        for problem in _problems(record, about):
            rows.append(_row(record, problem.rule, problem.level, problem.path, problem.fields))
            if problem.raises:
                wanted = _raise(record.id, problem)
                if wanted.value not in record.heads.get(wanted.path, {}).values():
                    raises.append(wanted)
    for part in parts([one.id for one in records]):
        connection.execute(delete(tables.problem).where(tables.problem.c.record.in_(part)))
    if rows:
        connection.execute(insert(tables.problem), rows)
    return raises


def _problems(record: Record, about: _Surroundings) -> list[rules.Problem]:
    known, around = knowledge(), about.around(record)
    values = about.values(record)
    if record.kind == "context":
        return list(rules.check_context(values, around, known))
    if record.kind == "bag":
        return list(rules.check_bag(values, around, known))
    if record.kind == "group":
        return list(rules.check_group(values, about.members(record), known, around))
    found: dict[tuple[str, str], rules.Problem] = {}
    # Every reading that stands is looked at: a disputed one may be the one that matters.
    for reading in record.heads.get("reading", {"": None}).values():
        for problem in rules.check_docket({**values, "reading": reading}, around, known):
            found.setdefault((problem.rule, problem.path), problem)
    return list(found.values())


def _raise(docket: str, problem: rules.Problem) -> Raise:
    # The same id from wherever the rule is run, so that it is added once.
    item = uuid.uuid5(uuid.UUID(docket) if _is_uuid(docket) else uuid.NAMESPACE_OID, f"by_rule/{problem.rule}")
    value = {"answer": problem.raises, "why": f"rule.{problem.rule}", "in_place": None, "by_rule": problem.rule}
    return Raise(docket, f"human/{item}", value)


def _row(record: Record, rule: str, level: str, path: str, fields: Mapping[str, str]) -> dict[str, Any]:
    text = json.dumps(dict(fields), sort_keys=True)
    return {"record": record.id, "rule": rule, "level": level, "path": path, "fields": text}


class _Surroundings:
    """What lies around some records, fetched at once."""

    def __init__(self, connection: Connection, records: Sequence[Record]) -> None:
        self._connection = connection
        self._values: dict[str, dict[str, Any]] = {}
        self._known = {one.id: one for one in records}
        bags = {bag for one in records if (bag := _text(one, "bag"))}
        self._fetch(bags | {one for record in records for sort in LINKS for one in record.items(sort)})
        self._fetch({context for one in [*self._known.values()] if (context := _text(one, "context"))})
        self._siblings: dict[str, list[str]] = {}
        column = tables.record.c
        for part in parts(sorted(bags)):
            for one, bag in connection.execute(select(column.id, column.bag).where(column.bag.in_(part))):
                self._siblings.setdefault(bag, []).append(one)
        self._fetch({one for inside in self._siblings.values() for one in inside})
        self._labels = self._count([label for one in records if (label := label_of(one))])

    def _fetch(self, ids: Iterable[str]) -> None:
        wanted = sorted({one for one in ids if one not in self._known})
        self._known.update({one.id: one for one in records_of(self._connection, wanted)})

    def _count(self, labels: Sequence[str]) -> dict[str, dict[str, int]]:
        column, found = tables.record.c, dict[str, dict[str, int]]()
        for part in parts(sorted(set(labels))):
            query = select(column.kind, column.label, func.count()).where(column.label.in_(part))
            for kind, label, number in self._connection.execute(
                query.where(column.life != "deleted").group_by(column.kind, column.label)
            ):
                found.setdefault(kind, {})[label] = number
        return found

    def values(self, record: Record) -> dict[str, Any]:
        """{path: value}, every added value among them; a path with several has the change's id behind it."""
        found = self._values.get(record.id)
        if found is None:
            found = self._values[record.id] = record.values()
            for path, heads in record.heads.items():
                if path.startswith(ADD_ONLY):
                    found |= {path if len(heads) == 1 else f"{path}@{one}": value for one, value in heads.items()}
            if record.life() == "disputed":
                found.pop("deleted", None)
        return found

    def _of(self, one: str) -> dict[str, Any] | None:
        record = self._known.get(one)
        return None if record is None else self.values(record)

    def members(self, group: Record) -> dict[str, dict[str, Any]]:
        """{docket: values} of those that have come."""
        return {one: values for one in group.items("member") if (values := self._of(one)) is not None}

    def around(self, record: Record) -> Around:
        """What the rules may look at beside the record itself."""
        bag = _text(record, "bag")
        bag_record = self._known.get(bag)
        context = (_text(bag_record, "context") if bag_record else "") or _text(record, "context")
        inside = [self._known[one] for one in self._siblings.get(bag, ()) if one != record.id and one in self._known]
        return Around(
            record=record.id,
            context=self._of(context),
            context_id=context,
            bag=self._of(bag),
            labels=self._labels.get(record.kind, {}),
            siblings=[self.values(one) for one in inside if one.life() != "deleted"],
            joined={one: values for one in record.items("same_as") if (values := self._of(one)) is not None},
        )


def _text(record: Record, path: str) -> str:
    value = record.value(path)
    return value if isinstance(value, str) else ""


def _is_uuid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True
