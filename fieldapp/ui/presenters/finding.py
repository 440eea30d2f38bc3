"""Finding records: by number, context, animal, element, or by what wants a look. Pure but for the desk it asks.

Not here: how the list is shown (screens.find).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from fieldapp.records.fold import Record
from fieldapp.store.own import written
from fieldapp.ui.presenters.choices import Choice, Row
from fieldapp.ui.presenters.context import short_label, standing_sign, what_it_is, with_count
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.keyed import Entry
from fieldapp.ui.texts import say, word

KINDS = ("docket", "bag", "sample", "group", "tally")
MARKS = ("problem", "raised", "differ", "ask", "unsent", "mine", "today", "deleted")
"""What can be asked of a record besides what it is. `today`: mine of today, one tap further than `mine`."""


class Line(NamedTuple):
    """What is looked at of a record, worked out once."""

    record: Record
    label: str
    context: str
    taxon: str
    element: str


class Finding:
    """The find screen. `kind`, `text`, `taxon`, `element` and `marks` are what is asked for."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.kind = KINDS[0]
        self.text = Entry("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-", 12)
        self.taxon = self.element = ""
        self.marks: set[str] = set()
        self._lines: dict[str, Line] = {}
        self._shown: tuple[int, str, bool, list[Line]] | None = None
        self._worst: dict[str, tuple[Record, str]] = {}
        self._own: tuple[int, set[str], set[str], set[str]] | None = None
        self._todo: list[Line] = []
        self.waits = False
        """The journal is read elsewhere, and what is mine is shown when it has been."""

    def clear(self) -> None:
        """Asks for everything again."""
        self.text.text = self.taxon = self.element = ""
        self.marks.clear()

    def toggle(self, mark: str) -> None:
        """Asks for a mark, or no longer; mine, mine of today, nobody's one after the other."""
        if mark == "mine":
            after = {frozenset[str](): {"mine"}, frozenset({"mine"}): {"today"}}
            own = frozenset(self.marks & {"mine", "today"})
            self.marks = (self.marks - own) | after.get(own, set())
        else:
            self.marks ^= {mark}

    # -- what there is --

    def lines(self) -> list[Line]:
        """Every record of the kind, newest first; only the deleted ones where they are asked for."""
        deleted = "deleted" in self.marks
        now = (self.desk.changes, self.kind, deleted)
        if self._shown is None or self._shown[:3] != now:
            found = self.desk.notebook.records(self.kind, deleted=deleted)
            if deleted:
                found = [one for one in found if one.life() == "deleted"]
            self._shown = (*now, [self._line(one) for one in reversed(found)])
            self._todo = list(self._shown[3])
        return self._shown[3]

    def _line(self, record: Record) -> Line:
        # A record in hand never changes; a change makes another.
        known = self._lines.get(record.id)
        if known is not None and known.record is record:
            return known
        reading = record.value("reading")
        said = reading if isinstance(reading, dict) else {}
        context = self.desk.record(self.desk.context_of(record) or "")
        line = Line(
            record,
            short_label(record.value("label")),
            str(context.value("number") or "") if context is not None else "",
            _word(said.get("taxon") or record.value("taxon")),
            _word(said.get("element") or record.value("element")),
        )
        self._lines[record.id] = line
        return line

    def found(self) -> list[Line]:
        """The records asked for."""
        lines = self.lines()
        if self.text.text:
            wanted = self.text.text
            lines = [one for one in lines if one.label.startswith(wanted) or one.context.startswith(wanted)]
        know = self.desk.knowledge
        if (self.taxon or self.element) and (hidden := self.desk.hiding()):
            lines = [one for one in lines if one.record.id not in hidden]
        if self.taxon:
            lines = [one for one in lines if one.taxon == self.taxon or know.is_a(one.taxon, self.taxon)]
        if self.element:
            lines = [one for one in lines if one.element == self.element or know.is_part(one.element, self.element)]
        for mark in MARKS:
            if mark in self.marks and mark != "deleted":
                lines = [one for one in lines if self._has(mark, one)]
        return lines

    def _has(self, mark: str, line: Line) -> bool:
        record = line.record
        if mark == "ask":
            return bool(record.value("ask"))
        if mark == "differ":
            return bool(record.disagreements())
        if mark == "raised":
            return record.kind == "docket" and self.desk.is_raised(record)
        if mark == "problem":
            return self.worst(line) in ("impossible", "check")
        return record.id in self._own_records()[("unsent", "mine", "today").index(mark)]

    def _own_records(self) -> tuple[set[str], set[str], set[str]]:
        """Ids of the records with changes that no cabin has answered for, of those that I wrote on, and that today."""
        if self.own_is_due() and not self.waits:
            self.read_own()
        return self._own[1:] if self._own is not None else (set(), set(), set())

    def own_is_due(self) -> bool:
        """Whether something was written since the journal was read for what is mine and what is not sent."""
        return self._own is None or self._own[0] != self.desk.changes

    def read_own(self) -> None:
        """Reads the journal for it: long at twenty thousand records, and may be done on any thread."""
        now, notebook, me = self.desk.changes, self.desk.notebook, self.desk.by["name"]
        unsent = {one.record for one in notebook.unsent(str(self.desk.cabin.get("fingerprint", "")))}
        mine = [one for one in written(notebook) if one.by == me]
        day = self.desk.now()[:10]
        self._own = now, unsent, {one.record for one in mine}, {one.record for one in mine if one.at[:10] == day}

    # -- what the rules say, looked at little by little --

    def worst(self, line: Line) -> str:
        """The level of the worst that was found in a docket; "" for none, or while it has not been looked at."""
        known = self._worst.get(line.record.id)
        return known[1] if known is not None and known[0] is line.record else ""

    def look(self) -> Iterator[int]:
        """Looks at one docket after the other; yields how many are still to be looked at."""
        self.lines()
        while self._todo:
            line = self._todo.pop()
            known = self._worst.get(line.record.id)
            if known is None or known[0] is not line.record:
                levels = {one.level for one in self.desk.problems(line.record)} if self.kind == "docket" else set()
                worst = next((level for level in ("impossible", "check") if level in levels), "")
                self._worst[line.record.id] = line.record, worst
            yield len(self._todo)

    # -- in words --

    def row(self, line: Line) -> Row:
        """A record as a line of the list."""
        record, marks = line.record, []
        if record.kind == "docket":
            standing = self.desk.standing(record)
            if sign := standing_sign(standing):
                marks.append((sign, word("standing", standing)))
        title = f"{line.label}  {line.context}" if line.context else line.label
        if record.id in self.desk.hiding():
            return Row(f"{record.kind}.{record.id}", title, say("second.hidden"), signs=tuple(marks))
        if record.disagreements():
            marks.append(("differ", say("disagreement")))
        if record.value("ask"):
            marks.append(("query", say("ask_value")))
        if worst := self.worst(line):
            marks.append((worst, word("level", worst)))
        reading = record.value("reading")
        side = word("side", reading.get("side")) if isinstance(reading, dict) else ""
        docket = record.kind == "docket"
        text = with_count(what_it_is(reading, record.value("material")), record) if docket else other_words(record)
        return Row(f"{record.kind}.{record.id}", title, text, side, tuple(marks[:3]))

    def chips(self) -> list[Choice]:
        """What can be asked for."""
        found = [
            Choice("chip.text", self.text.text or say("blank"), note=say("find.text"), chosen=bool(self.text.text)),
            self._chip("taxon", self.taxon),
            self._chip("element", self.element),
        ]
        marks = [one for one in MARKS if self.kind == "docket" or one in ("differ", "unsent", "mine", "deleted")]
        chips = [
            Choice(f"chip.mark.{one}", say(f"find.{one}"), chosen=one in self.marks) for one in marks if one != "today"
        ]
        today = "today" in self.marks
        return found + [
            replace(one, text=say("find.today"), chosen=True) if today and one.ident == "chip.mark.mine" else one
            for one in chips
        ]

    def _chip(self, of: str, key: str) -> Choice:
        return Choice(f"chip.{of}", word(of, key) or say("blank"), note=say(f"field.{of}"), chosen=bool(key))

    def offered(self, of: str) -> list[Choice]:
        """The animals or elements that there are, most frequent first."""
        counts = Counter(one.taxon if of == "taxon" else one.element for one in self.lines())
        counts.pop("", None)
        found = [Choice(f"offer.{key}", word(of, key), note=say("times", n=n)) for key, n in counts.most_common()]
        return [Choice("offer.", say("find.any")), *found]

    def choose(self, of: str, key: str) -> None:
        """Takes one of what is offered."""
        if of == "taxon":
            self.taxon = key
        else:
            self.element = key

    def next_kind(self) -> None:
        """The next kind of record."""
        self.kind = KINDS[(KINDS.index(self.kind) + 1) % len(KINDS)]
        self.taxon = self.element = ""


def other_words(record: Record) -> str:
    """A bag, sample, group or tally in few words."""
    values = record.values()
    if record.kind == "tally":
        count = values.get("count")
        parts = [word("taxon", values.get("taxon")), word("element", values.get("element"))]
        return ", ".join(part for part in (*parts, say("times", n=count) if count is not None else "") if part)
    if record.kind == "group":
        return f"{word('relation', values.get('relation'))}, {say('card.members', n=len(record.linked('member')))}"
    if record.kind == "sample":
        litres = values.get("litres")
        return ", ".join(
            part
            for part in (word("sample_type", values.get("type")), say("litres", n=litres) if litres else "")
            if part
        )
    state = word("context_state", values.get("state"))
    box = say("box_value", box=values["box"]) if values.get("box") else ""
    return ", ".join(part for part in (word("recovery", values.get("recovery")), state, box) if part)


def _word(value: object) -> str:
    return value if isinstance(value, str) else ""
