"""Whole skeletons on paper: which bones of which bodies a context holds, at a glance.

For: the maps of a sheet, with their legend. Not for: the numbers beside them (figures) or single bones (plate_drawing).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from fieldapp import assets
from fieldapp.domain.bodies import Piece, on_skeletons, piece
from fieldapp.domain.plates import NUMBERS, WEIGHTS, SkeletonMap, fitted_map, hatch, look, marks
from fieldapp.sheets.boxes import Box, Row, Space, Stack, Text
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.pen import HAIR, PAPER, THIN, Pen
from fieldapp.sheets.plate_drawing import moved
from fieldapp.sheets.type import TABLE
from fieldapp.sheets.words import Words

SIZE = (60.0, 52.0)
ACROSS = 3


class SkeletonFigure(Box):
    """One skeleton with the numbers of pieces."""

    def __init__(self, form: str, numbers: Mapping[str, int]) -> None:
        self.width, self.height = SIZE
        self.form, self.numbers = form, numbers

    def draw(self, pen: Pen, x: float, y: float) -> None:
        shown = _placed(self.form)
        pen.lines(moved(shown.lines, x, y), HAIR)
        for bone in shown.bones:
            number = self.numbers.get(bone.element, 0)
            (shape,) = moved([bone.shape], x, y)
            # What lies behind is covered, so that the fore limb stands before the ribs.
            pen.fill(shape, PAPER)
            style = look(number)
            if style:
                pen.lines(moved(marks(bone, number, 1.0), x, y), max(HAIR, style.line))
            pen.lines([[*shape, shape[0]]], WEIGHTS.dashed if style else HAIR)


class _Legend(Box):
    """The patterns and the numbers they stand for."""

    def __init__(self, pen: Pen, words: Words, width: float) -> None:
        self.width, self.height = width, 4.6
        self.lead = words.say("skeletons.legend")
        bounds = [least for least, _ in NUMBERS]
        self.names = [
            words.say("skeletons.range", low=low, high=high - 1) if high else words.say("skeletons.more", low=low)
            for low, high in zip(bounds, [*bounds[1:], 0], strict=True)
        ]

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.text(x, y + 3.2, self.lead, TABLE)
        x += pen.type.width(self.lead, TABLE) + 4
        for (_, style), name in zip(NUMBERS, self.names, strict=True):
            corners = [(x, y), (x + 8, y), (x + 8, y + 4), (x, y + 4)]
            assert style.hatch is not None
            pen.lines(hatch(corners, *style.hatch), max(HAIR, style.line))
            pen.lines([[*corners, corners[0]]], THIN)
            pen.text(x + 9.5, y + 3.2, name, TABLE)
            x += 9.5 + pen.type.width(name, TABLE) + 6


def skeletons(pen: Pen, words: Words, sheet: ContextSheet, width: float) -> Stack | None:
    """The skeletons of the context's animals; None if no piece can be shown on one."""
    found = on_skeletons(assets.knowledge(), assets.skeleton_elements(), assets.skeleton_form, _pieces(sheet))
    if not found.numbers:
        return None
    cells = [
        Stack([SkeletonFigure(form, numbers), Text(pen, _said(words, form, numbers), SIZE[0], TABLE)], 0.6)
        for form, numbers in found.numbers.items()
    ]
    rows: list[Box] = [
        Row(cells[at : at + ACROSS], (width - ACROSS * SIZE[0]) / (ACROSS - 1)) for at in range(0, len(cells), ACROSS)
    ]
    boxes: list[Box] = [Text(pen, words.say("skeletons"), width, TABLE, bold=True), *rows, _Legend(pen, words, width)]
    if found.elsewhere:
        boxes += [Space(0.4), Text(pen, words.say("skeletons.elsewhere", n=found.elsewhere), width, TABLE)]
    return Stack(boxes, 1.2)


def _said(words: Words, form: str, numbers: Mapping[str, int]) -> str:
    return words.say("skeletons.of", form=words.word("form", form), n=sum(numbers.values()))


def _pieces(sheet: ContextSheet) -> list[Piece]:
    return [
        piece(one.reading.element, one.reading.taxon, one.count)
        for one in sheet.dockets
        if one.life != "deleted" and one.reading is not None
    ]


@lru_cache(maxsize=16)
def _placed(form: str) -> SkeletonMap:
    return fitted_map(assets.skeleton(form), 0, 0, *SIZE)
