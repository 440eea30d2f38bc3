"""The short form: what a digger can say of a bone in five taps. The full form goes on from there, nothing is retyped.

It is a docket's form (form.Form) with other buttons: the same answers, the same draft, the same undo. Pure.
"""

from __future__ import annotations

from fieldapp.domain import human
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.texts import say, word

LOOKS: dict[str, tuple[str, str]] = {
    "skull": ("bone", "skull"),
    "jaw": ("bone", "mandible"),
    "tooth": ("tooth", "loose_tooth"),
    "long_bone": ("bone", "long_bone"),
    "rib": ("bone", "rib"),
    "vertebra": ("bone", "vertebra"),
    "foot": ("bone", "phalanx"),
    "other": ("bone", "unidentified_bone"),
}
"""{what it looks like: (material, element)}: nothing that takes a specialist."""

SIZES = ("large_mammal", "medium_mammal", "small_mammal", "bird", "fish", "unknown")
ANSWERS = (human.STOP, human.QUERY, human.NOT_EXCLUDED, human.NO_SIGN, human.NOT_ASKED)


def looks(form: Form) -> list[Choice]:
    """What it may look like."""
    now = look_of(form)
    return [Choice(f"look.{key}", say(f"look.{key}"), chosen=key == now) for key in LOOKS]


def look_of(form: Form) -> str:
    """What the answers look like; "" where they say something that is no button here."""
    answers = form.answers
    held = answers.get("material"), answers.get("element")
    return next((key for key, look in LOOKS.items() if look == held), "")


def sizes(form: Form) -> list[Choice]:
    """How big, or what."""
    return [Choice(f"taxon.{key}", word("taxon", key), chosen=form.answers.get("taxon") == key) for key in SIZES]


def answers(form: Form) -> list[Choice]:
    """The human question."""
    return [
        Choice(
            f"human.{key}",
            say(f"quick.{key}"),
            chosen=form.answers.get("human") == key,
            tone="clay" if key == human.STOP else "plain",
            sign="stop" if key == human.STOP else "",
        )
        for key in ANSWERS
    ]


def rest(form: Form) -> list[Choice]:
    """How many, a picture, the specialist, words."""
    held = form.answers
    photos = sum(slot.startswith("photo/") for slot in held)
    return [
        Choice("find.less", "", sign="less"),
        Choice("find.keys.count", say("count_value", n=held.get("count", 1))),
        Choice("find.more", "", sign="more"),
        Choice("note.photo", say("photos_value", n=photos) if photos else say("photo"), sign="photo"),
        Choice("note.ask", say("ask"), chosen=bool(held.get("ask")), sign="query"),
        Choice(
            "go.note", say("notes_value", n=1) if held.get("note") else say("field.note"), chosen=bool(held.get("note"))
        ),
    ]


def look(form: Form, key: str) -> None:
    """It looks like that."""
    material, element = LOOKS[key]
    form.look_like({"material": material, "element": element})
