"""What else can be done here than to record a bone: the other records of the context, and the tablet itself. Pure."""

from __future__ import annotations

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.context import short_label
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say

HERE = ("scan", "tally", "sample", "group", "photo", "bag", "context", "print")
TABLET = ("find", "lab", "second", "sync", "people", "manner", "lock")


def here(desk: Desk) -> list[Choice]:
    """What can be done in the open context; none without one."""
    context = desk.record(desk.context or "")
    if context is None:
        return []
    bag = desk.record(desk.bag or "")
    notes = {
        "bag": short_label(bag.value("label")) if bag is not None else "",
        "context": str(context.value("number") or ""),
    }
    return [
        Choice(
            f"more.{key}",
            say(f"more.{key}"),
            note=notes.get(key, ""),
            sign={"photo": "photo"}.get(key, ""),
            enabled=key != "bag" or bag is not None,
        )
        for key in HERE
    ]


def tablet(desk: Desk) -> list[Choice]:
    """What can be done with the tablet; second readings by whom they are for."""
    signs = {"find": "find", "sync": "sync", "people": "person", "lock": "lock"}
    return [
        Choice(f"go.{key}", say(f"go.{key}"), sign=signs.get(key, ""))
        for key in TABLET
        if key != "second" or desk.may("second_reading")
    ]
