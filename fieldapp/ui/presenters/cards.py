"""Cards: the forms of everything that is no docket: contexts, bags, samples, groups, and tallies of what is not
recorded singly. Pure.

One form for all of them: what a kind has is a table below. Like the docket's, a card is kept tap by tap and opens
again where it was. Not here: how a card is shown (screens.card).
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import asdict, dataclass
from dataclasses import field as made
from typing import Any

from fieldapp.domain import rules
from fieldapp.domain.ids import context_number
from fieldapp.domain.rules.tallies import RULES as TALLY_RULES
from fieldapp.domain.steps import is_ticked, taking_back
from fieldapp.records.checking import values_of
from fieldapp.records.fold import Record
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.context import short_label, what_it_is
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.fields import Body, Room, number_of, paged, shown, take_pad
from fieldapp.ui.presenters.problems import Found, worst_first
from fieldapp.ui.texts import say, word

DRAFT = "card"
UNDO = 40
DIGITS = "0123456789."
CODE = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-/"


@dataclass(frozen=True, slots=True)
class Slot:
    """What a card asks. `path` of the record; `how`: "words", "number", "code", "text", "members" or "steps".

    words  the list of words, or "" for `keys`;  keys: words of several lists, (list, word) each
    """

    path: str
    how: str
    words: str = ""
    keys: tuple[tuple[str, str], ...] = ()


def _of(name: str, keys: str) -> tuple[tuple[str, str], ...]:
    return tuple((name, key) for key in keys.split())


NOTE = Slot("note", "text")
SLOTS: Mapping[str, tuple[Slot, ...]] = {
    "tally": (
        Slot(
            "taxon",
            "words",
            keys=_of(
                "taxon",
                "large_mammal medium_mammal small_mammal micro_mammal mammal bird fish amphibian unknown"
                " cattle sheep_goat pig horse dog cat hare_rabbit fowl",
            ),
        ),
        Slot(
            "element",
            "words",
            keys=_of(
                "element",
                "unidentified_bone long_bone flat_bone skull loose_tooth rib vertebra phalanx antler horn_core shell",
            ),
        ),
        Slot("count", "number"),
        Slot("weight_g", "number"),
        Slot("burning", "words", "burning"),
        Slot("preservation", "words", "preservation"),
        NOTE,
    ),
    "sample": (
        Slot("type", "words", "sample_type"),
        Slot("litres", "number"),
        Slot("fraction", "number"),
        Slot("spit", "number"),
        Slot("bone_g", "number"),
        NOTE,
    ),
    "group": (
        # Bones are laid side by side on a table, at the desk.
        Slot("relation", "words", keys=_of("relation", "articulated_observed articulated_inferred associated")),
        Slot("member", "members"),
        Slot("drawing", "code"),
        NOTE,
    ),
    "bag": (
        Slot("recovery", "words", "recovery"),
        Slot("mesh_mm", "number"),
        Slot("state", "words", "context_state"),
        Slot("step", "steps", "bag_step"),
        Slot("weight_g", "number"),
        Slot("box", "code"),
        NOTE,
    ),
    "context": (
        Slot("type", "words", "context_type"),
        Slot("grave_like", "words", "grave_like"),
        Slot("state", "words", "context_state"),
        Slot("deposit", "words", "deposit"),
        Slot("trench", "code"),
        Slot("number", "code"),
        NOTE,
    ),
}
"""{kind: what its card asks, in order}."""

LABELLED = ("tally", "sample", "group", "bag")


@dataclass
class State:
    """All of a card, as JSON values; see presenters.form.State."""

    kind: str
    record: str
    label: str
    context: str
    new: bool
    field: str
    values: dict[str, Any] = made(default_factory=dict)
    opening: dict[str, Any] = made(default_factory=dict)
    heads: dict[str, list[str]] = made(default_factory=dict)
    undo: list[Any] = made(default_factory=list)
    typed: str = ""
    page: int = 0


class Card:
    """The form over one record of a kind in SLOTS."""

    def __init__(self, desk: Desk, state: State) -> None:
        self.desk = desk
        self.state = state
        self._kept: dict[str, Any] | None = None

    @classmethod
    def new(cls, desk: Desk, kind: str, context: str, values: Mapping[str, Any] | None = None) -> Card:
        """A card for a record that does not exist yet; its label is handed out now."""
        label = desk.new_label()
        state = State(kind, desk.new_id(), label, context, True, SLOTS[kind][0].path, values=dict(values or {}))
        card = cls(desk, state)
        card._keep()
        return card

    @classmethod
    def of(cls, desk: Desk, record: Record) -> Card:
        """A card over a stored record, with the heads it shows."""
        slots = {one.path for one in SLOTS[record.kind]} - {"note", "fraction"}
        values = {
            path: value
            for path in record.heads
            if path.partition("/")[0] in slots and (value := record.value(path)) is not None
        }
        steps = [path for path in values if path.startswith("step/")]
        values |= {path: is_ticked(record.heads[path]) or None for path in steps}
        name = record.value("label") or record.value("number") or ""
        where = record.id if record.kind == "context" else str(record.value("context") or "")
        state = State(
            record.kind, record.id, str(name), where, False, SLOTS[record.kind][0].path,
            values=values, opening=dict(values), heads=record.head_ids(),
        )  # fmt: skip
        card = cls(desk, state)
        card._keep()
        return card

    @classmethod
    def resumed(cls, desk: Desk) -> Card | None:
        """The card that was open when the tablet stopped, or None."""
        kept = desk.draft(DRAFT)
        if not isinstance(kept, dict) or kept.get("kind") not in SLOTS:
            return None
        try:
            card = cls(desk, State(**kept))
        except TypeError:
            return None  # a draft of another version; it stays in the journal
        card._kept = asdict(card.state)
        return card

    # -- what stands --

    @property
    def slots(self) -> tuple[Slot, ...]:
        """What the card asks."""
        return SLOTS[self.state.kind]

    @property
    def slot(self) -> Slot:
        """The slot that is open."""
        return next((one for one in self.slots if one.path == self.state.field), self.slots[0])

    def value(self, slot: Slot) -> str:
        """What a slot holds, in few words."""
        values = self.state.values
        if slot.how in ("members", "steps"):
            held = [path for path, value in values.items() if path.startswith(f"{slot.path}/") and value]
            if slot.how == "members":
                return say("card.members", n=len(held)) if held else ""
            return ", ".join(word(slot.words, path.partition("/")[2]) for path in held)
        value = values.get(slot.path)
        if slot.how == "words":
            name = next((name for name, key in slot.keys if key == value), slot.words)
            return word(name, value)
        return value if isinstance(value, str) else shown(value)

    def title(self) -> str:
        """The kind of card."""
        return say(f"card.{self.state.kind}")

    def cautions(self) -> list[Found]:
        """What a tally as it stands would hide: bones that have to be recorded one by one."""
        if self.state.kind != "tally":
            return []
        context = self.desk.record(self.state.context)
        around = rules.Around(context=values_of(context) if context is not None else None)
        problems = rules.check_record("tally", self.state.values, around, self.desk.knowledge)
        return worst_first([one for one in problems if one.rule in TALLY_RULES], self.desk.knowledge)

    def is_changed(self) -> bool:
        """Whether there is anything that a save would write."""
        return self.state.new or self.state.values != self.state.opening

    # -- the body --

    def body(self, room: Room) -> Body:
        """What the open slot shows."""
        slot, values = self.slot, self.state.values
        if slot.how == "words":
            knowledge = self.desk.knowledge
            keys = slot.keys or tuple((slot.words, one.key) for one in knowledge.glossary if one.of == slot.words)
            pads = [Choice(f"card.={key}", word(name, key), chosen=values.get(slot.path) == key) for name, key in keys]
            return Body(paged("card", pads, [], room, self.state.page), asks=say(f"card.asks.{slot.path}"))
        if slot.how == "steps":
            keys_ = [one.key for one in self.desk.knowledge.glossary if one.of == slot.words]
            pads = [
                Choice(f"card.step.{key}", word(slot.words, key), chosen=bool(values.get(f"{slot.path}/{key}")))
                for key in keys_
            ]
            return Body(paged("card", pads, [], room, self.state.page), asks=say("card.asks.step"))
        if slot.how == "members" and not self._members():
            return Body([[Choice("", say("card.no_members"))]], asks=say("card.asks.member"))
        if slot.how == "members":
            wide = Room(max(2, room.across // 2), room.down)  # there is more to say of each than one word
            return Body(paged("card", self._members(), [], wide, self.state.page), asks=say("card.asks.member"))
        now = values.get(slot.path)
        if slot.how == "text":
            return Body([], asks=say(f"card.asks.{slot.path}"), text=str(now or ""))
        drop = Choice("card.drop", say("measures.drop"), sign="rub", enabled=now is not None)
        return Body(
            [[drop, take_pad("card")]],
            asks=say(f"card.asks.{slot.path}"),
            keys="figure" if slot.how == "number" else "marks",
            typed=self.state.typed or (now if isinstance(now, str) else shown(now)),
        )

    def _members(self) -> list[Choice]:
        found = []
        for one in reversed(self.desk.dockets(self.state.context)):
            held = bool(self.state.values.get(f"member/{one.id}"))
            note = what_it_is(one.value("reading"), one.value("material"))
            found.append(Choice(f"card.member.{one.id}", short_label(one.value("label")), note=note, chosen=held))
        return found

    # -- taps --

    def open_slot(self, path: str) -> None:
        """Shows a slot. What was typed in another and not taken is taken."""
        self._take_typed()
        self.state.field, self.state.typed, self.state.page = path, "", 0
        self._keep()

    def tap(self, key: str) -> None:
        """A pad of the body; `key` without the leading "card."."""
        what, _, rest = key.partition(".")
        slot = self.slot
        if key.startswith("="):
            chosen = key[1:]
            self._change({slot.path: None if self.state.values.get(slot.path) == chosen else chosen}, move=True)
        elif what == "page":
            self.state.page = int(rest)
            self._keep()
        elif what in ("step", "member"):
            path = f"{what}/{rest}"
            self._change({path: None if self.state.values.get(path) else True})
        elif what == "drop":
            self._change({slot.path: None})
        elif what == "key":
            self._key(slot, rest)

    def _key(self, slot: Slot, key: str) -> None:
        state = self.state
        if key == "=":
            after = self._next()
            self._take_typed()
            self.open_slot(after)
            return
        before = state.typed
        if key == "<":
            state.typed = before[:-1]
        elif key == "*":
            state.typed = ""
        else:
            allowed, limit = (DIGITS, 10) if slot.how == "number" else (CODE, 20)
            state.typed = (before + "".join(one for one in key.upper() if one in allowed))[:limit]
        if state.typed != before:
            self._keep()

    def _take_typed(self) -> None:
        """Writes down what the keypad holds; what is no number is let go of."""
        slot, typed = self.slot, self.state.typed
        if not typed or slot.how in ("words", "steps", "members", "text"):
            return
        value: Any = number_of(typed) if slot.how == "number" else typed
        if slot.path == "number":
            value = context_number(typed)
        if slot.path in ("count", "spit") and isinstance(value, float) and value == int(value):
            value = int(value)
        if value is not None:
            self._change({slot.path: value})

    def _next(self) -> str:
        paths = [one.path for one in self.slots]
        return paths[(paths.index(self.slot.path) + 1) % len(paths)]

    def write(self, text: str) -> None:
        """The note's text while it is typed: kept, but each letter is no tap to take back."""
        self._set({self.slot.path: text or None})
        self._keep()

    def undo(self) -> bool:
        """Takes the last tap back and shows its slot; first of all what was typed and not taken. False for none."""
        if self.state.typed:
            self.state.typed = ""
            self._keep()
            return True
        if not self.state.undo:
            return False
        path, before = self.state.undo.pop()
        self._set(before)
        self.state.field, self.state.typed, self.state.page = path, "", 0
        self._keep()
        return True

    def _change(self, changes: Mapping[str, Any], move: bool = False) -> None:
        state = self.state
        before = {path: state.values.get(path) for path in changes if state.values.get(path) != changes[path]}
        if before:
            state.undo = [*state.undo[-(UNDO - 1) :], [state.field, before]]
            self._set(changes)
        state.typed = ""
        if move and any(value is not None for value in changes.values()):
            state.field, state.page = self._next(), 0
        self._keep()

    def _set(self, changes: Mapping[str, Any]) -> None:
        for path, value in changes.items():
            if value is None:
                self.state.values.pop(path, None)
            else:
                self.state.values[path] = value

    def _keep(self) -> None:
        """Writes the draft. If the notebook cannot, the card is again as it was last kept, and the error goes on."""
        state = asdict(self.state)
        try:
            self.desk.keep_draft(DRAFT, state)
        except Exception:
            if self._kept is not None:
                self.state = State(**deepcopy(self._kept))
            raise
        self._kept = state

    # -- saving --

    def save(self) -> str:
        """Writes the record, the draft goes with it; its label. Raises what the notebook raises."""
        self._take_typed()
        state = self.state
        values = dict(state.values)
        note, mesh = values.pop("note", None), values.pop("fraction", None)
        if state.new:
            found = {"label": state.label, "context": state.context, **values}
            if state.kind == "tally":
                found["stage"] = self.desk.stage
                if self.desk.bag and state.context == self.desk.context:
                    found["bag"] = self.desk.bag
        else:
            paths = {*values, *state.opening}
            found = {path: values.get(path) for path in paths if values.get(path) != state.opening.get(path)}
        if mesh:
            part = "flot" if values.get("type") == "flotation" and mesh < 1 else "residue"
            found[f"fraction/{self.desk.new_id()}"] = {"part": part, "mesh_mm": mesh}
        if note:
            found[f"note/{self.desk.new_id()}"] = {"text": note, "stage": self.desk.stage}
        over = {path: state.heads[path] for path in found if path in state.heads}
        # A step is only ever added to: who unticks one says which ticks are meant.
        unticked = [path for path in over if path.startswith("step/") and found[path] is None]
        found |= {path: taking_back(over[path]) for path in unticked}
        self.desk.save([Write(state.record, state.kind, found, over)] if found else [], drop=DRAFT)
        return state.label

    def carry(self) -> dict[str, Any]:
        """What the next card of the kind takes over: what it is of, not how much."""
        return {path: self.state.values[path] for path in ("element", "burning") if path in self.state.values}

    def is_begun(self) -> bool:
        """Whether leaving would lose something that was entered."""
        return bool(self.state.undo or self.state.typed or self.state.values.get("note"))

    def leave(self) -> None:
        """Gives the card up: the draft goes. Its label is free again only if nothing was ever entered."""
        self.desk.drop_draft(DRAFT)
        if self.state.new and not self.is_begun():
            self.desk.give_back(self.state.label)
