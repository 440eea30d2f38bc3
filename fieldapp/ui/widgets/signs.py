"""Icons as drawn shapes: no glyphs, so none can be missing. Each is drawn into a square of `size` pixels at (x, y)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import cos, pi, sin
from typing import Any

from kivy.graphics import Color, Ellipse, Line, Mesh, Rectangle, SmoothLine

from fieldapp.domain.plates import state_style
from fieldapp.domain.plates.shapes import hatch
from fieldapp.ui.theme import Colour, theme

Point = tuple[float, float]


def polygon(points: Sequence[Point]) -> Mesh:
    """A filled convex polygon."""
    flat = [number for x, y in points for number in (x, y, 0.0, 0.0)]
    return Mesh(vertices=flat, indices=list(range(len(points))), mode="triangle_fan")


def outline(points: Sequence[Point], width: float) -> Line:
    """The closed line through points."""
    return Line(points=[number for point in points for number in point], width=width / 2, close=True, joint="miter")


def draw(name: str, x: float, y: float, size: float, tint: Colour) -> None:
    """Draws a sign into the canvas that is open (`with canvas:`). An unknown name draws nothing."""
    shape = _SHAPES.get(name)
    if shape is not None:
        Color(*tint)
        shape(_Pen(x, y, size))


class _Pen:
    """Draws in a square from 0 to 1."""

    def __init__(self, x: float, y: float, size: float) -> None:
        self.x, self.y, self.size = x, y, size

    def at(self, *points: Point) -> list[Point]:
        return [(self.x + px * self.size, self.y + py * self.size) for px, py in points]

    def line(self, *points: Point, width: float = 0.11, close: bool = False) -> None:
        flat = [n for p in self.at(*points) for n in p]
        SmoothLine(points=flat, width=max(1.0, width * self.size / 2), close=close)

    def fill(self, *points: Point) -> None:
        polygon(self.at(*points))

    def dot(self, cx: float, cy: float, r: float) -> None:
        (px, py), d = self.at((cx - r, cy - r))[0], 2 * r * self.size
        Ellipse(pos=(px, py), size=(d, d))


def _ring(corners: int, turn: float, r: float = 0.5) -> list[Point]:
    return [
        (0.5 + r * cos(turn + 2 * pi * n / corners), 0.5 + r * sin(turn + 2 * pi * n / corners)) for n in range(corners)
    ]


def _stop(pen: _Pen) -> None:
    pen.line(*_ring(8, pi / 8, 0.46), close=True)
    pen.line((0.3, 0.5), (0.7, 0.5), width=0.16)


def _query(pen: _Pen) -> None:
    pen.line(*_ring(8, pi / 8, 0.46), close=True)
    pen.line((0.36, 0.62), (0.42, 0.7), (0.58, 0.7), (0.64, 0.6), (0.5, 0.46), (0.5, 0.38), width=0.1)
    pen.dot(0.5, 0.27, 0.065)


def _check(pen: _Pen) -> None:
    pen.line((0.5, 0.94), (0.97, 0.08), (0.03, 0.08), close=True, width=0.1)
    pen.line((0.5, 0.64), (0.5, 0.38), width=0.11)
    pen.dot(0.5, 0.23, 0.065)


def _differ(pen: _Pen) -> None:
    pen.line((0.08, 0.42), (0.58, 0.42), (0.58, 0.92), (0.08, 0.92), close=True)
    pen.fill((0.4, 0.08), (0.92, 0.08), (0.92, 0.6), (0.4, 0.6))


def _tick(pen: _Pen) -> None:
    pen.line((0.1, 0.5), (0.38, 0.2), (0.9, 0.84), width=0.16)


def _undo(pen: _Pen) -> None:
    pen.line((0.34, 0.92), (0.1, 0.68), (0.34, 0.44), width=0.12)
    pen.line((0.14, 0.68), (0.66, 0.68), (0.88, 0.5), (0.88, 0.3), (0.68, 0.12), (0.3, 0.12), width=0.12)


def _leave(pen: _Pen) -> None:
    pen.line((0.42, 0.84), (0.1, 0.5), (0.42, 0.16), width=0.14)
    pen.line((0.14, 0.5), (0.92, 0.5), width=0.14)


def _down(pen: _Pen) -> None:
    pen.line((0.12, 0.62), (0.5, 0.26), (0.88, 0.62), width=0.14)


def _up(pen: _Pen) -> None:
    pen.line((0.12, 0.34), (0.5, 0.7), (0.88, 0.34), width=0.14)


def _before(pen: _Pen) -> None:
    pen.line((0.64, 0.88), (0.28, 0.5), (0.64, 0.12), width=0.14)


def _after(pen: _Pen) -> None:
    pen.line((0.36, 0.88), (0.72, 0.5), (0.36, 0.12), width=0.14)


def _more(pen: _Pen) -> None:
    pen.line((0.5, 0.9), (0.5, 0.1), width=0.15)
    pen.line((0.1, 0.5), (0.9, 0.5), width=0.15)


def _less(pen: _Pen) -> None:
    pen.line((0.1, 0.5), (0.9, 0.5), width=0.15)


def _again(pen: _Pen) -> None:
    pen.line((0.1, 0.5), (0.32, 0.24), (0.6, 0.72), width=0.13)
    pen.line((0.78, 0.9), (0.78, 0.46), width=0.11)
    pen.line((0.58, 0.68), (0.98, 0.68), width=0.11)


def _sync(pen: _Pen) -> None:
    pen.line((0.3, 0.08), (0.3, 0.9), width=0.12)
    pen.line((0.08, 0.66), (0.3, 0.92), (0.52, 0.66), width=0.12)
    pen.line((0.72, 0.92), (0.72, 0.1), width=0.12)
    pen.line((0.5, 0.34), (0.72, 0.08), (0.94, 0.34), width=0.12)


def _rub(pen: _Pen) -> None:
    pen.line((0.36, 0.86), (0.96, 0.86), (0.96, 0.14), (0.36, 0.14), (0.04, 0.5), close=True, width=0.1)
    pen.line((0.46, 0.66), (0.78, 0.34), width=0.1)
    pen.line((0.46, 0.34), (0.78, 0.66), width=0.1)


def _person(pen: _Pen) -> None:
    pen.dot(0.5, 0.72, 0.2)
    pen.fill((0.14, 0.06), (0.86, 0.06), (0.74, 0.44), (0.26, 0.44))


def _hold(pen: _Pen) -> None:
    # The cord round a spot: a square on its tip with a bar through it.
    pen.line((0.5, 0.97), (0.97, 0.5), (0.5, 0.03), (0.03, 0.5), close=True)
    pen.line((0.5, 0.68), (0.5, 0.32), width=0.16)


def _photo(pen: _Pen) -> None:
    pen.line((0.06, 0.14), (0.94, 0.14), (0.94, 0.74), (0.06, 0.74), close=True)
    pen.line((0.34, 0.76), (0.4, 0.9), (0.6, 0.9), (0.66, 0.76))
    pen.dot(0.5, 0.43, 0.17)


def _mark(pen: _Pen) -> None:
    # Three strokes side by side, as cuts lie.
    for shift in (0.0, 0.28, 0.56):
        pen.line((0.1 + shift, 0.2), (0.34 + shift, 0.8), width=0.14)


def _through(pen: _Pen) -> None:
    # Into the picture: the tail of an arrow.
    pen.line(*_ring(16, 0.0, 0.46), close=True)
    pen.line((0.2, 0.2), (0.8, 0.8), width=0.1)
    pen.line((0.2, 0.8), (0.8, 0.2), width=0.1)


def _find(pen: _Pen) -> None:
    pen.line(*[(x * 0.7 + 0.02, y * 0.7 + 0.28) for x, y in _ring(16, 0.0, 0.46)], close=True)
    pen.line((0.6, 0.4), (0.94, 0.06), width=0.16)


def _battery(pen: _Pen) -> None:
    pen.line((0.22, 0.04), (0.78, 0.04), (0.78, 0.84), (0.22, 0.84), close=True, width=0.1)
    pen.fill((0.36, 0.84), (0.64, 0.84), (0.64, 0.98), (0.36, 0.98))
    pen.fill((0.32, 0.14), (0.68, 0.14), (0.68, 0.5), (0.32, 0.5))


def _charging(pen: _Pen) -> None:
    pen.line((0.58, 0.98), (0.26, 0.46), (0.7, 0.54), (0.4, 0.02), width=0.13)


def _room(pen: _Pen) -> None:
    for low in (0.06, 0.38, 0.7):
        pen.line((0.06, low), (0.94, low), (0.94, low + 0.22), (0.06, low + 0.22), close=True, width=0.09)


def _lock(pen: _Pen) -> None:
    pen.fill((0.14, 0.06), (0.86, 0.06), (0.86, 0.54), (0.14, 0.54))
    pen.line((0.28, 0.54), (0.28, 0.76), (0.4, 0.92), (0.6, 0.92), (0.72, 0.76), (0.72, 0.54))


def pattern_band(state: str, x: float, y: float, width: float, height: float) -> None:
    """The pattern of a portion's state in a box, as the plate draws it."""
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    style = state_style(state)
    mm = theme.ppi / 25.4
    Color(*theme.sheet)
    Rectangle(pos=(x, y), size=(width, height))
    if style.tone:
        Color(*theme.bone[:3], style.tone)
        Rectangle(pos=(x, y), size=(width, height))
    Color(*theme.ink)
    if style.hatch:
        pitch, angle = style.hatch
        for (ax, ay), (bx, by) in hatch(corners, pitch * mm, -angle):
            Line(points=[ax, ay, bx, by], width=max(1.0, style.line * mm / 2))
    if style.dots:
        step, d = style.dots * mm, style.dot * mm
        for row, shift in ((0.28, 0.0), (0.72, 0.5)):
            for column in range(int(width / step)):
                dot_x, dot_y = x + step * (column + 0.3 + shift), y + height * row
                Ellipse(pos=(dot_x - d / 2, dot_y - d / 2), size=(d, d), segments=8)
    edge = theme.mm(theme.line)
    if style.edge == "dashed":
        dash, gap = 1.6 * mm, 1.1 * mm
        for low in (y + edge / 2, y + height - edge / 2):
            at = x
            while at + dash <= x + width:
                Line(points=[at, low, at + dash, low], width=edge / 2)
                at += dash + gap
    else:
        outline(corners, edge)


_SHAPES: dict[str, Callable[[_Pen], Any]] = {
    "stop": _stop,
    "query": _query,
    "check": _check,
    "impossible": _check,
    "differ": _differ,
    "tick": _tick,
    "undo": _undo,
    "leave": _leave,
    "down": _down,
    "up": _up,
    "before": _before,
    "after": _after,
    "more": _more,
    "less": _less,
    "again": _again,
    "sync": _sync,
    "rub": _rub,
    "person": _person,
    "hold": _hold,
    "photo": _photo,
    "find": _find,
    "lock": _lock,
    "battery": _battery,
    "charging": _charging,
    "room": _room,
    "mark": _mark,
    "through": _through,
}

SIGNS = frozenset(_SHAPES)
"""Names that `draw` knows."""
