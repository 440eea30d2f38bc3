"""The docket form: what is answered, what comes next, what is written down at the end.

Every tap goes through `_change`, which writes the draft before it returns: what a frame shows is on disk. The
whole state is plain JSON, so that a tablet that dies opens again at the same field with the same undo.
Not here: how a field is shown (form_fields) and what a rule says (the domain).
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import asdict
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records import answers as reading_parts
from fieldapp.records import choosing
from fieldapp.records.checking import values_of
from fieldapp.records.choosing import NO_SKELETON, only_element
from fieldapp.records.fold import Record
from fieldapp.ui.presenters import lately, second, writing
from fieldapp.ui.presenters.closing import Closed, close
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.form_state import Saved, State
from fieldapp.ui.presenters.problems import Found

FIRST = ("material", "human", "element", "taxon", "side", "portions", "fusion")
"""The fields that are asked one after the other."""
SECOND = ("teeth", "measures", "marks", "surface", "age", "find", "note")
"""Those that are gone to where there is something to say."""
UNDO = 40
"""Taps that can be taken back."""

DRAFT = "form"
CYCLE = ("most", "part", "absent", None)
CARRIED = ("material",)
"""What the next docket starts with. Never an answer to the human question."""


class Form:
    """The form over one docket."""

    def __init__(self, desk: Desk, state: State) -> None:
        self.desk = desk
        self.state = state
        self._found: list[Found] | None = None
        self._kept: dict[str, Any] | None = None

    # -- beginnings --

    @classmethod
    def new(
        cls, desk: Desk, context: str, bag: str | None, carry: Mapping[str, Any] | None = None, depth: str = "full"
    ) -> Form:
        """A form for a docket that does not exist yet; its label is handed out now."""
        carried = dict(carry or {})
        state = State(
            docket=desk.new_id(),
            label=desk.new_label(),
            context=context,
            bag=bag,
            new=True,
            field="material",
            depth=depth,
        )
        state.answers = carried
        form = cls(desk, state)
        element = only_element(carried.get("material"), desk.knowledge)
        state.answers |= {"element": element} if element and "element" not in carried else {}
        state.field = form.next_field("") or "material"
        form._keep()
        return form

    @classmethod
    def of(cls, desk: Desk, record: Record) -> Form:
        """A form over an existing docket, with the heads it shows."""
        base = record.value("reading")
        answers = writing.opened(record, desk.knowledge)
        state = State(
            docket=record.id,
            label=record.value("label") or "",
            context=desk.context_of(record) or "",
            bag=record.value("bag"),
            new=False,
            field="material",
            answers=answers,
            opening=dict(answers),
            heads={path: ids for path, ids in record.head_ids().items() if not path.startswith(desk.add_only)},
            base=base,
        )
        form = cls(desk, state)
        state.field = "element" if answers.get("material") else "material"
        form._keep()
        return form

    @classmethod
    def again(cls, desk: Desk, reading: Record) -> Form:
        """A form for a second reading: blank, or with what was said in it before; of the first reading nothing."""
        form = cls(desk, second.state(desk, reading))
        form._keep()
        return form

    @classmethod
    def resumed(cls, desk: Desk) -> Form | None:
        """The form that was open when the tablet stopped, or None."""
        kept = desk.draft(DRAFT)
        if not isinstance(kept, dict):
            return None
        try:
            form = cls(desk, State(**kept))
        except TypeError:
            return None  # a draft of another version; it stays in the journal
        form._kept = asdict(form.state)
        return form

    # -- what stands --

    @property
    def answers(self) -> dict[str, Any]:
        """The answers now."""
        return self.state.answers

    @property
    def record(self) -> Record | None:
        """The docket as it is stored; None while it is new, and for a second reading, which is made blind."""
        return None if self.state.second else self.desk.record(self.state.docket)

    @property
    def stage(self) -> str:
        """The stage of work of what is read here: a lab session and a second reading are analysis."""
        return "analysis" if self.state.depth == "lab" or self.state.second else self.desk.stage

    def applies(self, name: str) -> bool:
        """Whether there is anything to answer in a field."""
        element = self.answers.get("element")
        if name in ("element", "taxon", "side", "portions", "fusion"):
            if self.answers.get("material") in NO_SKELETON:
                return False
            if name == "side":
                known = self.desk.knowledge.elements.get(element or "")
                return known is None or known.sided
            if name == "portions":
                return bool(self.desk.knowledge.portions_of(element or "", self.answers.get("taxon")))
            if name == "fusion":
                return bool(self.visible_centres())
        return True

    def answered(self, name: str) -> bool:
        """Whether a field holds a whole answer."""
        if name == "portions":
            states = reading_parts.portion_states(self.answers, self.desk.knowledge)
            return bool(states) and reading_parts.NOT_EXAMINED not in states.values()
        if name == "fusion":
            return all(f"fusion.{one.key}" in self.answers for one in self.visible_centres())
        return name in self.answers

    def visible_centres(self) -> list[Any]:
        """The centres whose fusion could be seen on what is there."""
        found = reading_parts.centres(self.answers, self.desk.knowledge)
        return [one for one in found if not reading_parts.cannot_be_seen(one, self.answers, self.desk.knowledge)]

    def next_field(self, after: str) -> str:
        """The next field that wants an answer, from `after` on and then from the start; "" if none does."""
        start = FIRST.index(after) + 1 if after in FIRST else 0
        for name in (*FIRST[start:], *FIRST[:start]):
            if name != after and self.applies(name) and not self.answered(name):
                return name
        return ""

    # -- taps --

    def open_field(self, name: str) -> None:
        """Shows a field. No answer changes, so there is nothing to take back."""
        self.state.field, self.state.typed = name, ""
        self.state.shelf = self._first_shelf()
        self._keep()

    def open_shelf(self, shelf: str) -> None:
        """Shows a place within the field that is open. No answer changes.

        Of elements and taxa: "list", one of the shelves, or "" for the usual ones; "map", "map:<form>" and
        "map:<form>:<region>" are the skeleton, and who chooses by it meets it again next time. The places of the
        other fields are their own business (presenters.fields).
        """
        self.state.shelf, self.state.typed = shelf, ""
        if self.state.field == "element" and (shelf == "" or shelf.startswith("map")):
            self.desk.go(by_map=shelf != "")
        self._keep()

    def _first_shelf(self) -> str:
        """What an opened field shows first: the elements as they were chosen last time."""
        return "map" if self.state.field == "element" and self.desk.place.get("by_map") else ""

    def choose(self, name: str, value: Any) -> None:
        """Answers a field with one value and moves on."""
        changes = choosing.chosen(self.answers, name, value, self.desk.knowledge)
        self._change(name, changes, move=True)

    def same_again(self) -> None:
        """The same bone of the same animal as in the docket before, in one tap."""
        before = lately.before(self.desk)
        changes = choosing.again(self.answers, before, self.desk.knowledge)
        self._change("element", changes, move=True)

    def look_like(self, changes: Mapping[str, Any]) -> None:
        """What the short form says at once of material and element; portions and centres of another bone go."""
        own = dict(changes)
        if own.get("element") != self.answers.get("element"):
            own.update(choosing.without(self.answers, "portion.", "fusion."), position=None, side=None)
        self._change("element", own)

    def toggle_cf(self) -> None:
        """Marks the taxon as one that the bone only compares with, or unmarks it."""
        self._change("taxon", {"certainty": None if self.answers.get("certainty") == "cf" else "cf"})

    def cycle_portion(self, key: str) -> None:
        """One tap on a portion: most, part, absent, not examined, and round again."""
        at = CYCLE.index(self.answers.get(f"portion.{key}"))
        self._change("portions", {f"portion.{key}": CYCLE[(at + 1) % len(CYCLE)]})

    def fill_portions(self, state: str) -> None:
        """Writes every portion that nobody touched as `state`, and moves on."""
        states = reading_parts.portion_states(self.answers, self.desk.knowledge)
        untouched = {f"portion.{key}": state for key, now in states.items() if now == reading_parts.NOT_EXAMINED}
        self._change("portions", untouched, move=True)

    def set_fusion(self, centre: str, state: str) -> None:
        """Answers one centre; when it was the last, moves on."""
        rest = [one.key for one in self.visible_centres() if f"fusion.{one.key}" not in self.answers]
        self._change("fusion", {f"fusion.{centre}": state}, move=rest in ([], [centre]))

    def put(self, name: str, changes: Mapping[str, Any], shelf: str = "") -> None:
        """Sets slots of a field, None emptying one, and shows a place within it."""
        self.state.typed = ""
        self._change(name, changes, shelf=shelf)

    def set_slot(self, slot: str, value: Any) -> None:
        """Sets a slot of the note field; None empties it."""
        self.put("note", {slot: value})

    def press_key(self, key: str, allowed: str, limit: int) -> None:
        """A key of the keypad: a character, "<" to take the last one away, "*" to empty. Kept like every tap."""
        typed = self.state.typed
        if key == "<":
            typed = typed[:-1]
        elif key == "*":
            typed = ""
        else:
            for one in key.upper() if allowed.upper() == allowed else key:
                if one in allowed and len(typed) < limit:
                    typed += one
        if typed != self.state.typed:
            self.state.typed = typed
            self._keep()

    def deepen(self) -> None:
        """Goes on in the full form; every answer stays."""
        self.state.depth = "full"
        self.state.field = self.next_field("") or "material"
        self._keep()

    def type_note(self, text: str) -> None:
        """The note's text while it is typed: kept, but each letter is no tap to take back."""
        if text:
            self.answers["note"] = text
        else:
            self.answers.pop("note", None)
        self._keep()

    def take_reading(self, change: str) -> bool:
        """Takes one of the readings in disagreement as the form's own. False if it is gone, or may not be taken."""
        record = self.record if self.may_settle() else None
        value = record.heads.get("reading", {}).get(change) if record is not None else None
        if value is None:
            return False
        new = reading_parts.answers_of(value, self.desk.knowledge)
        changes: dict[str, Any] = {
            slot: None for slot in self.answers if slot.startswith(("portion.", "fusion.")) or slot in _READING
        }
        changes.update(new)
        self.state.took = True
        self.state.base = value
        self._change("element", changes)
        return True

    def earlier_answers(self) -> tuple[list[str], list[str]]:
        """The answers that people have given the docket already, and the rules that added one."""
        record = self.desk.record(self.state.docket)  # which is hidden from nobody
        given = list(record.added("human").values()) if record is not None else []
        ruled = [str(one["by_rule"]) for one in given if isinstance(one, Mapping) and one.get("by_rule")]
        people = [human.answer_of(one) for one in given if not (isinstance(one, Mapping) and one.get("by_rule"))]
        return people, list(dict.fromkeys(ruled))

    def may_settle(self) -> bool:
        """Whether the one who records may settle a disagreement of readings."""
        return self.desk.may("settle_docket")

    def may_delete(self) -> bool:
        """Whether the docket may be deleted here: not one that may be human, which stands whatever is deleted."""
        record = self.record
        return record is not None and self.desk.standing(record) not in human.RAISED

    def undo(self) -> bool:
        """Takes the last tap back and shows its field; first of all what was typed and not taken. False for none."""
        if self.state.typed:
            self.state.typed = ""
            self._keep()
            return True
        if not self.state.undo:
            return False
        name, before = self.state.undo.pop()
        self._set(before)
        self.state.field, self.state.shelf, self.state.typed = name, "", ""
        self.state.stop = False
        self._keep()
        return True

    # -- the human question --

    def answer_human(self, answer: str) -> None:
        """Answers the human question. `stop` opens the stop screen, which only confirming or taking back closes."""
        if answer == human.STOP:
            try:
                self.state.stop = True
                self._change("human", {"human": answer})
            except Exception:
                # A full disk must not hide the stop: it stands in memory, and confirming it tries the disk again.
                self.answers["human"] = answer
                self.state.stop = True
                raise
        else:
            self._change("human", {"human": answer}, move=True)

    def take_back_stop(self) -> None:
        """The tap on stop was a slip; possible only until it is confirmed."""
        if self.state.stop and not self.undo():
            self.state.stop = False
            self._set({"human": None})
            self._keep()

    # -- saving --

    def found(self) -> list[Found]:
        """What the rules find in the form as it stands."""
        if self._found is None and self.state.second:
            self._found = second.found(self)
        if self._found is None:
            # What the form does not show is there all the same: earlier answers, assessments, a weight.
            kept = values_of(self.record) if self.record is not None else {}
            values = {**kept, **writing.values(self)}
            self._found = self.desk.check(self.state.docket, values, self.state.context, self.state.new)
        return self._found

    def missing(self) -> str:
        """The one field without which nothing can be saved, or ""."""
        return "" if self.answers.get("material") else "material"

    def is_changed(self) -> bool:
        """Whether there is anything that a save would write."""
        return self.state.new or self.state.took or self.answers != self.state.opening

    def save(self) -> Saved:
        """Writes the docket, and its hold if one follows, as one save; the draft goes with it.

        Raises what the notebook raises; then nothing was written and the draft is still there.
        """
        state = self.state
        if state.second:
            return second.save(self, DRAFT)
        values, over = writing.changes(self)
        answers = writing.human_readings(self)
        values.update(answers)
        record = self.record
        earlier = list(record.added("human").values()) if record is not None else []
        raised = {human.answer_of(one) for one in [*answers.values(), *earlier]} & human.RAISED
        shut = {"closed": True} if raised else {}
        pictures = [Write(one, "photo", {**taken, **shut}) for one, taken in writing.photos(self).items()]
        closed = close(self.desk, state.docket, record, values, over, pictures) if raised else Closed()
        writes = [Write(state.docket, "docket", values, over)] if values else []
        writes += pictures
        hold = ""
        if raised:
            hold = hold_id(state.docket)
            tier = human.STOP if human.STOP in raised else human.QUERY
            lifted = any(one.get("in_place") is False for one in [*answers.values(), *earlier] if isinstance(one, dict))
            writes += [*self.desk.hold_writes(state.docket, state.context, tier, lifted), *closed.writes]
        if state.new:
            lately.note(self.desk, self.answers)
        stopped = any(one["answer"] == human.STOP for one in answers.values())
        self.desk.save(
            writes, drop=DRAFT, last=None if raised else ((state.docket, state.label) if state.new else None)
        )
        if raised:
            self.desk.close_off(closed.pictures)
        ruled = [one for one in answers.values() if one["by_rule"]]
        gravest = max(ruled, key=lambda one: human.CAUTION[one["answer"]], default=None)
        rule = str(gravest["by_rule"]) if gravest else ""
        return Saved(state.docket, state.label, state.new, hold, stopped, rule, closed.place_lost)

    def carry(self) -> dict[str, Any]:
        """What the next docket takes over from this one."""
        return {slot: self.answers[slot] for slot in CARRIED if slot in self.answers}

    def is_begun(self) -> bool:
        """Whether leaving would lose something that was entered."""
        return bool(self.state.undo or self.state.typed or self.answers.get("note") or self.state.took)

    def leave(self) -> None:
        """Gives the form up: the draft goes. Its label is free again only if nothing was ever entered."""
        self.desk.drop_draft(DRAFT)
        if self.state.new and not self.is_begun():
            self.desk.give_back(self.state.label)

    # -- inside --

    def _change(self, name: str, changes: Mapping[str, Any], move: bool = False, shelf: str | None = None) -> None:
        before = {slot: self.answers.get(slot) for slot in changes if self.answers.get(slot) != changes[slot]}
        if before:
            self.state.undo = [*self.state.undo[-(UNDO - 1) :], [name, before]]
            self._set(changes)
        self.state.field = name
        if move:
            self.state.field = self.next_field(name) or name
        self.state.shelf = self._first_shelf() if shelf is None else shelf
        self._keep()

    def _set(self, changes: Mapping[str, Any]) -> None:
        for slot, value in changes.items():
            if value is None:
                self.answers.pop(slot, None)
            else:
                self.answers[slot] = value

    def _keep(self) -> None:
        """Writes the draft. If the notebook cannot, the form is again as it was last kept, and the error goes on."""
        self._found = None
        state = asdict(self.state)
        try:
            self.desk.keep_draft(DRAFT, state)
        except Exception:
            if self._kept is not None:
                self.state = State(**deepcopy(self._kept))
            raise
        self._kept = state


_READING = ("element", "taxon", "side", "certainty", *reading_parts.FURTHER)
