"""Banners for holds: possible human remains, in words, boxed.

Black-and-yellow hazard stripes mark the stop in the ground and nothing else; a lab query, a release and an ended
hold have a box. Not for: where a bone lies (never printed) or the hold's whole log (a sheet of its own).
"""

from __future__ import annotations

from collections.abc import Sequence

from fieldapp.domain import human
from fieldapp.sheets.boxes import Box, Frame, Stack, Text, frame_room
from fieldapp.sheets.entries import ContextSheet, Docket, Hold, Step
from fieldapp.sheets.pen import THICK, THIN, Pen
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import Words

_TOLD = ("told", "authority_told")


class Hazard(Box):
    """A band of black and yellow stripes."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.stripes(x, y, self.width, self.height)


def front_banners(pen: Pen, words: Words, sheet: ContextSheet, width: float) -> list[Box]:
    """The banners of the first page: one for each kind of open hold on the sheet, then the released ones."""
    found: list[Box] = []
    for tier in (human.STOP, human.QUERY):
        dockets = [one for one in sheet.dockets if one.hold and one.hold.state == "open" and one.hold.tier == tier]
        loose = [one for one in sheet.loose_holds if one.tier == tier]
        if dockets or loose:
            found.append(_front(pen, words, sheet, tier, dockets, loose, width))
    released = [one for one in sheet.dockets if one.hold and one.hold.state == "released"]
    if released:
        labels = words.say("hold.labels", labels=", ".join(one.label for one in released))
        lines = [(labels, False), (words.say("hold.released"), False)]
        found.append(_boxed(pen, words.say("hold.heading_released"), lines, width, striped=False))
    return found


def _front(
    pen: Pen,
    words: Words,
    sheet: ContextSheet,
    tier: str,
    dockets: Sequence[Docket],
    loose: Sequence[Hold],
    width: float,
) -> Box:
    striped = tier == human.STOP and not sheet.licensed
    lines = [(words.say(f"hold.tier_{tier}"), False)]
    for docket in dockets:
        assert docket.hold is not None
        lines.append((f"{docket.label}: {words.word('sheets.standing', docket.answer)}.", True))
        lines += [(line, False) for line in _told(words, docket.hold)]
    for hold in loose:
        lines.append((f"{words.say('hold.loose')}:", True))
        lines += [(line, False) for line in _told(words, hold)]
    zones = sorted({zone for docket in dockets if docket.hold for zone in docket.hold.zones})
    zones += sorted({zone for hold in loose for zone in hold.zones} - set(zones))
    lines += [(words.say("hold.zone", zone=zone), False) for zone in zones]
    lines.append((cautions_of(words, sheet, tier), False))
    lines.append((f"{words.say('cautions.law')} {words.say('hold.no_place')}", True))
    return _boxed(pen, _heading(words, tier, [one.answer for one in dockets], striped), lines, width, striped=striped)


def docket_banner(pen: Pen, words: Words, sheet: ContextSheet, docket: Docket, width: float) -> Box | None:
    """The banner at the docket, with the hold's log; None if no hold follows it."""
    hold = docket.hold
    if hold is None:
        return None
    striped = hold.state == "open" and hold.tier == human.STOP and not sheet.licensed
    lines = [(words.say("hold.standing", answer=words.word("sheets.standing", docket.answer)), True)]
    if hold.state == "open":
        heading = _heading(words, hold.tier, [docket.answer], striped)
        placed = {True: "in_place", False: "lifted", None: "place_unsaid"}[hold.in_place]
        if hold.tier == human.STOP or hold.in_place:
            lines.append((words.say(f"hold.{placed}"), False))
        if hold.tier == human.QUERY:
            lines.append((words.say("hold.tier_query"), False))
        if not hold.written:
            lines.append((words.say("hold.unwritten"), True))
    else:
        heading = words.say(f"hold.heading_{hold.state}")
        lines.append((words.say(f"hold.{hold.state}"), False))
    if hold.state == "open":
        lines += [(words.say("hold.zone", zone=zone), False) for zone in hold.zones]
        if not any(step.what in _TOLD for step in hold.steps):
            lines.append((words.say("hold.nobody"), True))
    for number in hold.skeleton:
        lines.append((words.say("hold.skeleton", number=number), False))
    if hold.charnel:
        lines.append((words.say("hold.charnel"), False))
    lines += [(_step(words, step), False) for step in hold.steps]
    if hold.state == "open":
        lines.append((f"{words.say('cautions.law')} {words.say('hold.no_place')}", False))
    return _boxed(pen, heading, lines, width, striped=striped, size=TABLE)


def _heading(words: Words, tier: str, answers: Sequence[str], striped: bool) -> str:
    if answers and all(one == human.HUMAN for one in answers):
        return words.say("hold.heading_human")
    return words.say("hold.heading_stop" if striped and tier == human.STOP else "hold.heading")


def cautions_of(words: Words, sheet: ContextSheet, tier: str) -> str:
    """What binds while a hold stands: the licence's conditions, or the steps of its tier."""
    if sheet.licensed:
        return words.say("cautions.licensed", licence=sheet.licence or words.say("no_licence"))
    return words.say(f"cautions.{tier}")


def _told(words: Words, hold: Hold) -> list[str]:
    return [_step(words, step) for step in hold.steps if step.what in _TOLD] or [words.say("hold.nobody")]


def _step(words: Words, step: Step) -> str:
    return words.say(
        "hold.step",
        what=words.word("sheets.step", step.what),
        whom=words.word("sheets.whom", step.whom) if step.whom else words.say("hold.whom_unsaid"),
        how=words.say("hold.how", how=words.word("sheets.how", step.how)) if step.how else "",
        # The log may have been written up later than it happened.
        at="" if step.at == step.said.at else words.say("hold.at", at=words.when(step.at)),
        said=words.said(step.said),
    )


def _boxed(
    pen: Pen, heading: str, lines: Sequence[tuple[str, bool]], width: float, *, striped: bool, size: float = BODY
) -> Box:
    rule, doubled = (THICK, 1) if striped else (THIN, 2)
    room = frame_room(width, line=rule, lines=doubled)
    texts = [Text(pen, text, room, size, bold=bold) for text, bold in lines]
    inside = Stack([Text(pen, heading, room, size + 4, bold=True), *texts], gap=0.8)
    framed = Frame(inside, width, line=rule, lines=doubled)
    return Stack([Hazard(width, 5.0), framed, Hazard(width, 5.0)]) if striped else framed
