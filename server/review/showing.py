"""What the pages show of records: plain values made from the fold, the ledger's history and the standings.

Records may hold anything a newer version or a damaged tablet wrote; nothing here may fail over it. Exact places stay
sealed: see holds. Not here: words (words), HTML (templates), which page shows what.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.domain import human, readings
from fieldapp.records import checked, standing
from fieldapp.records.changes import Change, canonical
from fieldapp.records.fold import ADD_ONLY, DELETED, Record
from fieldapp.records.moments import moment
from fieldapp.records.schemas import SHAPES
from server.ledger import Hold, Ledger
from server.ledger.folding import nature as nature_of
from server.review import words

SEALED = "_sealed"
LINKS = ("same_as", "member", "joins", "not_same")


@dataclass(frozen=True, slots=True)
class Said:
    """Who wrote a change, as its notebook knew them, and when."""

    change: str
    name: str
    role: str
    at: str

    @property
    def order(self) -> tuple[str, str]:
        """By this the first comes first."""
        return moment(self.at), self.change


@dataclass(frozen=True, slots=True)
class Version:
    """One distinct value that stands at a path: the changes that hold it, the first first, and who else said it before.

    `change` names the version in a form.
    """

    value: Any
    said: tuple[Said, ...]
    earlier: tuple[Said, ...] = ()

    @property
    def change(self) -> str:
        return self.said[0].change

    @property
    def first(self) -> Said:
        """Who said it first, also where a settlement was opened again since."""
        return (self.earlier or self.said)[0]


@dataclass(frozen=True, slots=True)
class Field:
    """A path of a record: its versions, and the nature of their disagreement, "" if they agree."""

    path: str
    versions: tuple[Version, ...]
    nature: str

    @property
    def known(self) -> bool:
        """Whether this version knows what the path is."""
        return bool(self.versions)


@dataclass(frozen=True, slots=True)
class HumanReading:
    """A reading of the human question. `open`: no assessment that counts has named it."""

    id: str
    answer: str
    written: Any
    why: str
    in_place: Any
    by_rule: str
    stage: str
    said: Said
    open: bool


@dataclass(frozen=True, slots=True)
class Assessment:
    """An assessment and what became of it.

    state   "counts", "void", "overturned", "waits" (for a second reader) or "clears_nothing" (cannot tell)
    why     of a void one, as a key
    signed  (name, role) its signature proves; None where none holds
    unseen  how many readings are open that it has not seen
    """

    id: str
    value: Mapping[str, Any]
    said: Said
    state: str
    why: str
    signed: tuple[str, str] | None
    unseen: int


@dataclass(frozen=True, slots=True)
class Step:
    """A line of a hold's log. `at`: when it happened."""

    what: Any
    whom: str
    how: str
    ref: str
    note: str
    at: str
    said: Said


@dataclass(frozen=True, slots=True)
class Release:
    """A written word to go on. `valid`: signed with a director's key. `unseen`: readings it does not cover."""

    word_of: str
    reference: str
    valid: bool
    unseen: int
    said: Said


@dataclass(frozen=True, slots=True)
class Entry:
    """A change in a record's history: its values, and who wrote what it stands in place of."""

    said: Said
    notebook: str
    received_at: str
    values: tuple[tuple[str, Any], ...]
    over: tuple[tuple[str, tuple[Said, ...]], ...] = field(default=())


