"""A drawing with shapes that are tapped, and the strokes and fills that such drawings are made of.

For: what the portion plate and the skeleton share. Not for: what is drawn and what a tap on it means.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from kivy.graphics import Color, Mesh, SmoothLine

from fieldapp.domain.plates import Point, Segment, triangles
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import touching
from fieldapp.ui.widgets.pad import Drawn

Triangles = tuple[list[float], list[int]]
"""Vertices, and the indexes of the triangles' corners."""


class Picture(Drawn):
    """A drawing of shapes. A contact that began on a shape and ends on one is a tap, told to `touched`."""

    def ident_at(self, x: float, y: float) -> str:
        """The shape under a finger, or nearest to it within reach; "" for none."""
        return ""

    def touched(self, ident: str) -> None:
        """A shape was tapped."""

    def on_touch_down(self, touch: Any) -> bool:
        if not touching.is_finger(touch) or not self.ident_at(*touch.pos):
            return False
        touch.grab(self)
        return True

    def on_touch_up(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        ident = self.ident_at(*touch.pos)
        if ident and touching.is_tap(touch, ident):
            self.touched(ident)
        return True


def millimetre() -> float:
    """Pixels to the millimetre, without the theme's rounding: what patterns and lines of a drawing are measured by."""
    return theme.ppi / 25.4


def draw_lines(lines: Iterable[Sequence[Point]], tint: Any, width: float) -> None:
    """Lines of a width in millimetres, onto the open canvas."""
    Color(*tint)
    for line in lines:
        SmoothLine(points=[number for point in line for number in point], width=max(0.8, width * millimetre() / 2))


def fill(shape: Sequence[Point], corners: list[int], tint: Any) -> None:
    """A shape filled, onto the open canvas; `corners` from `corners_of`, which a shape keeps however it is fitted."""
    Color(*tint)
    Mesh(vertices=[number for x, y in shape for number in (x, y, 0.0, 0.0)], indices=corners, mode="triangles")


def corners_of(shape: Sequence[Point]) -> list[int]:
    """The triangles that fill a shape, as one row of indexes of its points."""
    return [corner for triangle in triangles(shape) for corner in triangle]


def toned(tone: float) -> tuple[float, ...]:
    """The colour of bone so strong on the sheet. Mixed beforehand, paper and tone are one thing to paint."""
    return tuple(tone * bone + (1 - tone) * sheet for bone, sheet in zip(theme.bone[:3], theme.sheet[:3], strict=True))


def draw_marks(marks: Iterable[Triangles]) -> None:
    """Hatch lines and dots in ink, onto the open canvas."""
    Color(*theme.ink)
    for points, indices in marks:
        Mesh(vertices=points, indices=indices, mode="triangles")


def hatching(lines: Iterable[Segment], width: float) -> list[Triangles]:
    """Lines of a width in millimetres, each a thin box."""
    half = max(0.6, width * millimetre() / 2)
    return _meshes(_boxes(lines, half))


def dotting(dots: Iterable[Point], width: float) -> list[Triangles]:
    """Dots of a diameter in millimetres."""
    radius = width * millimetre() / 2
    return _meshes([(x + radius * a, y + radius * b) for a, b in _ROUND] for x, y in dots)


_ROUND = [(math.cos(math.tau * n / 8), math.sin(math.tau * n / 8)) for n in range(8)]


def _boxes(lines: Iterable[Segment], half: float) -> Iterable[list[Point]]:
    for (ax, ay), (bx, by) in lines:
        dx, dy = bx - ax, by - ay
        length = math.hypot(dx, dy) or 1.0
        nx, ny = -dy / length * half, dx / length * half
        yield [(ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny)]


def _meshes(shapes: Iterable[list[Point]]) -> list[Triangles]:
    """Convex shapes as few meshes of triangles: hundreds of hatch lines would be as many drawing orders."""
    found: list[Triangles] = []
    vertices: list[float] = []
    indices: list[int] = []
    for shape in shapes:
        at = len(vertices) // 4
        for x, y in shape:
            vertices += (x, y, 0.0, 0.0)
        for corner in range(1, len(shape) - 1):
            indices += (at, at + corner, at + corner + 1)
        if at > 32000:  # indices have sixteen bits
            found.append((vertices, indices))
            vertices, indices = [], []
    return [*found, (vertices, indices)] if indices else found
