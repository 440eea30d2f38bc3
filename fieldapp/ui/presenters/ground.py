"""Ground that is closed by bone that may be human: where, and until when.

For: the first screen of the morning and the screen of a context. Not for: where the bone lies exactly, nor whether a
hold stands (records.standing). An assessment opens no ground: the written word does.
"""

from __future__ import annotations

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.fold import Record
from fieldapp.records.standing import is_released
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.licensed import is_licensed
from fieldapp.ui.texts import say

MAY_BE_HUMAN, WAITS = "closed", "waits"


def closes(desk: Desk, hold: Record, docket: Record | None) -> str:
    """How a hold closes ground: MAY_BE_HUMAN; WAITS where it was assessed as not human and the written word to go on
    has not come; "" where it closes none. Under a licence its conditions say what is kept off."""
    if human.STOP not in hold.heads.get("tier", {}).values() or is_licensed(desk):
        return ""
    if docket is None:
        return MAY_BE_HUMAN
    if is_released(hold, docket, desk.authority()):
        return ""
    stands = desk.standing(docket)
    if stands in (human.STOP, human.HUMAN):
        return MAY_BE_HUMAN
    lifted = set(hold.heads.get("in_place", {}).values()) == {False}
    return WAITS if stands == human.NON_HUMAN and not lifted else ""


def waits(desk: Desk, docket: Record) -> bool:
    """Whether ground waits for the written word only, after an assessment of this docket."""
    hold = desk.record(hold_id(docket.id))
    return hold is not None and closes(desk, hold, docket) == WAITS


def closed(desk: Desk) -> str:
    """All that is closed on the site, in a sentence or two; "" for nothing."""
    found: dict[str, list[str]] = {MAY_BE_HUMAN: [], WAITS: []}
    for hold in desk.notebook.records("hold"):
        how = closes(desk, hold, desk.record(str(hold.value("docket") or "")))
        if how:
            context = desk.record(str(hold.value("context") or ""))
            where = say("contexts.where", number=context.value("number")) if context is not None else ""
            zone = str(hold.value("zone") or "")
            place = ", ".join(part for part in (where, zone) if part) or str(hold.value("docket") or "")
            found[how].append(place)
    return " ".join(_told(how, list(dict.fromkeys(places))) for how, places in found.items() if places)


def _told(how: str, places: list[str]) -> str:
    told = "; ".join(places[:6]) + (" …" if len(places) > 6 else "")
    return say("contexts.closed", places=told) if how == MAY_BE_HUMAN else say("contexts.waits", places=told)