class Showing:
    """Looks up who wrote what; one for a page."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._said: dict[str, Said] = {}

    def said(self, changes: Iterable[str]) -> tuple[Said, ...]:
        """Who wrote these changes, the first first. A change that has not come is named by nothing but its id."""
        wanted = list(changes)
        if missing := [one for one in wanted if one not in self._said]:
            found = self.ledger.who(missing)
            for one in missing:
                self._said[one] = said_by(found[one].change) if one in found else Said(one, "", "", "")
        return tuple(sorted((self._said[one] for one in wanted), key=lambda one: one.order))

    def one(self, change: str) -> Said:
        """Who wrote a change."""
        return self.said([change])[0]

    def versions(self, heads: Mapping[str, Any], record: str = "", path: str = "") -> tuple[Version, ...]:
        """The distinct values among `heads`, the first said first; with `record`, who had said each of them before."""
        found: dict[str, tuple[Any, list[Said]]] = {}
        for said in self.said(heads):
            value = heads[said.change]
            found.setdefault(canonical(value), (value, []))[1].append(said)
        before: dict[str, list[Said]] = {}
        for one in self.ledger.history(record) if record else ():
            if path in one.change.set and one.change.id not in heads:
                before.setdefault(canonical(one.change.set[path]), []).append(said_by(one.change))
        return tuple(Version(value, tuple(said), tuple(before.get(key, ()))) for key, (value, said) in found.items())

    def fields(self, record: Record) -> list[Field]:
        """The plain paths of a record, known ones in the order of their kind, then what a newer version wrote."""
        disputed = checked.disagreements(record)
        order = list(SHAPES.get(record.kind, {}))
        found = []
        for path, heads in record.heads.items():
            name = path.partition("/")[0]
            if path.startswith((*ADD_ONLY, "note/", *(f"{one}/" for one in LINKS))) or path == DELETED:
                if path not in disputed:
                    continue
            if path.endswith(SEALED):
                continue
            what = nature_of(path, list(heads.values())) if path in disputed else ""
            found.append(Field(path, self.versions(heads) if name in order or path == DELETED else (), what))
        return sorted(found, key=lambda one: (_place(one.path, order), one.path))

    def notes(self, record: Record) -> list[tuple[str, str, Said]]:
        """(text, stage, who) of a record's notes, the first first."""
        found = []
        for path, heads in record.heads.items():
            if path.startswith("note/"):
                for change, value in heads.items():
                    if value is not None:
                        shaped = isinstance(value, Mapping)
                        text = as_text(value.get("text")) if shaped else as_text(value)
                        found.append((text, as_text(value.get("stage")) if shaped else "", self.one(change)))
        return sorted(found, key=lambda one: one[2].order)

    # -- the human question

    def readings(self, docket: Record, where: human.Standing) -> list[HumanReading]:
        """Every reading of the human question, the first first."""
        found = []
        for one, value in docket.added("human").items():
            part = value if isinstance(value, Mapping) else {}
            found.append(
                HumanReading(
                    id=one,
                    answer=human.answer_of(value),
                    written=part.get("answer", value),
                    why=as_text(part.get("why")),
                    in_place=part.get("in_place"),
                    by_rule=as_text(part.get("by_rule")),
                    stage=as_text(part.get("stage")),
                    said=self.one(one.rpartition("@")[2]),
                    open=one in where.open,
                )
            )
        return sorted(found, key=lambda one: (moment(one.said.at), one.id))

    def assessments(
        self, docket: Record, where: human.Standing, who: standing.Authority, names: Mapping[str, str]
    ) -> list[Assessment]:
        """Every assessment and what became of it, the first first. `names`: of people, by id."""
        found = []
        for one, value in docket.added("assessment").items():
            part = value if isinstance(value, Mapping) else {}
            path, _, change = one.rpartition("@")
            grant = standing.signed_by(docket, path, value, who)
            given = part.get("seen")
            seen = {item for item in given if isinstance(item, str)} if isinstance(given, list) else set()
            found.append(
                Assessment(
                    id=one,
                    value=part,
                    said=self.one(change),
                    state=_state(one, part, seen, where),
                    why=where.void.get(one, ""),
                    signed=(names.get(grant.person, grant.person), grant.role) if grant else None,
                    unseen=sum(reading not in seen for reading in where.open),
                )
            )
        return sorted(found, key=lambda one: (moment(one.said.at), one.id))

    def steps(self, hold: Record) -> list[Step]:
        """A hold's log, in the order in which things happened."""
        found = []
        for one, value in hold.added("step").items():
            part = value if isinstance(value, Mapping) else {"what": value}
            said = self.one(one.rpartition("@")[2])
            whom, how = (words.of_step(name, part.get(name)) for name in ("whom", "how"))
            ref, note = (as_text(part.get(name)) for name in ("ref", "note"))
            at = as_text(part.get("at")) or said.at
            note = "; ".join(one for one in (note, *words.custody(part)) if one)
            found.append(Step(part.get("what"), whom, how, ref, note, at, said))
        return sorted(found, key=lambda one: (moment(one.at), one.said.change))

    def releases(self, hold: Record, docket: Record | None, who: standing.Authority) -> list[Release]:
        """The written words to go on that were entered."""
        wanted = standing.doubts(docket) if docket else set()
        found = []
        for one, value in hold.added("release").items():
            part = value if isinstance(value, Mapping) else {}
            path, _, change = one.rpartition("@")
            grant = standing.signed_by(hold, path, value, who)
            seen = part.get("seen")
            covered = {item for item in seen if isinstance(item, str)} if isinstance(seen, list) else set()
            found.append(
                Release(
                    as_text(part.get("word_of")),
                    as_text(part.get("reference")),
                    grant is not None and grant.role == "director",
                    len(wanted - covered),
                    self.one(change),
                )
            )
        return sorted(found, key=lambda one: one.said.order)

    # -- history

    def history(self, record: str) -> list[Entry]:
        """Every change of a record, as it came. Sealed places are named and not shown."""
        written = self.ledger.history(record)
        for one in written:
            self._said[one.change.id] = said_by(one.change)
        self.said({known for one in written for ids in one.change.over.values() for known in ids})
        return [
            Entry(
                self._said[one.change.id],
                one.change.notebook,
                one.received_at,
                tuple(
                    (path, None if path.endswith(SEALED) else value) for path, value in sorted(one.change.set.items())
                ),
                tuple(
                    (path, self.said(ids)) for path, ids in sorted(one.change.over.items()) if path in one.change.set
                ),
            )
            for one in written
        ]


