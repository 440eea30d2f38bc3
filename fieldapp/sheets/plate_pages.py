"""The plates on paper: a contact sheet for people, and sheets without a word for those who name them blind.

For: `contact_sheet` and `blind_sheet`, from plates to the bytes of a PDF. Not for: plates with the states of a record
(plate_drawing).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import datetime

from fieldapp import assets
from fieldapp.domain.gallery import PlateRow
from fieldapp.domain.plates import PLAIN, Plate, edges, fitted, weighted, widest
from fieldapp.sheets.boxes import Box, Row, Rule, Space, Stack, Text
from fieldapp.sheets.page import ROOM, draw, paginate
from fieldapp.sheets.pen import HAIR, HEIGHT, MARGIN, PAPER, Pen
from fieldapp.sheets.plate_drawing import moved
from fieldapp.sheets.type import BODY, LEAD, MM, TABLE
from fieldapp.sheets.words import Words

GAP = 6.0
TALL, WIDE = (34.0, 60.0), (60.0, 40.0)
"""Boxes of a drawing on the contact sheet, mm: a plate must read at 60."""
BLIND = (60.0, 66.0)
_FIGURE = 7.0
_TOP, _FOOT = MARGIN + 8.0, 8.0


def contact_sheet(rows: Sequence[PlateRow], texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """Every plate with its portions numbered and named, and what tells the bone, as a PDF/A-1b file."""
    pen, words = _pen(texts, "title", printed_at), Words(texts)
    with closing(pen):
        cells = [_cell(pen, words, row) for row in rows]
        boxes: list[Box] = []
        for at in range(0, len(cells), 2):
            boxes += [Row(cells[at : at + 2], GAP)]
        return _pages(pen, words, boxes, 4.0)


def blind_sheet(plates: Sequence[Plate], texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """The plates in the order given, each with its number and nothing else, as a PDF/A-1b file."""
    pen, words = _pen(texts, "blind", printed_at), Words(texts)
    with closing(pen):
        cells = [
            Stack([Text(pen, str(number), BLIND[0], BODY, bold=True), PlateFigure(pen, plate, BLIND, False)], 1.0)
            for number, plate in enumerate(plates, 1)
        ]
        boxes: list[Box] = [Row(cells[at : at + 3], 5.0) for at in range(0, len(cells), 3)]
        return _pages(pen, words, boxes, 10.0)


class PlateFigure(Box):
    """A plate drawn plain in a box of `size`. `numbered`: each portion bears its number, in the plate's order."""

    def __init__(self, pen: Pen, plate: Plate, size: tuple[float, float], numbered: bool) -> None:
        self.width, self.height = size
        self.plate = fitted(plate, 0, 0, *size)
        self.numbers = list(enumerate(self.plate.portions.values(), 1)) if numbered else []
        self.type = pen.type

    def draw(self, pen: Pen, x: float, y: float) -> None:
        plate = self.plate
        for lines, width, _ in weighted(plate, edges(plate, dict.fromkeys(plate.portions, PLAIN), 1.0)):
            pen.lines(moved(lines, x, y), width)
        for number, polygon in self.numbers:
            a, b, _ = widest(polygon)
            wide = self.type.width(str(number), _FIGURE)
            high = _FIGURE * MM
            left, top = x + a - wide / 2, y + b - high / 2
            pen.fill(
                [
                    (left - 0.3, top),
                    (left + wide + 0.3, top),
                    (left + wide + 0.3, top + high),
                    (left - 0.3, top + high),
                ],
                PAPER,
            )
            pen.text(left, top + high * 0.86, str(number), _FIGURE)


def _cell(pen: Pen, words: Words, row: PlateRow) -> Box:
    plate = assets.plate(row.form, row.element, row.view)
    wide = (ROOM - GAP) / 2
    size = TALL if plate.height >= plate.width else WIDE
    title = words.say(
        "plates.of",
        element=words.word("element", row.element),
        form=words.word("form", row.form),
        view=words.word("view", row.view),
    )
    portions = "; ".join(
        f"{number} {words.texts[f'portion.{row.element}.{key}']}" for number, key in enumerate(plate.portions, 1)
    )
    after = words.say("plates.after", taxon=words.word("taxon", row.after))
    figure = PlateFigure(pen, plate, size, True)
    room = wide - size[0] - 3 if size == TALL else wide
    said = Stack(
        [
            Text(pen, portions, room, TABLE),
            Text(pen, words.texts[f"plate.{row.key}"], room, TABLE),
            Text(pen, after, room),
        ],
        1.2,
    )
    head = Text(pen, title, wide, BODY, bold=True)
    body: Box = Row([figure, Space(0), said], 1.5) if size == TALL else Stack([figure, said], 1.5)
    cell = Stack([Rule(wide, HAIR), head, body], 1.0)
    cell.width = wide
    return cell


def _pages(pen: Pen, words: Words, boxes: Sequence[Box], gap: float) -> bytes:
    title = words.say("plates.title")

    def head(pen: Pen, page: int, of: int) -> None:
        pen.text(MARGIN, MARGIN + TABLE * MM, title, TABLE, bold=True)
        said = words.say("page", page=page, of=of)
        pen.text(MARGIN + ROOM - pen.type.width(said, TABLE), MARGIN + TABLE * MM, said, TABLE)

    def foot(pen: Pen, page: int, of: int, has_plate: bool) -> None:
        pen.text(MARGIN, HEIGHT - MARGIN - TABLE * MM * (LEAD - 1), words.say("plates.foot"), TABLE)

    draw(pen, paginate(boxes, first_top=_TOP, top=_TOP, bottom=HEIGHT - MARGIN - _FOOT, gap=gap), head, foot)
    return pen.bytes()


def _pen(texts: Mapping[str, str], title: str, at: datetime) -> Pen:
    words = Words(texts)
    return Pen(
        assets.font(),
        assets.font(bold=True),
        title=words.say(f"plates.{title}"),
        subject=words.say("plates.subject"),
        lang=texts.get("language", "en"),
        made_by="Bonedocket",
        at=at,
    )
