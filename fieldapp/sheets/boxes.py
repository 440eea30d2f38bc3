"""Boxes: pieces of a page that know their size before they are drawn.

For: text, stacks, rows, frames and tables, and where each may be parted when it is longer than a whole page.
Not for: pages themselves (page) or what is said (context_sheet). Sizes in millimetres; a box is made for one width.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from copy import copy

from fieldapp.sheets.pen import HAIR, Pen
from fieldapp.sheets.type import LEAD, MM, TABLE, Type


class Box:
    """A piece of a page.

    has_plate  the page it lands on needs the legend
    flows      a long list: it begins where there is room and goes on overleaf, also where it would fit on one page
    """

    width: float = 0.0
    height: float = 0.0
    has_plate: bool = False
    flows: bool = False

    def draw(self, pen: Pen, x: float, y: float) -> None:
        """Draws it with its upper left corner at (x, y)."""

    def split(self, room: float) -> tuple[Box, Box] | None:
        """A part no higher than `room` and the rest; None if it cannot be parted there."""
        return None


class Space(Box):
    """Nothing, so high."""

    def __init__(self, height: float) -> None:
        self.height = height


class Rule(Box):
    """A line across, with a little air below."""

    def __init__(self, width: float, line: float = HAIR, below: float = 1.0) -> None:
        self.width, self.line, self.height = width, line, line + below

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.line(x, y + self.line / 2, x + self.width, y + self.line / 2, self.line)


class Text(Box):
    """Words broken into lines, level on the left or on the `right`."""

    def __init__(
        self,
        pen: Pen,
        words: str,
        width: float,
        size: float = TABLE,
        *,
        bold: bool = False,
        right: bool = False,
    ) -> None:
        self.width, self.size, self.bold, self.right = width, size, bold, right
        self._set(_face(pen, bold).lines(words, size, width))

    def _set(self, lines: Sequence[str]) -> None:
        self.lines = lines
        self.pitch = self.size * MM * LEAD
        self.height = self.pitch * len(lines)

    def draw(self, pen: Pen, x: float, y: float) -> None:
        baseline = y + self.size * MM
        for line in self.lines:
            left = x + self.width - _face(pen, self.bold).width(line, self.size) if self.right else x
            pen.text(left, baseline, line, self.size, bold=self.bold)
            baseline += self.pitch

    def split(self, room: float) -> tuple[Box, Box] | None:
        fit = int(room / self.pitch + 1e-6)
        if not 0 < fit < len(self.lines):
            return None
        parts = []
        for lines in (self.lines[:fit], self.lines[fit:]):
            part = copy(self)
            part._set(lines)
            parts.append(part)
        return parts[0], parts[1]


def _face(pen: Pen, bold: bool) -> Type:
    return pen.bold_type if bold else pen.type


class Stack(Box):
    """Boxes one below the other. `again` heads what is left over after a split."""

    def __init__(self, boxes: Sequence[Box], gap: float = 0.0, again: Box | None = None) -> None:
        self.boxes, self.gap, self.again = list(boxes), gap, again
        self.width = max((box.width for box in self.boxes), default=0.0)
        self.height = sum(box.height for box in self.boxes) + gap * max(len(self.boxes) - 1, 0)
        self.has_plate = any(box.has_plate for box in self.boxes)

    def draw(self, pen: Pen, x: float, y: float) -> None:
        for box in self.boxes:
            box.draw(pen, x, y)
            y += box.height + self.gap

    def split(self, room: float) -> tuple[Box, Box] | None:
        used = 0.0
        for at, box in enumerate(self.boxes):
            if used + box.height > room:
                parts = box.split(room - used)
                before, after = self.boxes[:at], self.boxes[at:]
                if parts:
                    before, after = [*before, parts[0]], [parts[1], *after[1:]]
                if not before or before == [self.again]:
                    return None
                rest = [self.again, *after] if self.again else after
                parted = Stack(rest, self.gap, self.again)
                parted.flows = self.flows
                return Stack(before, self.gap, self.again), parted
            used += box.height + self.gap
        return None


class Whole(Stack):
    """Boxes that stay together: never parted, so never higher than a page."""

    def split(self, room: float) -> tuple[Box, Box] | None:
        return None


class Row(Box):
    """Boxes side by side, their upper edges level, `gap` between them. Each keeps its own width."""

    def __init__(self, boxes: Sequence[Box], gap: float = 0.0) -> None:
        self.boxes, self.gap = list(boxes), gap
        self.width = sum(box.width for box in self.boxes) + gap * max(len(self.boxes) - 1, 0)
        self.height = max((box.height for box in self.boxes), default=0.0)
        self.has_plate = any(box.has_plate for box in self.boxes)

    def draw(self, pen: Pen, x: float, y: float) -> None:
        for box in self.boxes:
            box.draw(pen, x, y)
            x += box.width + self.gap

    def split(self, room: float) -> tuple[Box, Box] | None:
        tops, rests = [], []
        for box in self.boxes:
            if box.height <= room:
                rest = Space(0.0)
                rest.width = box.width
                parts: tuple[Box, Box] | None = (box, rest)
            else:
                parts = box.split(room)
            if parts is None:
                return None
            for part in parts:
                # A part may be narrower than the whole was; the columns must stay where they are.
                part.width = box.width
            tops.append(parts[0])
            rests.append(parts[1])
        return Row(tops, self.gap), Row(rests, self.gap)


class Frame(Box):
    """A box with a line round it, and air between. `lines`: one line, or two for what must be seen."""

    def __init__(self, inside: Box, width: float, *, pad: float = 2.0, line: float = HAIR, lines: int = 1) -> None:
        self.inside, self.width, self.pad, self.line, self.lines = inside, width, pad, line, lines
        self.height = inside.height + 2 * self._inset
        self.has_plate = inside.has_plate

    @property
    def _inset(self) -> float:
        return self.pad + (2 * self.lines - 1) * self.line

    def draw(self, pen: Pen, x: float, y: float) -> None:
        for n in range(self.lines):
            inset = 2 * n * self.line
            pen.box(x + inset, y + inset, self.width - 2 * inset, self.height - 2 * inset, self.line)
        self.inside.draw(pen, x + self._inset, y + self._inset)

    def split(self, room: float) -> tuple[Box, Box] | None:
        parts = self.inside.split(room - 2 * self._inset)
        if parts is None:
            return None
        top, rest = (Frame(part, self.width, pad=self.pad, line=self.line, lines=self.lines) for part in parts)
        return top, rest


def frame_room(width: float, *, pad: float = 2.0, line: float = HAIR, lines: int = 1) -> float:
    """How wide the inside of a frame of `width` is."""
    return width - 2 * (pad + (2 * lines - 1) * line)


def table(
    pen: Pen,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    size: float = TABLE,
    *,
    right: Collection[int] = (),
    as_it_stands: bool = False,
    gap: float = 2.0,
    bold: Collection[int] = (),
) -> Stack:
    """A table with a rule below its head and below each row; the head comes again after a split. `right`: columns
    level on the right; `as_it_stands`: headings keep a small first letter; `gap`: between columns; `bold`: rows."""
    width = sum(widths) + gap * (len(widths) - 1)

    def line(cells: Sequence[str], heavy: bool) -> Row:
        # A symbol such as g or n means what it means as it stands.
        begun = [cell[:1].upper() + cell[1:] if len(cell) > 1 else cell for cell in cells]
        shown = begun if heavy and not as_it_stands else cells
        texts = [
            Text(pen, cell, wide, size, bold=heavy, right=n in right)
            for n, (cell, wide) in enumerate(zip(shown, widths, strict=True))
        ]
        return Row(texts, gap)

    top = Stack([line(head, True), Rule(width, below=0.8)])
    body = [Stack([line(row, n in bold), Rule(width, below=0.8)]) for n, row in enumerate(rows)]
    return Stack([top, *body], again=top)
