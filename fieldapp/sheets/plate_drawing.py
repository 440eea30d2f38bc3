"""Portion plates on paper: a plate with its states, and the legend of the patterns.

For: drawing what fieldapp.domain.plates works out, by line and dot alone: a copier keeps those and loses greys.
Not for: deciding what stands beside a plate (docket_block).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from fieldapp import assets
from fieldapp.domain.plates import (
    STATES,
    Edges,
    Pattern,
    Plate,
    Polyline,
    edges,
    fitted,
    hatch,
    mirrored,
    pattern,
    read_plate,
)
from fieldapp.sheets.boxes import Box, Stack, Text
from fieldapp.sheets.pen import HAIR, THIN, Pen, Point
from fieldapp.sheets.type import TABLE
from fieldapp.sheets.words import Words

_DOT = 0.65
"""A printed dot is square, and ink spreads: drawn smaller than on a screen it looks the same."""
UNKNOWN = "not_examined"
"""What a portion is drawn as when its state is none this version knows; the words beside it give it as it came."""

_KEPT = 500

Size = tuple[float, float]
Key = tuple[str, str, str, Size]


class PlateBook:
    """Plates by form and element, with their geometry at each printed size worked out once.

    `find` gives the plate of (form, element) as drawn, or None. One book may serve many sheets.
    """

    def __init__(self, find: Callable[[str, str], Plate | None]) -> None:
        self._find = find
        self._drawn: dict[tuple[str, str], Plate | None] = {}
        self._placed: dict[Key, Plate] = {}
        self._patterns: dict[tuple[Key, str, str], Pattern] = {}
        self._edges: dict[tuple[Key, tuple[tuple[str, str], ...]], Edges] = {}

    def plate(self, form: str, element: object) -> Plate | None:
        """The plate as drawn, or None if there is none."""
        if not form or not isinstance(element, str):
            return None
        if (form, element) not in self._drawn:
            self._drawn[form, element] = self._find(form, element)
        return self._drawn[form, element]

    def placed(self, key: Key) -> Plate:
        """The plate of (form, element, side, size) in a box of that size at (0, 0), in millimetres."""
        if key not in self._placed:
            form, element, side, (width, height) = key
            plate = self.plate(form, element)
            assert plate is not None
            turned = mirrored(plate) if side not in (plate.side, "") else plate
            self._placed[key] = fitted(turned, 0, 0, width, height)
        return self._placed[key]

    def pattern(self, key: Key, portion: str, state: str) -> Pattern:
        """What fills a portion in a state."""
        if (key, portion, state) not in self._patterns:
            self._patterns[key, portion, state] = pattern(self.placed(key), portion, state, 1.0)
        return self._patterns[key, portion, state]

    def edges(self, key: Key, states: Mapping[str, str]) -> Edges:
        """The borders of the portions in their states."""
        whole = (key, tuple(states.items()))
        if whole not in self._edges:
            # A cabin keeps its book for months, and states combine in many ways.
            if len(self._edges) >= _KEPT:
                self._edges.clear()
            self._edges[whole] = edges(self.placed(key), states, 1.0)
        return self._edges[whole]


def bundled_plates() -> PlateBook:
    """The plates shipped with the program."""

    def find(form: str, element: str) -> Plate | None:
        return read_plate(assets.plate_svg(form, element)) if assets.has_plate(form, element) else None

    return PlateBook(find)


class PlateDrawing(Box):
    """A plate with the states of its portions. States of portions that it lacks are not drawn."""

    has_plate = True

    def __init__(self, book: PlateBook, key: Key, states: Mapping[str, object]) -> None:
        self.book, self.key = book, key
        self.width, self.height = key[3]
        self.states = {
            portion: state if isinstance(state := states.get(portion), str) and state in STATES else UNKNOWN
            for portion in book.placed(key).portions
        }

    def draw(self, pen: Pen, x: float, y: float) -> None:
        for portion, state in self.states.items():
            filled = self.book.pattern(self.key, portion, state)
            if filled.lines:
                pen.lines(_moved(filled.lines, x, y), filled.style.line)
            if filled.dots:
                pen.dots([(a + x, b + y) for a, b in filled.dots], filled.style.dot * _DOT)
        pen.lines(_moved(self.book.placed(self.key).landmarks, x, y), HAIR)
        borders = self.book.edges(self.key, self.states)
        pen.lines(_moved(borders.dashed, x, y), THIN)
        pen.lines(_moved(borders.solid, x, y), THIN)


def plate_box(
    pen: Pen,
    words: Words,
    book: PlateBook,
    form: str,
    element: object,
    side: object,
    states: Mapping[str, object],
    size: Size,
) -> Stack | None:
    """A plate with its side and view in words below; None if none is drawn for it."""
    plate = book.plate(form, element)
    if plate is None:
        return None
    view = words.word("sheets.view", plate.view)
    if side in ("left", "right"):
        caption = words.say("plate.caption", side=words.word("side", side), view=view)
    else:
        caption = words.say("plate.unsided", side=words.word("side", plate.side), view=view)
    drawing = PlateDrawing(book, (form, str(element), str(side) if side in ("left", "right") else "", size), states)
    return Stack([drawing, Text(pen, caption, size[0], TABLE)], gap=1.0)


class Legend(Box):
    """The patterns and what they mean, in one line."""

    SWATCH = (8.0, 4.6)

    def __init__(self, pen: Pen, words: Words, width: float) -> None:
        self.width, self.height = width, self.SWATCH[1] + 1.0
        self.lead = words.say("legend")
        self.entries = [(state, words.word("portion_state", state)) for state in STATES]
        wide = [pen.type.width(text, TABLE) + self.SWATCH[0] + 1.4 for _, text in self.entries]
        left = width - pen.type.width(self.lead, TABLE) - sum(wide)
        self.between = max(left / len(wide), 2.0)

    def draw(self, pen: Pen, x: float, y: float) -> None:
        wide, high = self.SWATCH
        baseline = y + high / 2 + 1.15
        pen.text(x, baseline, self.lead, TABLE)
        x += pen.type.width(self.lead, TABLE) + self.between
        for state, text in self.entries:
            style = STATES[state]
            corners = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]
            if style.hatch:
                pen.lines(hatch(corners, style.hatch[0], style.hatch[1]), style.line)
            if style.dots:
                pen.dots([(x + wide / 2 + style.dots * (n - 1), y + high / 2) for n in range(3)], style.dot * _DOT)
            pen.lines([(*corners, corners[0])] if style.edge == "solid" else _dashed(corners), THIN)
            pen.text(x + wide + 1.4, baseline, text, TABLE)
            x += wide + 1.4 + pen.type.width(text, TABLE) + self.between


def _dashed(corners: list[Point]) -> list[Polyline]:
    (left, top), (right, _), (_, bottom), _ = corners
    dashes: list[Polyline] = []
    for n in range(3):
        start = left + n * (right - left) / 3 + 0.4
        dashes += [((start, one), (start + 1.8, one)) for one in (top, bottom)]
    middle = (top + bottom) / 2
    return dashes + [((one, middle - 1.0), (one, middle + 1.0)) for one in (left, right)]


def _moved(lines: Iterable[Polyline], x: float, y: float) -> list[Polyline]:
    return [tuple((a + x, b + y) for a, b in line) for line in lines]
