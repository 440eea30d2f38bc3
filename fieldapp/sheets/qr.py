"""A QR code as black squares on paper, so that a label can be read by a tablet.

Version 2 or higher: the smallest version has no inner pattern to take a slanting view by. Never the Micro kind, and the
level that is asked for. Not for: what a code says.
"""

from __future__ import annotations

from functools import lru_cache

import segno

from fieldapp.sheets.boxes import Box
from fieldapp.sheets.pen import Pen

QUIET = 4
"""Modules of white that a reader needs round the code."""


class Code(Box):
    """A code in a square of so many millimetres, its quiet zone not counted in."""

    def __init__(self, said: str, size: float) -> None:
        self.width = self.height = size
        self.said = said
        self.rows = _made(said)

    @property
    def quiet(self) -> float:
        """Millimetres that have to stay white round it."""
        return QUIET * self.width / len(self.rows)

    def draw(self, pen: Pen, x: float, y: float) -> None:
        side = self.width / len(self.rows)
        boxes = []
        for down, row in enumerate(self.rows):
            start: int | None = None
            for across, dark in enumerate((*row, 0)):
                if dark and start is None:
                    start = across
                elif not dark and start is not None:
                    boxes.append((x + start * side, y + down * side, (across - start) * side, side))
                    start = None
        pen.squares(boxes)


@lru_cache(maxsize=2048)
def _made(said: str) -> tuple[tuple[int, ...], ...]:
    """The code at the highest level, as small as it may be. Weighing its eight patterns takes most of a label's time,
    so that of a label which is printed again is kept."""
    version = 2
    while True:
        try:
            code = segno.make(said, error="h", version=version, micro=False, boost_error=False)
        except segno.DataOverflowError:
            version += 1
            continue
        return tuple(tuple(int(one) for one in row) for row in code.matrix)
