"""Where the parts of a slip's screen stand: beside each other on a lying tablet, over each other on a standing one.

The plate takes all the height there is. Not here: what the parts show (slip, form, card).
"""

from __future__ import annotations

from typing import Any, NamedTuple

from fieldapp.domain.plates import Plate
from fieldapp.ui.presenters.fields import Room
from fieldapp.ui.theme import theme

SIDE, TOP, FOOT = 4.0, 3.0, 4.0
"""Millimetres kept free round everything."""
HEAD, HEAD_TALL = 13.4, 10.8
"""Millimetres of the slip over its tabs, lying and standing."""
RIM = 1.6
"""Millimetres of the slip round its tabs."""
CAPTION = 4.2
INTRO, ASKS = 8.0, 4.0
"""Millimetres of the line over a body: of two lines, and of one."""


class Box(NamedTuple):
    """A box in pixels."""

    x: float
    y: float
    width: float
    height: float

    @property
    def top(self) -> float:
        """Its upper edge."""
        return self.y + self.height

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.x + self.width


class Layout:
    """The boxes of a slip's screen. Made anew for each size."""

    def __init__(self, screen: Any) -> None:
        mm = theme.mm
        gap, target = mm(theme.gap), mm(theme.target)
        self.whole = Box(*screen.pos, *screen.size)
        self.tall = screen.height > screen.width
        foot = mm(TOP if self.tall else FOOT)
        inner = Box(screen.x + mm(SIDE), screen.y + foot, screen.width - 2 * mm(SIDE), screen.height - mm(TOP) - foot)
        self.strip = mm(theme.strip) + gap
        if self.tall:
            rows = 2 * target + gap
            slip = mm(HEAD_TALL) + rows + mm(RIM)
            self.slip = Box(inner.x, inner.top - slip, inner.width, slip)
            self.actions = Box(inner.x, inner.y, inner.width, target)
            low = self.actions.top + gap
            self.middle = Box(inner.x, low, inner.width, self.slip.y - gap - low)
            self.high = self.middle
        else:
            wide, column = 2 * target + gap + 2 * mm(RIM), max(mm(theme.actions), target)
            left, right = (column, wide) if theme.left_handed else (wide, column)
            near = Box(inner.x, inner.y, left, inner.height)
            far = Box(inner.right - right, inner.y, right, inner.height)
            self.slip, self.actions = (far, near) if theme.left_handed else (near, far)
            self.middle = Box(near.right + gap, inner.y, far.x - near.right - 2 * gap, inner.height)
            # A plate may use the rim as well.
            self.high = Box(self.middle.x, screen.y + mm(1.2), self.middle.width, screen.height - mm(2.4))
        # What is free where there is no slip.
        if self.tall:
            self.free = Box(inner.x, self.actions.top + gap, inner.width, inner.top - self.actions.top - gap)
        else:
            left = self.actions.right + gap if theme.left_handed else inner.x
            right = inner.right if theme.left_handed else self.actions.x - gap
            self.free = Box(left, inner.y, right - left, inner.height)
        self.tabs = Box(
            self.slip.x + mm(RIM),
            self.slip.y + mm(RIM),
            self.slip.width - 2 * mm(RIM),
            self.slip.height - mm(HEAD_TALL if self.tall else HEAD),
        )

    def room(self, width: float, height: float, target: float = 0.0) -> Room:
        """How many pads of full size, or of `target` millimetres, a box takes."""
        # In pixels, as pads are placed: none may be a pixel short.
        gap = theme.mm(theme.gap)
        step = theme.mm(target or theme.pad) + gap
        return Room(max(2, int((width + gap) // step)), max(1, int((height + gap) // step)))

    def body(self, intro: float) -> Box:
        """The box of a field's pads, over the strip and under a line of `intro` millimetres."""
        middle = self.middle
        over = theme.mm(intro) if intro else 0
        return Box(middle.x, middle.y + self.strip, middle.width, middle.height - self.strip - over)

    def below(self, plate: Plate) -> bool:
        """Whether a plate is larger over its buttons than beside them."""
        rows = theme.mm(theme.strip) + theme.mm(2 * theme.target + 2 * theme.gap) + theme.mm(7)
        over = min(self.middle.width / plate.width, (self.middle.height - rows) / plate.height)
        return bool(over > self.tall_width(plate) / plate.width)

    def tall_width(self, plate: Plate) -> float:
        """Width in pixels of a plate that takes the whole height, with room left for three buttons beside it."""
        least = theme.mm(3 * theme.target + 2 * theme.gap + 1) + theme.mm(theme.gap)
        return float(min(self.high.height * plate.width / plate.height, self.middle.width - least))

    def plate(self, plate: Plate) -> tuple[Box, Box]:
        """(the plate's box, the box of the buttons with it, over the strip and the caption)."""
        middle, gap = self.middle, theme.mm(theme.gap)
        low = middle.y + self.strip + theme.mm(CAPTION)
        if self.below(plate):
            rows = Box(middle.x, low, middle.width, span(2))
            floor = rows.top + theme.mm(1)
            return Box(middle.x, floor, middle.width, self.high.top - floor), rows
        drawn = Box(middle.x, self.high.y, self.tall_width(plate), self.high.height)
        left = drawn.right + gap
        return drawn, Box(left, low, middle.right - left, middle.top - low)

    def keypad(self, columns: int, rows: int) -> tuple[Box, Box]:
        """(the keypad's box, what is left beside it)."""
        middle, gap = self.middle, theme.mm(theme.gap)
        for target in (theme.pad, theme.target):
            # Gloves get larger keys only where what belongs beside them still has its place.
            wide, high = span(columns, target), span(rows, target)
            left = middle.x + wide + gap
            if middle.right - left >= span(2) and middle.height >= high + theme.mm(ASKS + INTRO):
                break
        return Box(middle.x, middle.y, wide, high), Box(left, middle.y, middle.right - left, middle.height)


def span(pads: int, target: float = 0.0) -> float:
    """Pixels of so many pads of full size, or of `target` millimetres, beside each other, none a pixel short."""
    return pads * theme.mm(target or theme.target) + (pads - 1) * theme.mm(theme.gap)


def put(widget: Any, box: Box) -> None:
    """Places a widget."""
    widget.pos, widget.size = (box.x, box.y), (box.width, box.height)


def away(widget: Any) -> None:
    """Puts a widget out of sight."""
    widget.pos = (-10 * max(1.0, widget.width), 0)
