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
    pattern,
    telling,
    weighted,
)
from fieldapp.sheets.boxes import Box, Space, Stack, Text
from fieldapp.sheets.pen import THIN, Pen, Point
from fieldapp.sheets.type import TABLE
from fieldapp.sheets.words import Words

_DOT = 0.65
"""A printed dot is square, and ink spreads: drawn smaller than on a screen it looks the same."""
UNKNOWN = "not_examined"
"""What a portion is drawn as when its state is none this version knows; the words beside it give it as it came."""
_KEPT = 500

Size = tuple[float, float]
Key = tuple[str, str, str, str, Size]
"""Form, element, view, side and size."""
Find = Callable[[str, str | None, str | None], tuple[Plate, ...]]


class PlateBook:
    """Plates with their geometry at each printed size worked out once.

    `find` gives the plates of (element, taxon, side), the first view first. One book may serve many sheets.
    """

    def __init__(self, find: Find) -> None:
        self._find = find
        self._placed: dict[Key, Plate] = {}
        self._patterns: dict[tuple[Key, str, str], Pattern] = {}
        self._edges: dict[tuple[Key, tuple[tuple[str, str], ...]], Edges] = {}

    def views(self, element: object, taxon: object, side: object, states: Mapping[str, object]) -> list[Plate]:
        """The first view of a bone, and each further one without which a portion that is there would not be seen."""
        if not isinstance(element, str):
            return []
        known, of = (one if isinstance(one, str) else None for one in (taxon, side))
        return telling(self._find(element, known, of), states)

    def key(self, plate: Plate, size: Size) -> Key:
        """What the book knows the plate by at a printed size."""
        key = (plate.form, plate.element, plate.view, plate.side, size)
        if key not in self._placed:
            self._placed[key] = fitted(plate, 0, 0, *size)
        return key

    def placed(self, key: Key) -> Plate:
        """The plate in a box of its size at (0, 0), in millimetres."""
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
    return PlateBook(assets.plates_of)


class PlateDrawing(Box):
    """A plate with the states of its portions. States of portions that it lacks are not drawn."""

    has_plate = True

    def __init__(self, book: PlateBook, key: Key, states: Mapping[str, object]) -> None:
        self.book, self.key = book, key
        self.width, self.height = key[-1]
        self.states = {
            portion: state if isinstance(state := states.get(portion), str) and state in STATES else UNKNOWN
            for portion in book.placed(key).portions
        }

    def draw(self, pen: Pen, x: float, y: float) -> None:
        for portion, state in self.states.items():
            filled = self.book.pattern(self.key, portion, state)
            if filled.lines:
                pen.lines(moved(filled.lines, x, y), filled.style.line)
            if filled.dots:
                pen.dots([(a + x, b + y) for a, b in filled.dots], filled.style.dot * _DOT)
        for lines, width, _ in weighted(self.book.placed(self.key), self.book.edges(self.key, self.states)):
            pen.lines(moved(lines, x, y), width)


class PlateOutline(Box):
    """A plate without states, to be filled in with a pencil."""

    def __init__(self, book: PlateBook, key: Key) -> None:
        self.book, self.key = book, key
        self.width, self.height = key[-1]

    def draw(self, pen: Pen, x: float, y: float) -> None:
        placed = self.book.placed(self.key)
        alike = dict.fromkeys(placed.portions, UNKNOWN)
        for lines, width, _ in weighted(placed, self.book.edges(self.key, alike)):
            pen.lines(moved(lines, x, y), width)


def plate_box(
    pen: Pen,
    words: Words,
    book: PlateBook,
    bone: tuple[object, object, object],
    states: Mapping[str, object],
    size: Size,
    form: str,
) -> Stack | None:
    """The plates of a bone (element, taxon, side) with form, side and view in words below; None if none is drawn.

    `size` is what a tall plate has; one that is wider than high takes more width and less height. `form` is that of
    the taxon: a plate of another form says that it is schematic.
    """
    plates = book.views(*bone, states)
    wide = max((_box_of(plate, size)[0] for plate in plates), default=0.0)
    boxes: list[Box] = []
    for plate in plates:
        drawing = PlateDrawing(book, book.key(plate, _box_of(plate, size)), states)
        boxes += [Space(1.0)] if boxes else []
        boxes += [drawing, Text(pen, _caption(words, plate, bone[2], form), wide, TABLE)]
    return Stack(boxes, gap=1.0) if boxes else None


def _box_of(plate: Plate, size: Size) -> Size:
    if plate.width <= plate.height:
        return size
    wide = max(size[0], size[1] * 1.1)
    return wide, round(wide * plate.height / plate.width, 2)


def _caption(words: Words, plate: Plate, side: object, form: str) -> str:
    key = "plate.caption" if side in (plate.side, "midline") or plate.side == "midline" else "plate.unsided"
    said = words.say(key, side=words.word("side", plate.side), view=words.word("view", plate.view))
    if form and plate.form != form:
        return words.say("plate.schematic", form=words.word("form", plate.form), said=said)
    return said


class Legend(Box):
    """The patterns and what they mean, in one line."""

    SWATCH = (8.0, 4.6)
    CLOSE = 2.0
    """Between two entries at the least, mm; where that is all, the line runs out of its width."""

    def __init__(self, pen: Pen, words: Words, width: float) -> None:
        self.width, self.height = width, self.SWATCH[1] + 1.0
        self.lead = words.say("legend")
        self.entries = [(state, words.say(f"legend.{state}")) for state in STATES]
        wide = [pen.type.width(text, TABLE) + self.SWATCH[0] + 1.4 for _, text in self.entries]
        left = width - pen.type.width(self.lead, TABLE) - sum(wide)
        self.between = max(left / len(wide), self.CLOSE)

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


def moved(lines: Iterable[Polyline], x: float, y: float) -> list[Polyline]:
    """Lines of a picture whose corner is at (0, 0), where the picture stands on the page."""
    return [tuple((a + x, b + y) for a, b in line) for line in lines]
