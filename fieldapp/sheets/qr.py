"""A QR code as black squares on paper, so that a label can be read by a tablet.

Version 2 or higher: the smallest version has no inner pattern to take a slanting view by. Never the Micro kind, and the
level that is asked for. Not for: what a code says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from operator import itemgetter

import segno

from fieldapp.sheets import masks
from fieldapp.sheets.boxes import Box
from fieldapp.sheets.pen import Pen

QUIET = 4
"""Modules of white that a reader needs round the code."""


class Code(Box):
    """A code in a square of so many millimetres, its quiet zone not counted in."""

    def __init__(self, said: str, size: float) -> None:
        self.width = self.height = size
        rows = _made(said)
        self.side = size / len(rows)
        self.dark = [(across, down, wide) for down, row in enumerate(rows) for across, wide in _runs(row)]

    @property
    def quiet(self) -> float:
        """Millimetres that have to stay white round it."""
        return QUIET * self.side

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.squares(x, y, self.side, self.dark)


def _runs(row: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Where dark squares side by side begin in a row, and how many they are."""
    for dark, run in groupby(enumerate(row), key=itemgetter(1)):
        if dark:
            places = [place for place, _ in run]
            yield places[0], len(places)


@lru_cache(maxsize=2048)
def _made(said: str) -> masks.Matrix:
    """The code at the highest level, as small as it may be; that of a label which is printed again is kept."""
    version = 2
    while True:
        try:
            return masks.best(said, version)
        except segno.DataOverflowError:
            version += 1
