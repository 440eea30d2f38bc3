"""Words from lists, first of what, then which: the fragment's surface, and its age, sex and place in the row. Pure.

Not here: single marks (marks), and what a word means (the tables).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import Body, Room, paged
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

SURFACE = (
    "burning", "burn_colour", "breaks", "weathering", "preservation", "roots", "staining", "digestion",
    "fracture.angle", "fracture.outline", "fracture.texture", "antler_base",
)  # fmt: skip
AGE = ("sex", "age", "texture", "position")

_LISTS = {
    "age": "age_class",
    "texture": "bone_texture",
    "breaks": "break",
    "fracture.angle": "fracture_angle",
    "fracture.outline": "fracture_outline",
    "fracture.texture": "fracture_texture",
}
"""{slot: list of words}, where they are not called alike."""


def list_of(slot: str) -> str:
    """The list that a slot takes its words from."""
    return _LISTS.get(slot, slot)


def keys_of(slot: str, form: Form) -> list[str]:
    """The words that a slot can hold, for the bone in hand."""
    knowledge: Knowledge = form.desk.knowledge
    if slot == "position":
        return list(knowledge.positions_of(form.answers.get("element", ""), form.answers.get("taxon")))
    return [one.key for one in knowledge.glossary if one.of == list_of(slot)]


def wanted(slot: str, form: Form) -> bool:
    """Whether a slot is asked of the bone in hand; what holds an answer always is."""
    if now(slot, form.answers) is not None:
        return True
    element, taxon = form.answers.get("element", ""), form.answers.get("taxon")
    if slot == "sex":
        return form.desk.knowledge.shows_sex(element, taxon) in ("yes", "some")
    if slot == "antler_base":
        return element == "antler" or form.answers.get("material") == "antler"
    return bool(keys_of(slot, form))


def now(slot: str, answers: Mapping[str, Any]) -> str | None:
    """The word that a slot holds. Scores and stages are stored as numbers."""
    name, _, part = slot.partition(".")
    value = answers.get(name)
    if part:
        value = value.get(part) if isinstance(value, Mapping) else None
    if isinstance(value, int) and not isinstance(value, bool):
        return f"{'stage' if slot == 'weathering' else 'score'}_{value}"
    return value if isinstance(value, str) else None


def put(slot: str, key: str, form: Form) -> dict[str, Any]:
    """{slot: value} of a tap on a word: it is taken, or taken away if it stood already."""
    value: Any = None if now(slot, form.answers) == key else key
    if value is not None and key.startswith(("stage_", "score_")):
        value = int(key.rpartition("_")[2])
    name, _, part = slot.partition(".")
    if part:
        known = form.answers.get(name)
        scores = {**(known if isinstance(known, Mapping) else {}), part: value}
        value = {one: score for one, score in scores.items() if score is not None} or None
    return {name: value}


def said(slot: str, key: str) -> str:
    """A word in words; a place in the row as it stands."""
    return key if slot == "position" else word(list_of(slot), key)


class Words:
    """A field of several slots, each of which takes a word of its list."""

    def __init__(self, name: str, slots: tuple[str, ...], applies: Callable[[Form], bool]) -> None:
        self.name = name
        self.slots = slots
        self.applies = applies

    def value(self, form: Form) -> str:
        """The words that were chosen, in the order of the slots."""
        found = [said(slot, key) for slot in self.slots if (key := now(slot, form.answers)) is not None]
        return ", ".join(found[:2]) + (" …" if len(found) > 2 else "")

    def body(self, form: Form, room: Room) -> Body:
        """The slots with what they hold; or the words of one."""
        what, _, rest = form.state.shelf.partition(":")
        slot, _, page = rest.partition(":")
        at = int(page) if page.isdigit() else 0
        if what == "slot" and slot in self.slots:
            held = now(slot, form.answers)
            pads = [
                Choice(f"{self.name}.{slot}={key}", said(slot, key), chosen=key == held) for key in keys_of(slot, form)
            ]
            back = Choice(f"{self.name}.back", say("action.back"), sign="up")
            return Body(paged(self.name, pads, [back], room, at), asks=say(f"slot.{slot}"))
        slots = [slot for slot in self.slots if wanted(slot, form)]
        pads = [
            Choice(
                f"{self.name}.slot.{slot}",
                said(slot, held) if (held := now(slot, form.answers)) is not None else say("blank"),
                note=say(f"slot.{slot}"),
                chosen=held is not None,
            )
            for slot in slots
        ]
        return Body(paged(self.name, pads, [], room, at))

    def tap(self, form: Form, key: str) -> None:
        """A slot, one of its words, the way back, or the turn of the page."""
        what, _, rest = key.partition(".")
        shelf = form.state.shelf.split(":")
        if what == "slot":
            form.open_shelf(f"slot:{rest}")
        elif what == "back":
            form.open_shelf("")
        elif what == "page":
            form.open_shelf(":".join([*(shelf[:2] if shelf[0] == "slot" else ["", ""]), rest]))
        else:
            slot, _, chosen = key.partition("=")
            form.put(self.name, put(slot, chosen, form))


surface = Words("surface", SURFACE, lambda form: True)
age = Words("age", AGE, lambda form: any(wanted(slot, form) for slot in AGE))
