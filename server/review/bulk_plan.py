"""One field of many dockets set at once. What may be set so, what each docket would then be, who is left out.

Never an answer to the human question, and nothing of what a bone is: a reading is only given another stage, or its
animal by a wider name, each a whole new reading. What is locked, on hold, disputed, to be read a second time by who
asks, or would bring a rule to raise the human question is left out: that is one docket's matter. Not here: the pages
(bulk).
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import Problem
from fieldapp.records.changes import Change
from fieldapp.records.checking import answers_wanted, values_of
from fieldapp.records.fold import Record
from server.ledger import folding
from server.ledger.asking import Written
from server.ledger.ledger import Edit
from server.review import blind, desk, forms, locking
from server.review.choosing import Choosing, Option
from server.review.editing import as_would_be

MOST = 1000
PLAIN = ("finder", "material", "burning", "weathering", "preservation", "roots", "staining", "breaks")
DISPUTED = "disputed"
STAGE, TAXON, ASK, NOTE = "stage", "taxon", "ask", "note"
FIELDS = ("bag", "context", *PLAIN, STAGE, TAXON, ASK, NOTE)
"""What can be set, in the order in which it is offered."""

Make = Callable[[Record], "dict[str, Any] | str"]
"""What a docket is to be given, {path: value}; or why it is left out."""


@dataclass(frozen=True, slots=True)
class Step:
    """A docket of a lot: what it has and what it would be given, by path; what rules would say newly."""

    record: Record
    before: dict[str, Any]
    after: dict[str, Any]
    problems: list[Problem]

    @property
    def seen(self) -> list[str]:
        """The heads that it replaces, which a form over the lot carries."""
        return sorted(one for path in self.after for one in self.record.heads.get(path, ()))


@dataclass
class Plan:
    """What a lot would do. `left`: {why: dockets left out}."""

    steps: list[Step] = field(default_factory=list)
    left: dict[str, list[Record]] = field(default_factory=dict)

    def leave(self, why: str, record: Record) -> None:
        """Leaves a docket out."""
        self.left.setdefault(why, []).append(record)


class CannotSet(ValueError):
    """What was asked for cannot be set. `args[0]`: why, a key of the texts."""


def known() -> Knowledge:
    """What is known at the site."""
    return knowledge().at_site(values_of(desk.ledger().site()))


def options(name: str) -> list[Option]:
    """What a field can be set to; none for one that is typed."""
    sort = {STAGE: STAGE, TAXON: TAXON}.get(name) or forms.FIELDS["docket"].get(name, forms.TEXT)
    if name == TAXON:
        groups = Choosing(known()).groups(TAXON)
        return [one for _, every in groups for one in every]
    typed = sort in (forms.TEXT, forms.FLAG) or sort.startswith(forms.RECORD)
    return [] if typed else Choosing(known()).options(sort)


def setting(name: str, text: str, once: str) -> Make:
    """What sets a field to what was typed. Raises CannotSet."""
    if name not in FIELDS or not text:
        raise CannotSet("wanting")
    if (offered := options(name)) and text not in {one.key for one in offered}:
        raise CannotSet("unknown")
    if name == STAGE:
        return lambda record: _reading(record, {"stage": text})
    if name == TAXON:
        know = known()
        return lambda record: _wider(record, text, know)
    if name == ASK:
        return lambda record: {"ask": None}
    if name == NOTE:
        return lambda record: {f"note/{_own(once, record)}": {"text": text, "stage": "analysis"}}
    form = forms.Form("docket", {}, once, {name: text}, {}, desk.ledger().called)
    altered = form.altered()
    if form.faults:
        raise CannotSet(form.faults[name])
    value = altered[name]
    if name in ("bag", "context"):
        target = desk.ledger().get([value])
        if locking.locked_among({*desk.ledger().contexts_of(target.values()).values(), value}) is not None:
            raise CannotSet("locked")
        other = "context" if name == "bag" else "bag"
        return lambda record: {name: value, **({other: None} if any(record.heads.get(other, {}).values()) else {})}
    return lambda record: {name: value}


def _own(once: str, record: Record) -> str:
    return str(uuid.uuid5(uuid.UUID(once), record.id))


def _reading(record: Record, parts: Mapping[str, Any]) -> dict[str, Any] | str:
    if "reading" in record.disagreements():
        return DISPUTED
    reading = record.value("reading")
    return {"reading": {**reading, **parts}} if isinstance(reading, Mapping) else "no_reading"


def _wider(record: Record, taxon: str, know: Knowledge) -> dict[str, Any] | str:
    """The reading with its animal called by a wider name, if that loses nothing else of what was said."""
    if "reading" in record.disagreements():
        return DISPUTED
    reading = record.value("reading")
    own = reading.get("taxon") if isinstance(reading, Mapping) else None
    if not isinstance(reading, Mapping) or not isinstance(own, str):
        return "no_reading"
    if own == taxon:
        return "same"
    if not know.is_a(own, taxon) or know.is_a(own, "human"):
        return "not_wider"
    element = reading.get("element")
    element = element if isinstance(element, str) else ""
    parts = [
        (list(know.portion_map(element, one)), [centre.key for centre in know.centres_of(element, one)])
        for one in (own, taxon)
    ]
    return _reading(record, {"taxon": taxon}) if parts[0] == parts[1] else "parts"


def plan(records: Iterable[Record], make: Make) -> Plan:
    """What would be done with each docket."""
    ledger, found = desk.ledger(), Plan()
    listed = list(records)
    where = ledger.contexts_of(listed)
    locked = {one for one, context in ledger.get(where.values()).items() if locking.is_locked(context)}
    held = {one.docket for one in desk.holds() if one.raised}
    open_ = blind.apart(one.id for one in listed)
    would: list[tuple[Record, dict[str, Any], Record]] = []
    for record in listed:
        made = make(record)
        if record.id not in open_:
            made = "blind"
        if where.get(record.id, "") in locked:
            made = "locked"
        if record.id in held:
            made = "held"
        if record.kind != "docket" or "hold" in record.kinds or record.life() != "live":
            made = "not_live"
        # Before it is asked what stands: of several values that is one of them.
        if isinstance(made, dict) and made.keys() & record.disagreements().keys():
            made = DISPUTED
        if isinstance(made, dict):
            made = {path: value for path, value in made.items() if value != record.value(path)} or "same"
        if isinstance(made, str):
            found.leave(made, record)
        else:
            over = {path: list(record.heads.get(path, ())) for path in made}
            would.append((record, made, as_would_be(record, made, over)))
    before = ledger.would_find_in([record for record, _, _ in would])
    after = ledger.would_find_in([one for _, _, one in would])
    for record, made, one in would:
        if answers_wanted(record.id, record, after[one.id]):
            found.leave("asks", record)
            continue
        said = {(problem.rule, problem.path) for problem in before[record.id]}
        new = [problem for problem in after[one.id] if (problem.rule, problem.path) not in said]
        found.steps.append(Step(record, {path: record.value(path) for path in made}, made, new))
    return found


def write(found: Plan, seen: Mapping[str, Sequence[str]], what: str, name: str) -> Change | None:
    """Writes the steps whose docket is still as `seen`; the others are left out. The first change, None for none.

    What was written is a line of the log: `what`, with the field and how many.
    """
    ledger, me = desk.ledger(), desk.me()
    late = [one for one in found.steps if one.seen != seen.get(one.record.id)]
    steps = [one for one in found.steps if one.seen == seen.get(one.record.id)]
    with ledger.database.writing() as connection:
        there = {one.id: one for one in folding.records_of(connection, [one.record.id for one in steps])}
        fresh = [one for one in steps if _still(there.get(one.record.id), one)]
        still = {one.record.id for one in fresh}
        late += [one for one in steps if one.record.id not in still]
        for one in late:
            found.leave("changed", one.record)
        found.steps = fresh
        if not fresh:
            return None
        edits = [
            Edit("docket", one.record.id, one.after, {path: list(one.record.heads.get(path, ())) for path in one.after})
            for one in fresh
        ]
        made = ledger.write_many_in(connection, edits, me.by, {one.record.id: there[one.record.id] for one in fresh})
        left = {why: [one.id for one in records] for why, records in found.left.items()}
        fields = {"name": me.name, "role": me.role, "n": len(made), "path": name, "first": made[0].id, "left": left}
        ledger.note_in(connection, what, me.person, fields)
    desk.desk().written()
    return made[0]


def _still(now: Record | None, step: Step) -> bool:
    """Whether a docket is as the step found it, at the moment of writing."""
    return now is not None and now.life() == "live" and now.head_ids() == step.record.head_ids()


def putting_back(changes: Sequence[Written]) -> Make:
    """What takes a lot back: the values before it, where nothing has been changed since."""
    ledger = desk.ledger()
    earlier = ledger.who(one for written in changes for ids in written.change.over.values() for one in ids)
    by_record = {one.change.record: one.change for one in changes}

    def make(record: Record) -> dict[str, Any] | str:
        change = by_record[record.id]
        found = {}
        for path in change.set:
            if set(record.heads.get(path, ())) != {change.id}:
                return "since"
            ids = [one for one in change.over.get(path, ()) if one in earlier]
            found[path] = earlier[min(ids)].change.set.get(path) if ids else None
        return found

    return make
