"""Blank sheets for a pencil: when tablets fail, and for those who would rather write.

For: `render_blank`, the lines of a context and so many empty dockets. What stands on the full sheet has its place here,
the human question first of all. Not for: numbers of labels, which are handed out by a tablet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import datetime

from fieldapp.records.fold import Record
from fieldapp.records.place import conditions_of, is_licensed, place_of
from fieldapp.sheets.boxes import Box, Frame, Row, Stack, Text, frame_room
from fieldapp.sheets.edges import Edges, new_pen, top_of
from fieldapp.sheets.making import text
from fieldapp.sheets.page import ROOM, draw
from fieldapp.sheets.pen import HAIR, THIN, Pen
from fieldapp.sheets.plate_drawing import PlateBook, PlateOutline
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import Words

ROW = 8.5
"""Height of a line to write on, mm: cold hands write large."""
OUTLINE = ("tibia", "sheep", "left")
"""The bone whose outline stands for any long bone."""
_PLATE = (22.0, 54.0)
KNOWN = ("trench", "phase", "type")
"""What of a context that is known is printed: nobody writes it a second time, or another."""


class Line(Box):
    """A name and a line to write on; what is known stands on it."""

    def __init__(self, name: str, width: float, known: str = "") -> None:
        self.name, self.width, self.height, self.known = name, width, ROW, known

    def draw(self, pen: Pen, x: float, y: float) -> None:
        base = y + ROW - 1.2
        pen.text(x, base, self.name, TABLE)
        begun = x + pen.type.width(self.name, TABLE) + 1.2
        pen.line(begun, base + 0.6, x + self.width, base + 0.6, HAIR)
        if self.known:
            pen.text(begun + 1.2, base, self.known, TABLE, bold=True)


class Ticks(Box):
    """A name and boxes to tick."""

    SIDE = 4.0

    def __init__(self, name: str, choices: Sequence[str], width: float, *, bold: bool = False) -> None:
        self.name, self.choices, self.width, self.height, self.bold = name, choices, width, ROW, bold

    def draw(self, pen: Pen, x: float, y: float) -> None:
        base = y + ROW - 1.8
        pen.text(x, base, self.name, TABLE, bold=self.bold)
        face = pen.bold_type if self.bold else pen.type
        x += face.width(self.name, TABLE) + (2.5 if self.name else 0)
        for one in self.choices:
            pen.box(x, base - self.SIDE + 0.6, self.SIDE, self.SIDE, THIN)
            pen.text(x + self.SIDE + 1.2, base, one, TABLE, bold=self.bold)
            x += self.SIDE + 4.2 + face.width(one, TABLE)


def render_blank(
    site: Record | None,
    dockets: int,
    plates: PlateBook,
    texts: Mapping[str, str],
    printed_at: datetime,
    *,
    source: str,
    number: str = "",
    known: Mapping[str, str] | None = None,
    code: str = "",
) -> bytes:
    """An empty sheet with room for `dockets` fragments, as a PDF/A-1b file; `number`: of a context that is known, and
    `known` what is of it (see known_of); `code`: the site's, where its record has not come.

    Raises ValueError for a time without a zone.
    """
    words = Words(texts)
    code = (text(site.value("code")) if site else "") or code
    title = f"{code} {words.say('context', number=number)}".strip() if number else code
    with closing(new_pen(words, f"{title}: {words.say('blank.title')}", words.say("blank.subject"), printed_at)) as pen:
        edges = Edges(pen, words, title or words.say("blank.title"), printed_at, source, line=words.say("blank.foot"))
        boxes = _front(pen, words, site, code, number, known or {})
        boxes += [_docket(pen, words, plates, n) for n in range(1, dockets + 1)]
        draw(pen, edges.paginate(boxes, gap=3.0), edges.head, edges.foot)
        return pen.bytes()


def known_of(context: Record | None) -> dict[str, str]:
    """{path: value} of a context's trench, phase and type, as far as nobody disputes them."""
    if context is None:
        return {}
    said = {path: [*context.heads.get(path, {}).values()] for path in KNOWN}
    alike = {path: found[0] for path, found in said.items() if found and all(one == found[0] for one in found)}
    return {path: value for path, value in alike.items() if isinstance(value, str)}


