"""Disagreements that have the same cause: the same path, the same kind of difference, between the same people.

Reads only. What may be settled for many at once is named here by path and kind; what asks for care (the human question,
holds, deletions, what makes a context like a grave, links between bones) never is. Not here: settling (server.review).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from sqlalchemy import Connection, select

from fieldapp.assets import knowledge
from fieldapp.domain import readings
from fieldapp.records.changes import Change, canonical, kept
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.asking import Disputed, disputed
from server.ledger.database import among
from server.ledger.folding import records_of

MANY: dict[str, frozenset[str]] = {
    "docket": frozenset(
        {
            "reading",
            "bag",
            "count",
            "weight_g",
            "longest_mm",
            "finder",
            "find_no",
            "burning",
            "burn_colour",
            "weathering",
        }
        | {"preservation", "roots", "staining", "breaks", "fracture", "digestion", "antler_base", "tooth", "measure"}
        | {"mark", "pathology"}
    ),
    "context": frozenset({"trench", "phase", "state", "dating", "deposit"}),
    "bag": frozenset(
        {"label", "context", "recovery", "mesh_mm", "state", "box", "sample", "fraction", "step", "weight_g"}
    ),
    "group": frozenset({"label", "context", "relation", "drawing"}),
}
"""{kind: first parts of the paths that may be settled for many at once}."""

_MEASURED = frozenset({"weight_g", "longest_mm", "mesh_mm", "measure"})
"""Paths whose values are seldom twice the same: the cause is the path."""
_PARTS = ("portions", "fusion")


@dataclass(frozen=True, slots=True)
class Sayer:
    """Who wrote a version first: the person's id (their name, where a change has none), and the name."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Case:
    """One disagreement: what stands, by change id, who first said each of the values, and the key of its cause."""

    disputed: Disputed
    sayers: Mapping[str, Sayer]
    cause: str

    def said_by(self, sayer: str) -> list[Any]:
        """The distinct values that a person was the first to say."""
        found = {canonical(v): v for one, v in self.disputed.heads.items() if self.sayers[one].id == sayer}
        return list(found.values())


@dataclass(frozen=True, slots=True)
class Cause:
    """Disagreements with one cause.

    key      names it in an address: the same for as long as there is one like it
    fields   (field, the values that differ, () where they are many) of the difference
    sayers   the people, by name
    """

    key: str
    kind: str
    path: str
    nature: str
    fields: tuple[tuple[str, tuple[Any, ...]], ...]
    sayers: tuple[Sayer, ...]
    cases: tuple[Case, ...]


def may_be_many(record: Record, path: str) -> bool:
    """Whether this path of this record may be settled together with others at all. Bones on hold are for whoever asks:
    the ledger's tables do not say that of one record alone."""
    if record.kinds != (record.kind,) or path.partition("/")[0] not in MANY.get(record.kind, ()):
        return False
    heads = record.heads.get(path, {})
    return path != "reading" or not any(_may_be_human(value) for value in heads.values())


def _may_be_human(reading: Any) -> bool:
    taxon = reading.get("taxon") if isinstance(reading, Mapping) else None
    return isinstance(taxon, str) and knowledge().is_a(taxon, "human")


def cases(connection: Connection) -> list[Case]:
    """Every disagreement that may be settled together with others, as far as its record can say, by label."""
    column, first = tables.disagreement.c, frozenset[str]().union(*MANY.values())
    listed = connection.execute(select(column.record, column.path, column.nature)).all()
    rows = [(record, path, nature) for record, path, nature in listed if path.partition("/")[0] in first]
    records = {one.id: one for one in records_of(connection, sorted({record for record, *_ in rows}))}
    rows = [row for row in rows if row[0] in records and may_be_many(records[row[0]], row[1])]
    found = sorted(disputed(connection, rows, records), key=lambda one: (one.label, one.record, one.path))
    sayers = _sayers(connection, found)
    return [_case(one, {head: sayers[one.record, one.path, head] for head in one.heads}) for one in found]


def causes(cases: Iterable[Case], never: frozenset[str]) -> list[Cause]:
    """What these come down to, the most frequent first. `never`: ids that are left out, as those on hold."""
    found: dict[str, list[Case]] = {}
    for one in cases:
        if one.disputed.record not in never:
            found.setdefault(one.cause, []).append(one)
    made = [_cause(key, each) for key, each in found.items()]
    return sorted(made, key=lambda one: (-len(one.cases), one.kind, one.path, one.key))


def _cause(key: str, cases: list[Case]) -> Cause:
    first = cases[0]
    people = {one.id: one for one in first.sayers.values()}
    return Cause(
        key,
        first.disputed.kind,
        first.disputed.path.partition("/")[0],
        first.disputed.nature,
        _difference(first.disputed),
        tuple(sorted(people.values(), key=lambda one: (one.name, one.id))),
        tuple(cases),
    )


def _case(one: Disputed, sayers: Mapping[str, Sayer]) -> Case:
    who = sorted({each.id for each in sayers.values()})
    fields = [[name, [canonical(value) for value in values]] for name, values in _difference(one)]
    signature = canonical([one.kind, one.path.partition("/")[0], one.nature, fields, who])
    return Case(one, sayers, hashlib.sha256(signature.encode("utf-8", "replace")).hexdigest()[:16])


def _difference(one: Disputed) -> tuple[tuple[str, tuple[Any, ...]], ...]:
    path, values = one.path.partition("/")[0], list(one.heads.values())
    if path != "reading" or not all(isinstance(value, Mapping) for value in values):
        plain = path not in _MEASURED and all(value is None or isinstance(value, str | bool | int) for value in values)
        return ((path, _distinct(values) if plain else ()),)
    known = knowledge()
    names: set[str] = set()
    for one_value, other in combinations(values, 2):
        names.update(name.partition("/")[0] for name in readings.differences(one_value, other, known))
    return tuple(
        (name, () if name in _PARTS else _distinct([value.get(name) for value in values])) for name in sorted(names)
    )


def _distinct(values: Iterable[Any]) -> tuple[Any, ...]:
    found = {canonical(value): value for value in values}
    return tuple(found[key] for key in sorted(found))


def _sayers(connection: Connection, cases: Iterable[Disputed]) -> dict[tuple[str, str, str], Sayer]:
    """{(record, path, head): who was the first to say the head's value}. A settlement that was opened again puts values
    back in somebody else's hand; it is those before who said them."""
    column = tables.change.c
    wanted = {(one.record, one.path): one.heads for one in cases}
    before: dict[tuple[str, str], list[Change]] = {}
    asked = among(connection, column.record, {record for record, _ in wanted})
    for one, body in connection.execute(select(column.id, column.body).where(asked).order_by(column.seq)).all():
        change = kept(body, one)
        for path in change.set:
            if (change.record, path) in wanted:
                before.setdefault((change.record, path), []).append(change)
    found = {}
    for (record, path), heads in wanted.items():
        said = before.get((record, path), [])
        first: dict[str, Change] = {}
        # Where each has said something else, nobody has repeated anybody: most need no comparing as text.
        plain = len(said) == len(heads) and not any(a.set[path] == b.set[path] for a, b in combinations(said, 2))
        for change in said:
            first.setdefault(change.id if plain else canonical(change.set[path]), change)
        for head, value in heads.items():
            known = head if plain else canonical(value)
            by = first[known].by if known in first else {}
            name = by.get("name") if isinstance(by.get("name"), str) else ""
            person = by.get("person")
            found[record, path, head] = Sayer(person if isinstance(person, str) and person else name or "?", name or "")
    return found
