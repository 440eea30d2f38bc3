"""The hold log as a PDF: what was done about bone that may be human, who was told, every reading, and room to go on by
hand when everything fails.

For: `render_hold`, from a docket as it is gathered to the bytes of a file (PDF/A-1b). Not for: where exactly the bone
lies, which is sealed and never printed; nor for who may have the free words (the caller says).
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from datetime import datetime

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.records.place import Place
from fieldapp.sheets.boxes import Box, Frame, Row, Rule, Space, Stack, Text, frame_room, table
from fieldapp.sheets.docket_block import human_box
from fieldapp.sheets.entries import ContextSheet, Docket, Hold, Step
from fieldapp.sheets.hold_banner import Hazard, cautions_of
from fieldapp.sheets.page import ROOM, draw, paginate
from fieldapp.sheets.pen import HAIR, HEIGHT, MARGIN, THIN, WIDTH, Pen
from fieldapp.sheets.type import BODY, LEAD, MM, TABLE
from fieldapp.sheets.versions import facts
from fieldapp.sheets.words import Words

_TOP, _FOOT = MARGIN + 9.0, 12.0
BY_HAND, LINE = 6, 13.0
"""Empty lines to be filled in with a pencil, and how high each is, mm."""
ROWS = 6
"""Lines of the log that stay together on a page."""


def render_hold(sheet: ContextSheet, docket: Docket, texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """The hold log of one docket of a sheet. Free words are in it where the sheet was gathered with
    them (`hold_words`).

    Raises ValueError for a docket without a hold, and for a time without a zone.
    """
    hold = docket.hold
    if hold is None:
        raise ValueError("the docket has no hold")
    words = Words(texts)
    title = f"{sheet.site_code} {words.say('hold_log.of', label=docket.label)}".strip()
    pen = Pen(
        assets.font(),
        assets.font(bold=True),
        title=title,
        subject=words.say("hold_log.subject"),
        lang=texts.get("language", "en"),
        made_by="Bonedocket",
        at=printed_at,
    )

    def head(pen: Pen, page: int, of: int) -> None:
        if page > 1:
            pen.text(MARGIN, MARGIN + BODY * MM, title, BODY, bold=True)
            pen.line(MARGIN, MARGIN + 6, WIDTH - MARGIN, MARGIN + 6, THIN)

    def foot(pen: Pen, page: int, of: int, has_plate: bool) -> None:
        y, pitch = HEIGHT - MARGIN - _FOOT + 3, TABLE * MM * LEAD
        pen.line(MARGIN, y, WIDTH - MARGIN, y, HAIR)
        count = words.say("page", page=page, of=of)
        printed = words.say(
            "footer_printed", at=words.when(printed_at.isoformat()), source=sheet.source, format=sheet.format
        )
        pen.text(MARGIN, y + pitch, printed, TABLE)
        pen.text(WIDTH - MARGIN - pen.bold_type.width(count, TABLE), y + 2 * pitch, count, TABLE, bold=True)
        pen.text(MARGIN, y + 2 * pitch, words.say("hold_log.closed"), TABLE)

    with closing(pen):
        boxes = _blocks(pen, words, sheet, docket, hold)
        pages = paginate(boxes, first_top=MARGIN, top=_TOP, bottom=HEIGHT - MARGIN - _FOOT)
        draw(pen, pages, head, foot)
        return pen.bytes()


def _blocks(pen: Pen, words: Words, sheet: ContextSheet, docket: Docket, hold: Hold) -> list[Box]:
    striped = hold.state == "open" and hold.tier == human.STOP and not sheet.licensed
    heading = f"heading_{hold.state}" if hold.state != "open" else "heading_stop" if striped else "heading"
    top = Row(
        [
            Text(pen, f"{sheet.site_code}  {sheet.site_name}".strip(), ROOM - 62, BODY + 2, bold=True),
            Text(pen, words.say("hold_log.title"), 60.0, BODY + 2, right=True),
        ],
        2.0,
    )
    context = words.say("context", number=sheet.number or words.say("no_number"))
    boxes: list[Box] = [
        Stack([top, Text(pen, f"{docket.label}  ·  {context}", ROOM, 18, bold=True), Rule(ROOM, THIN)], gap=0.8)
    ]
    inside = Text(pen, words.say(f"hold.{heading}"), frame_room(ROOM), BODY + 3, bold=True)
    framed = Frame(inside, ROOM)
    boxes.append(Stack([Hazard(ROOM, 4.0), framed, Hazard(ROOM, 4.0)]) if striped else framed)
    boxes.append(facts(pen, _facts(words, sheet, docket, hold), ROOM, 34))
    cautions = [] if hold.state != "open" else [cautions_of(words, sheet, hold.tier)]
    cautions += [f"{words.say('cautions.law')} {words.say('hold_log.advice')} {words.say('hold.no_place')}"]
    boxes.append(_titled(pen, words.say("hold_log.cautions"), [Text(pen, one, ROOM, BODY) for one in cautions]))
    if sheet.licensed and sheet.conditions:
        told: list[Box] = [Text(pen, one, ROOM, BODY) for one in sheet.conditions]
        boxes.append(_titled(pen, words.say("hold_log.conditions", licence=sheet.licence), told))
    if sheet.place is not None:
        rules = [*sheet.place.rules, words.say("hold_log.place_source", **_sourced(words, sheet.place))]
        boxes.append(_titled(pen, words.say("hold_log.place"), [Text(pen, one, ROOM, BODY) for one in rules]))
    boxes += _log(pen, words, hold, sheet.hold_words)
    reasons = [Text(pen, one, ROOM, TABLE) for one in _reasons(words, docket)] if sheet.hold_words else []
    boxes.append(_titled(pen, words.say("hold_log.answers"), [human_box(pen, words, docket, ROOM), *reasons]))
    boxes.append(_by_hand(pen, words))
    return boxes


def skeleton(words: Words, hold: Hold) -> str:
    """Of which skeleton it is, or that it is charnel, or that neither is recorded."""
    said = [*hold.skeleton, *([words.say("hold.charnel")] if hold.charnel else [])]
    return "; ".join(said) or words.say("not_recorded")


def _titled(pen: Pen, title: str, boxes: list[Box]) -> Stack:
    return Stack([Text(pen, title, ROOM, BODY + 1, bold=True), *boxes], gap=1.0)


def _facts(words: Words, sheet: ContextSheet, docket: Docket, hold: Hold) -> list[tuple[str, str, str]]:
    lies = {True: "in_place", False: "lifted", None: "place_unsaid"}[hold.in_place]
    rows = [
        (words.say("human"), words.word("sheets.standing", docket.answer), ""),
        *([(words.say("hold_log.tier"), words.say(f"hold.tier_{hold.tier}"), "")] if hold.state == "open" else []),
        (words.say("hold_log.lies"), words.say(f"hold.{lies}"), ""),
        (words.say("hold_log.zone"), "; ".join(hold.zones) or words.say("not_recorded"), ""),
    ]
    if sheet.licensed or hold.skeleton or hold.charnel:
        rows.append((words.say("hold_log.skeleton"), skeleton(words, hold), ""))
    if hold.state != "open":
        rows.append(("", words.say(f"hold.{hold.state}"), ""))
    if not hold.written:
        rows.append(("", words.say("hold.unwritten"), ""))
    return rows


def _reasons(words: Words, docket: Docket) -> list[str]:
    """What each assessment gives as its reasons, what it ruled out, and what it compared with."""
    lines = []
    for one in docket.assessments:
        value = one.value if isinstance(one.value, Mapping) else {}
        said = [(name, value.get(name)) for name in ("reasons", "ruled_out", "comparison")]
        told = [f"{words.say(f'hold_log.{name}')}: {text}" for name, text in said if isinstance(text, str) and text]
        if told:
            lines.append(f"{words.said(one.said)}. {'; '.join(told)}")
    return lines


def _sourced(words: Words, place: Place) -> dict[str, str]:
    return {"source": place.source or words.say("not_recorded"), "checked": place.checked or words.say("not_recorded")}


def _log(pen: Pen, words: Words, hold: Hold, with_words: bool) -> list[Box]:
    if not hold.steps:
        return [_titled(pen, words.say("hold_log.log"), [Text(pen, words.say("hold_log.none"), ROOM, BODY, bold=True)])]
    head = [words.say(f"hold_log.{one}") for one in ("at", "what", "whom", "words", "by")]
    widths = [43.0, 27.0, 28.0, ROOM - 43 - 27 - 28 - 47 - 8, 47.0]
    rows = [
        [
            words.when(one.at),
            words.word("sheets.step", one.what),
            ", ".join(part for part in (_named(words, "whom", one.whom), _named(words, "how", one.how)) if part),
            _free(words, one) if with_words else "",
            words.said(one.said),
        ]
        for one in hold.steps
    ]
    tables: list[Box] = [table(pen, head, rows[at : at + ROWS], widths) for at in range(0, len(rows), ROWS)]
    if not with_words:
        tables.append(Text(pen, words.say("hold_log.words_left_out"), ROOM, TABLE))
    return [_titled(pen, words.say("hold_log.log"), tables[:1]), *tables[1:]]


def _named(words: Words, of: str, value: object) -> str:
    return words.word(f"sheets.{of}", value) if value else ""


def _free(words: Words, step: Step) -> str:
    held = [f"{words.say(f'custody.{name}')}: {told}" for name, told in step.custody]
    return "; ".join(part for part in (step.ref, *held, step.note) if part)


def _by_hand(pen: Pen, words: Words) -> Stack:
    head = [words.say(f"hold_log.hand.{one}") for one in ("at", "from", "to", "for", "kept")]
    widths = [22.0, 40.0, 40.0, 38.0, ROOM - 22 - 40 - 40 - 38 - 8]
    lines: list[Box] = [table(pen, head, [], widths)]
    for _ in range(BY_HAND):
        lines += [Space(LINE), Rule(ROOM, HAIR)]
    return _titled(pen, words.say("hold_log.hand"), [Stack(lines)])
