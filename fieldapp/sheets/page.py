"""Pages: boxes set one after another on A4, none cut through that fits on a page, each page with head and foot.

For: any printed list of blocks. Not for: what the blocks say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fieldapp.sheets.boxes import Box
from fieldapp.sheets.pen import MARGIN, WIDTH, Pen

ROOM = WIDTH - 2 * MARGIN
"""Width between the margins, mm."""
_WORTH = 45.0
"""A block that flows, or must be parted anyway, begins on this page only if so much of it is left, mm."""


@dataclass(frozen=True)
class Page:
    """What lands on one page: boxes with their upper edges, mm from the top."""

    placed: tuple[tuple[Box, float], ...]

    @property
    def has_plate(self) -> bool:
        """Whether a plate is on it, so that it needs the legend."""
        return any(box.has_plate for box, _ in self.placed)


def paginate(boxes: Sequence[Box], *, first_top: float, top: float, bottom: float, gap: float = 3.0) -> list[Page]:
    """Boxes to pages. `first_top`, `top`: upper edge of the first and of later pages; `bottom`: lower edge, mm."""
    pages: list[Page] = []
    placed: list[tuple[Box, float]] = []
    y = first_top

    def turn() -> float:
        nonlocal placed
        pages.append(Page(tuple(placed)))
        placed = []
        return top

    for whole in boxes:
        box: Box | None = whole
        while box is not None:
            if y + box.height <= bottom:
                placed.append((box, y))
                y += box.height + gap
                box = None
                continue
            fresh = not placed and y == (top if pages else first_top)
            parts = None
            if fresh or ((box.flows or box.height > bottom - top) and bottom - y >= _WORTH):
                parts = box.split(bottom - y)
            if parts:
                placed.append((parts[0], y))
                y, box = turn(), parts[1]
            elif not fresh:
                y = turn()
            else:
                raise ValueError(f"a box {box.height:.0f} mm high fits on no page and cannot be parted")
    turn()
    return pages


def draw(
    pen: Pen,
    pages: Sequence[Page],
    head: Callable[[Pen, int, int], None],
    foot: Callable[[Pen, int, int, bool], None],
    bookmark: str = "",
) -> None:
    """Draws the pages. `head(pen, page, of)`; `foot(pen, page, of, has_plate)`; pages count from 1. `bookmark`: what
    the first of them is called among a long file's bookmarks."""
    for number, page in enumerate(pages, 1):
        pen.page()
        if bookmark and number == 1:
            pen.bookmark(bookmark)
        head(pen, number, len(pages))
        for box, y in page.placed:
            box.draw(pen, MARGIN, y)
        foot(pen, number, len(pages), page.has_plate)
