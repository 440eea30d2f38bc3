"""Typed lines at the desk: what a docket would be by a line, what was not understood of it, and writing dockets.

Lines mean what they mean on a tablet (fieldapp.records.typed). Not here: the pages (entry, entry_many).
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from flask import abort

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import Problem
from fieldapp.records import answers as readings
from fieldapp.records.checking import answers_wanted, values_of
from fieldapp.records.fold import Record
from fieldapp.records.typed import Slip, Wrong, takings
from server.ledger import folding
from server.ledger.ledger import Edit
from server.review import blind, desk, raising, words
from server.review.editing import as_would_be
from server.review.line_words import reader, why

STAGE = "analysis"
NO_MATERIAL, WAITS = "no_material", "left"
_PLAIN = tuple(one for one in readings.PLAIN if one not in ("material", "place"))


@dataclass(frozen=True, slots=True)
class Place:
    """Where the dockets of a session lie: a bag, or a context for what is in none."""

    record: Record
    bag: str | None
    context: str

    @property
    def where(self) -> dict[str, str]:
        """What a docket says of it."""
        return {"bag": self.bag} if self.bag else {"context": self.context}


@dataclass
class Line:
    """A line as it was read.

    docket    the id that its docket gets
    values    what would be written, without a label and without what rules ask for
    wrong     what was not taken
    waits     the code that a figure is still waited for
    problems  what the rules would find
    """

    text: str
    docket: str
    answers: dict[str, Any] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)
    wrong: list[Wrong] = field(default_factory=list)
    waits: str = ""
    problems: list[Problem] = field(default_factory=list)

    @property
    def answer(self) -> str:
        """The answer to the human question that was typed; "" for none."""
        return str(self.answers.get("human") or "")

    @property
    def asked(self) -> dict[str, dict[str, Any]]:
        """The answers to the human question that rules ask for."""
        return answers_wanted(self.docket, None, self.problems)

    @property
    def gravest(self) -> str:
        """The most cautious answer of all that would be written; "" for none."""
        every = [human.answer_of(one) for one in self.asked.values()] + ([self.answer] if self.answer else [])
        return max(every, key=human.CAUTION.__getitem__, default="")


class Lines:
    """Reads the lines of a request."""

    def __init__(self, place: Place) -> None:
        site = desk.ledger().site()
        self.place = place
        self.knowledge: Knowledge = knowledge().at_site(values_of(site))
        self._reader = reader(self.knowledge, site)

    def read(self, text: str, docket: str, before: Mapping[str, Any]) -> Line:
        """A line; `before`: the answers of the docket before it."""
        slip = Slip(self.knowledge, before, lambda code: own(docket, code))
        told = self._reader.take(slip, text)
        line = Line(text, docket, slip.answers, wrong=told.wrong, waits=told.waits)
        if not line.answers.get("material") and not line.wrong and not line.waits:
            line.wrong.append(Wrong(NO_MATERIAL, text))
        line.values = self._values(line)
        return line

    def _values(self, line: Line) -> dict[str, Any]:
        answers = line.answers
        # Bone that is left in the ground is in no bag, whichever bag is open.
        lies = {"context": self.place.context} if line.answer == human.STOP else self.place.where
        found = {**lies, **{slot: value for slot, value in answers.items() if readings.is_path(slot)}}
        if (reading := readings.reading_of(answers, self.knowledge, STAGE)) is not None:
            found["reading"] = reading
        if line.answer:
            in_place = {human.STOP: True, human.QUERY: False}.get(line.answer)
            found[f"human/{own(line.docket, 'human')}"] = {
                "answer": line.answer, "why": "", "in_place": in_place, "by_rule": None, "stage": STAGE,
            }  # fmt: skip
        if answers.get("note"):
            found[f"note/{own(line.docket, 'note')}"] = {"text": answers["note"], "stage": STAGE}
        return found

    def check(self, lines: Sequence[Line]) -> None:
        """Lets the rules look at what the lines would make."""
        found = desk.ledger().would_find_in([_record(one) for one in lines]) if lines else {}
        for one in lines:
            one.problems = found[one.docket]

    # -- what was not understood

    def codes(self, line: Line) -> list[str]:
        """The codes of measurements that the bone of a line has, those first that can be taken on it."""
        return [one.measurement.code for one in takings(line.answers, self.knowledge)]

    def sentence(self, line: Line, wrong: Wrong) -> str:
        """Why a word was not taken, with the nearest words."""
        return why(wrong, self.codes(line), self._reader)


def said(values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """[(name, what is said)] of a docket that lines have made, without its place and its answers."""
    reading = values.get("reading")
    found = []
    if reading is not None:
        found.append((words.field("reading"), words.title(reading)))
    if reading is None or values.get("material") != "bone":
        found.append((words.field("material"), words.value("material", values.get("material"))))
    for name in words.PARTS:
        told = [f"{state}: {', '.join(parts)}" for state, parts in _seen(reading, name)]
        found.append((words.field(name), "; ".join(told)))
    if isinstance(reading, Mapping):
        found += [(words.field(one), words.value(one, reading[one])) for one in ("sex", "age") if reading.get(one)]
    found += [(words.field(path), words.value(path, values[path])) for path in _PLAIN if values.get(path) is not None]
    for head in ("measure", "note"):
        told = [words.value(path, one) for path, one in values.items() if path.startswith(f"{head}/") and one]
        found.append((words.field(head), ", ".join(told)))
    return [(name, told) for name, told in found if told]


def _seen(reading: Any, name: str) -> list[tuple[str, list[str]]]:
    unseen = {words.value(name, one) for one in (readings.NOT_EXAMINED, readings.NOT_VISIBLE)}
    return [(state, parts) for state, parts in words.states(reading, name) if state not in unseen]


def place_of(kind: str, record_id: str) -> Place:
    """The bag or context of a session; it ends the request where there is none."""
    record = desk.ledger().record(record_id)
    if record is None or record.kind != kind or record.life() == "deleted":
        abort(404)
    if kind == "context":
        return Place(record, None, record.id)
    return Place(record, record.id, desk.ledger().contexts_of([record]).get(record.id, ""))


def before_of(record: Record | None, known: Knowledge) -> dict[str, Any]:
    """The answers of a stored docket, for "same again"."""
    if record is None or record.kind != "docket" or blind.is_hidden(record.id):
        return {}
    found = readings.answers_of(record.value("reading"), known)
    return {**found, **({"material": material} if isinstance(material := record.value("material"), str) else {})}


def write(lines: Sequence[Line]) -> int:
    """Writes the dockets of these lines, each with a label of its own and what rules ask for; all or nothing. How many:
    one that is there was made by the same form, sent at the same moment."""
    ledger, by = desk.ledger(), desk.me().by
    holds = {one.docket: _holds(one) for one in lines}
    with ledger.database.writing() as connection:
        there = {one.id for one in folding.records_of(connection, sorted(holds))}
        new = [one for one in lines if one.docket not in there]
        edits = [
            Edit("docket", one.docket, {**one.values, **one.asked, "label": ledger.new_label_in(connection)}, {})
            for one in new
        ]
        ledger.write_many_in(connection, [*edits, *(hold for one in new for hold in holds[one.docket])], by)
    if new:
        desk.desk().written()
    return len(new)


def _holds(line: Line) -> list[Edit]:
    if line.gravest not in human.RAISED:
        return []
    return raising.hold_edits(_record(line), line.gravest, lifted=line.answer == human.QUERY)


def _record(line: Line) -> Record:
    """The docket as it would be."""
    found = Record(line.docket)
    found.kinds, found.sites = ("docket",), (desk.ledger().names().site,)
    return as_would_be(found, line.values, {})


def own(docket: str, name: str) -> str:
    """The id of an item of a docket; the same whenever the form is sent."""
    return str(uuid.uuid5(uuid.UUID(docket), name))
