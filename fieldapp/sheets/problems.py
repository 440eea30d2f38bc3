"""What the rules find in a context's records, seen together.

For: running fieldapp.domain.rules over folded records with everything around them that is on the sheet. Not for: the
rules themselves. Where readings are in dispute every version is looked at, and a problem of some only says of which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from fieldapp.domain import rules
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import Record
from fieldapp.sheets.entries import Problem

Values = Mapping[str, Any]


def values_of(record: Record) -> dict[str, Any]:
    """The record as {path: value}, answers and assessments included."""
    values = record.values()
    for prefix in ("human", "assessment"):
        values |= {one.rpartition("@")[0]: value for one, value in record.added(prefix).items()}
    return values


class Problems:
    """The rules, with the context, bags and dockets that a record is seen among."""

    def __init__(
        self,
        context: Record,
        bags: Sequence[Record],
        dockets: Sequence[Record],
        linked: Sequence[Record],
        knowledge: Knowledge,
    ) -> None:
        self.knowledge = knowledge
        self.context_id, self.context_values = context.id, values_of(context)
        self.bags = {one.id: values_of(one) for one in bags}
        self.dockets = {one.id: values_of(one) for one in (*dockets, *linked)}
        self.in_bag: dict[Any, list[str]] = {}
        for one in dockets:
            bag = self.dockets[one.id].get("bag")
            if one.life() != "deleted" and isinstance(bag, str):
                self.in_bag.setdefault(bag, []).append(one.id)
        self.labels = {
            kind: Counter(str(values["label"]) for values in found if values.get("label"))
            for kind, found in (("bag", self.bags.values()), ("docket", self.dockets.values()))
        }

    def context(self) -> tuple[Problem, ...]:
        around = rules.Around(record=self.context_id)
        return self._shown(rules.check_context(self.context_values, around, self.knowledge))

    def bag(self, record: Record) -> tuple[Problem, ...]:
        around = rules.Around(
            record=record.id,
            context=self.context_values,
            context_id=self.context_id,
            labels=self.labels["bag"],
        )
        return self._shown(rules.check_bag(self.bags[record.id], around, self.knowledge))

    def group(self, record: Record) -> tuple[Problem, ...]:
        members = {one: self.dockets[one] for one in record.items("member") if one in self.dockets}
        around = rules.Around(record=record.id, context=self.context_values, context_id=self.context_id)
        return self._shown(rules.check_group(values_of(record), members, self.knowledge, around))

    def docket(self, record: Record, bone: Sequence[Record], readings: Sequence[Any]) -> tuple[Problem, ...]:
        """`bone`: the dockets it is one bone with; `readings`: every version of its reading, none if it has none."""
        if record.life() == "deleted":
            return ()
        values = self.dockets[record.id]
        bag = values.get("bag")
        around = rules.Around(
            record=record.id,
            context=self.context_values,
            context_id=self.context_id,
            bag=self.bags.get(bag) if isinstance(bag, str) else None,
            labels=self.labels["docket"],
            siblings=[self.dockets[one] for one in self.in_bag.get(bag, ()) if one != record.id],
            joined={one.id: self.dockets[one.id] for one in bone if one.id != record.id},
        )
        found: dict[tuple[str, str, str], tuple[rules.Problem, list[int]]] = {}
        versions = [{**values, "reading": one} for one in readings] or [values]
        for n, version in enumerate(versions):
            for problem in rules.check_docket(version, around, self.knowledge):
                key = (problem.rule, problem.path, str(sorted(problem.fields.items())))
                found.setdefault(key, (problem, []))[1].append(n)
        return tuple(
            one
            for problem, where in found.values()
            for one in self._shown([problem], () if len(where) == len(versions) else tuple(where))
        )

    def _shown(self, found: Sequence[rules.Problem], versions: tuple[int, ...] = ()) -> tuple[Problem, ...]:
        sources = self.knowledge.rules
        return tuple(Problem(one, sources[one.rule].source, versions) for one in found)
