"""Digging under a licence, where human remains are expected: its conditions at a stop, and numbers of skeletons.

The licence takes the place of the stop's steps, not of care: what it does not cover stays a stop. Not here: whether a
licence covers anything; that is for the director and the law.
"""

from __future__ import annotations

from typing import Any

from fieldapp.records import place
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.hold import STOP_STEPS, Hold
from fieldapp.ui.texts import say

LICENSED_STEPS = ("licence_only", "cover", "note", "pictures", "law")


def is_licensed(desk: Desk) -> bool:
    """Whether the site works under a licence."""
    return place.is_licensed(desk.site_record())


def stop_title(desk: Desk) -> str:
    """The head of the stop screen."""
    if not is_licensed(desk):
        return say("stop.title")
    return say("stop.licensed_title", licence=desk.site_value("licence") or say("blank"))


def stop_steps(desk: Desk) -> list[str]:
    """The steps of an in-situ stop, in plain words; under a licence its conditions, where they are known."""
    if not is_licensed(desk):
        return [say(f"stop.{key}") for key in STOP_STEPS]
    conditions = place.conditions_of(desk.site_record()) or (say("stop.no_conditions"),)
    return [*conditions, *(say(f"stop.{key}") for key in LICENSED_STEPS)]


def skeleton(hold: Hold) -> str:
    """Which skeleton the bone is of, as it is read; "" where nothing is said."""
    number = _value(hold, "skeleton")
    said = [say("hold.skeleton_n", number=number)] if number else []
    return " · ".join([*said, *([say("hold.charnel")] if is_charnel(hold) else [])])


def is_charnel(hold: Hold) -> bool:
    """Whether it was noted as charnel."""
    return _value(hold, "charnel") is True


def keep_skeleton(hold: Hold, number: str) -> bool:
    """Notes the skeleton's number; False for none."""
    number = " ".join(number.split())
    if not number:
        return False
    _write(hold, {"skeleton": number})
    return True


def toggle_charnel(hold: Hold) -> None:
    """Notes that it is of no skeleton in its grave but charnel: human bone disturbed and mixed; or takes that back. A
    number that was given stays beside it."""
    _write(hold, {"charnel": not is_charnel(hold)})


def _value(hold: Hold, path: str) -> Any:
    return hold.record.value(path) if hold.record is not None else None


def _write(hold: Hold, values: dict[str, Any]) -> None:
    heads = hold.record.head_ids() if hold.record is not None else {}
    over = {path: heads[path] for path in values if path in heads}
    hold.desk.save([Write(hold.id, "hold", values, over)], last=hold.desk.last)