def _front(pen: Pen, words: Words, site: Record | None, code: str, number: str, known: Mapping[str, str]) -> list[Box]:
    name = f"{code}  {text(site.value('name')) if site else ''}".strip()
    large = words.say("context", number=number or "…………")
    half = (ROOM - 4) / 2

    def pair(one: str, other: str) -> Row:
        return Row([Line(words.say(f"blank.{key}"), half, said.get(key, "")) for key in (one, other)], 4.0)

    said = {**known, "type": words.word("context_type", known["type"])} if known.get("type") else {**known}
    lines: list[Box] = [
        pair("trench", "phase"),
        pair("date", "by"),
        *([pair("type", "other")] if said.get("type") else _types(words)),
        Ticks(words.field("grave_like"), [words.word("grave_like", one) for one in ("yes", "no", "unknown")], ROOM),
        Row(
            [
                Ticks(words.field("recovery"), [words.word("recovery", one) for one in ("hand", "sieve")], half),
                Line(words.say("blank.mesh"), half),
            ],
            4.0,
        ),
        pair("bags", "box"),
    ]
    return [top_of(pen, words, name, words.say("blank.title"), large, ROOM), _caution(pen, words, site), Stack(lines)]


def _types(words: Words) -> list[Box]:
    types = [words.word("context_type", one) for one in _TYPES]
    return [Ticks(words.say("blank.type"), types, ROOM), Line(words.say("blank.other"), ROOM)]


_TYPES = ("pit_fill", "ditch_fill", "layer", "grave")


def _caution(pen: Pen, words: Words, site: Record | None) -> Frame:
    room = frame_room(ROOM, lines=2)
    zone = text(site.value("zone_text")).strip() if site else ""
    place = place_of(site)
    said = [(words.say("cautions.stop"), False)]
    if is_licensed(site):
        licence = text(site.value("licence")) if site else ""
        said = [(words.say("cautions.licensed", licence=licence or words.say("no_licence")), False)]
        said += [(one, False) for one in conditions_of(site)]
    if zone:
        said.append((words.say("hold.zone", zone=zone), False))
    if place is not None:
        said += [(one, False) for one in place.rules]
        sourced = {"source": place.source, "checked": place.checked}
        told = {key: value or words.say("not_recorded") for key, value in sourced.items()}
        said.append((words.say("hold_log.place_source", **told), False))
    said.append((f"{words.say('cautions.law')} {words.say('blank.tell')}", True))
    boxes = [Text(pen, one, room, TABLE, bold=bold) for one, bold in said]
    heading = Text(pen, words.say("blank.caution"), room, BODY + 2, bold=True)
    return Frame(Stack([heading, *boxes], gap=0.6), ROOM, lines=2)


def _docket(pen: Pen, words: Words, plates: PlateBook, n: int) -> Frame:
    room = frame_room(ROOM, line=THIN)
    element, taxon, side = OUTLINE
    (plate, *_) = plates.views(element, taxon, side, {})
    drawn = Stack(
        [PlateOutline(plates, plates.key(plate, _PLATE)), Text(pen, words.say("blank.outline"), 34.0, TABLE)], gap=1.0
    )
    drawn.width = 34.0
    wide = room - drawn.width - 3

    def row(*names: str) -> Row:
        part = (wide - 3 * (len(names) - 1)) / len(names)
        return Row([Line(words.say(f"blank.{one}"), part) for one in names], 3.0)

    answers = [words.say(f"blank.human.{one}") for one in ("no_sign", "not_excluded", "stop")]
    sides = [words.word("side", one) for one in ("left", "right", "unsided")]
    share = wide * 0.55
    lines: list[Box] = [
        row("label", "bag", "finder"),
        Ticks(words.say("blank.human"), answers, wide, bold=True),
        row("element", "taxon"),
        Row(
            [
                Ticks(words.say("blank.side"), sides, share),
                *(Line(words.say(f"blank.{one}"), (wide - share - 6) / 2) for one in ("count", "weight")),
            ],
            3.0,
        ),
        row("portions"),
        row("fusion"),
        row("marks"),
        row("measures", "note"),
    ]
    heading = Text(pen, str(n), 34.0, TABLE, bold=True)
    return Frame(Row([Stack([heading, drawn]), Stack(lines)], 3.0), ROOM, line=THIN, pad=1.5)