def tier(hold: Hold) -> str:
    """A hold's tier by everything that is said of it, the more cautious where that differs: "stop" or "query"."""
    said: set[str] = {hold.answer}
    if hold.hold_record is not None:
        said.update(as_text(one) for one in hold.hold_record.heads.get("tier", {}).values())
    if hold.docket_record is not None:
        said.update(human.answer_of(one) for one in hold.docket_record.added("human").values())
    return human.QUERY if human.QUERY in said and human.STOP not in said else human.STOP


def is_stop(hold: Hold) -> bool:
    """Whether nothing may be lifted there now; a bone in the ground that was assessed as human is one, too."""
    return hold.raised and not hold.released and tier(hold) == human.STOP


def said_by(change: Change) -> Said:
    """Who wrote a change."""
    return Said(change.id, as_text(change.by.get("name")), as_text(change.by.get("role")), change.at)


def differing(versions: Sequence[Version]) -> dict[str, str]:
    """{field of the reading: "conflict" or "precision"} over all pairs of versions."""
    found: dict[str, str] = {}
    for n, one in enumerate(versions):
        for other in versions[n + 1 :]:
            for name, verdict in readings.differences(one.value, other.value, knowledge()).items():
                if found.get(name) != "conflict":
                    found[name] = verdict
    return found


def coarser(versions: Sequence[Version]) -> Any:
    """The most that all versions support."""
    return coarser_of(one.value for one in versions)


def coarser_of(values: Iterable[Any]) -> Any:
    """The most that all of these readings support."""
    return reduce(lambda used, one: readings.coarser(used, one, knowledge()), values)


def agreed(docket: Record) -> Any:
    """What all readings that stand of a docket support."""
    heads = docket.heads.get("reading", {})
    return coarser_of(heads.values()) if heads else None


def rows(versions: Sequence[Version], differing: Mapping[str, str]) -> list[str]:
    """The fields to show of readings side by side: each one by itself, of portions and centres those that differ, then
    all of them in a line."""
    single = [name for name in words.FIELDS if name not in words.PARTS]
    parts = [name for name in differing if name.partition("/")[0] in words.PARTS and "/" in name]
    known = {*single, *words.PARTS, *parts}
    newer = [name for name in differing if name and name not in known]
    return [*single, *_along(versions, parts), *newer, *words.PARTS]


def _along(versions: Sequence[Version], parts: Iterable[str]) -> list[str]:
    """Portions and centres as they lie along the bone; what its table does not have comes last."""
    read = [one.value.get("element") for one in versions if isinstance(one.value, Mapping)]
    elements = dict.fromkeys(one for one in read if isinstance(one, str))
    tables = {"portions": knowledge().portion_keys, "fusion": knowledge().centre_keys}
    known = [
        f"{name}/{key}" for name, table in tables.items() for element in elements for key in table.get(element, ())
    ]
    found = set(parts)
    return [*(one for one in dict.fromkeys(known) if one in found), *sorted(found.difference(known))]


def part_of(reading: Any, name: str) -> Any:
    """The value of a reading's field: `taxon`, or `portions/distal_epiphysis`."""
    found = reading
    for step in name.split("/", 1):
        found = found.get(step) if isinstance(found, Mapping) else None
    return found


def label(record: Record | None) -> str:
    """A record's label or number; "" where it has none."""
    if record is None:
        return ""
    return as_text(record.value("number" if record.kind == "context" else "label"))


def as_text(value: Any) -> str:
    """A value where a text is wanted: nothing is "", what is no text is shown as it was written."""
    return "" if value is None else value if isinstance(value, str) else canonical(value)


def _place(path: str, order: Sequence[str]) -> int:
    name = path.partition("/")[0]
    return order.index(name) if name in order else len(order)


def _state(one: str, value: Mapping[str, Any], seen: set[str], where: human.Standing) -> str:
    if one in where.void:
        return "void"
    if one not in where.effective:
        return "overturned"
    if value.get("verdict") == "cannot_tell":
        return "clears_nothing"
    return "waits" if seen & set(where.open) else "counts"
