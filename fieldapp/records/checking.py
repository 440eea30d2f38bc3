"""Runs the rules over folded records, each among the others: the one way that tablet, cabin and sheet check.

Not here: the rules (domain.rules), the shapes (schemas), and where records are kept. Whoever calls brings the records
that matter: at least the record itself, its bag, its context, and whatever is joined to it.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from fieldapp.domain import rules
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import ADD_ONLY, Record
from fieldapp.records.schemas import problems_of

SHAPE = "shape"
"""The rule that a value breaks which has not the shape of its path; its level is `check`."""

KINDS = ("context", "bag", "docket", "group", "sample", "transfer", "photo", "site")


class Found(NamedTuple):
    """What a rule found. `readings`: ids of the heads of `reading` it is true of, () where it is true of all."""

    record: str
    problem: rules.Problem
    readings: tuple[str, ...] = ()


def values_of(record: Record) -> dict[str, Any]:
    """{path: value}, added values among them; where a path was added to twice, the change's id stands behind it."""
    found = record.values()
    for path, heads in record.heads.items():
        if path.startswith(ADD_ONLY):
            found |= {path if len(heads) == 1 else f"{path}@{one}": value for one, value in heads.items()}
    if record.life() == "disputed":
        found.pop("deleted", None)
    return found


def reading_by_rule(docket: str, problem: rules.Problem) -> tuple[str, dict[str, Any]]:
    """The path and the answer to the human question that a rule asks for; the same wherever the rule is run."""
    space = uuid.UUID(docket) if _is_uuid(docket) else uuid.NAMESPACE_OID
    path = f"human/{uuid.uuid5(space, f'by_rule/{problem.rule}')}"
    return path, {"answer": problem.raises, "why": f"rule.{problem.rule}", "in_place": None, "by_rule": problem.rule}


def is_wanting(record: Record, path: str, value: Mapping[str, Any]) -> bool:
    """Whether the answer a rule asks for is not among those given already."""
    return value not in record.heads.get(path, {}).values()


class Among:
    """Some records, seen together. `labels`: {kind: {label: how many carry it}} where more are known of than given."""

    def __init__(
        self, records: Iterable[Record], knowledge: Knowledge, labels: Mapping[str, Mapping[str, int]] | None = None
    ) -> None:
        self._knowledge = knowledge
        self._records = {record.id: record for record in records}
        self._values: dict[str, dict[str, Any]] = {}
        # Only dockets of one weight can be one bone written down twice; a bag may hold thousands.
        self._alike: dict[tuple[str, Any], list[str]] = {}
        self._same: dict[str, set[str]] = {}
        counted: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
        for one in self._records.values():
            for other in one.linked("same_as"):
                self._same.setdefault(one.id, set()).add(other)
                self._same.setdefault(other, set()).add(one.id)
            if one.kind not in KINDS or one.life() == "deleted":
                continue
            weight = one.value("weight_g")
            if one.kind == "docket" and isinstance(weight, int | float):
                self._alike.setdefault((_text(one, "bag"), weight), []).append(one.id)
            label = one.value("number" if one.kind == "context" else "label")
            if isinstance(label, str):
                counted[one.kind][label] += 1
        self._labels = counted if labels is None else labels

    def values(self, record: Record) -> dict[str, Any]:
        """`values_of`, worked out once."""
        found = self._values.get(record.id)
        if found is None:
            found = self._values[record.id] = values_of(record)
        return found

    def context_of(self, record: Record) -> str:
        """The id of the context a record lies in, through its bag if it has one; "" if that cannot be told."""
        if record.kind == "context":
            return record.id
        bag = self._records.get(_text(record, "bag"))
        return (_text(bag, "context") if bag is not None else "") or _text(record, "context")

    def around(self, record: Record, new: bool = False) -> rules.Around:
        """What the rules may look at beside the record itself."""
        bag, context, weight = _text(record, "bag"), self.context_of(record), record.value("weight_g")
        alike = self._alike.get((bag, weight), ()) if bag and isinstance(weight, int | float) else ()
        return rules.Around(
            record=record.id,
            new=new,
            context=self._of(context) if record.kind != "context" else None,
            context_id=context if record.kind != "context" else "",
            bag=self._of(bag),
            labels=self._labels.get(record.kind, {}),
            siblings=[self.values(self._records[one]) for one in alike if one != record.id],
            joined=dict(self._known(sorted(self._same.get(record.id, ())))),
        )

    def check(self, record: Record) -> list[Found]:
        """Everything the shapes and the rules find in one record. A disputed reading is looked at in every version."""
        if record.kind not in KINDS:
            return []
        values = self.values(record)
        found = [
            Found(record.id, rules.Problem(SHAPE, "check", path, {"path": path, "why": "; ".join(why)}, ""))
            for path, why in problems_of(record.kind, values).items()
        ]
        return found + list(self._rules(record, values))

    def check_all(self) -> Iterator[Found]:
        """`check` of every record, in the order in which they were given."""
        for record in self._records.values():
            yield from self.check(record)

    def _rules(self, record: Record, values: dict[str, Any]) -> Iterator[Found]:
        around, known = self.around(record), self._knowledge
        if record.kind == "docket":
            yield from self._docket(record, values, around)
            return
        if record.kind == "group":
            problems = rules.check_group(values, dict(self._known(record.items("member"))), known, around)
        else:
            problems = rules.check_record(record.kind, values, around, known)
        for problem in problems:
            yield Found(record.id, problem)

    def _docket(self, record: Record, values: dict[str, Any], around: rules.Around) -> Iterator[Found]:
        versions = record.heads.get("reading") or {"": None}
        found: dict[tuple[str, str, str], tuple[rules.Problem, list[str]]] = {}
        for one, reading in versions.items():
            seen = {**values, "reading": reading} if one else values
            for problem in rules.check_docket(seen, around, self._knowledge):
                key = (problem.rule, problem.path, str(sorted(problem.fields.items())))
                found.setdefault(key, (problem, []))[1].append(one)
        for problem, where in found.values():
            yield Found(record.id, problem, () if len(where) == len(versions) else tuple(sorted(where)))

    def _of(self, one: str) -> dict[str, Any] | None:
        record = self._records.get(one)
        return None if record is None else self.values(record)

    def _known(self, ids: Iterable[str]) -> Iterator[tuple[str, dict[str, Any]]]:
        for one in ids:
            values = self._of(one)
            if values is not None:
                yield one, values


def _text(record: Record, path: str) -> str:
    value = record.value(path)
    return value if isinstance(value, str) else ""


def _is_uuid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True
