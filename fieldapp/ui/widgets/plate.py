"""A portion plate on the screen: drawn from the domain's polygons, touched by its portions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from kivy.graphics import Color, Ellipse, Mesh, SmoothLine

from fieldapp.domain.plates import Plate, contains, edges, fitted, pattern, portion_at, triangles
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import touching
from fieldapp.ui.widgets.pad import Drawn

REACH_MM = 2.0
"""A tap that misses by no more than this still finds the nearest portion."""


class PlateView(Drawn):
    """One plate with the states of its portions. Taps are reported by portion key."""

    def __init__(self, heard: Callable[[str], None] | None = None, **kwargs: Any) -> None:
        self.heard = heard or (lambda key: None)
        self.plate: Plate | None = None
        self.states: Mapping[str, str] = {}
        self._fitted: Plate | None = None
        self._box: Any = None
        self._meshes: dict[str, list[int]] = {}
        super().__init__(**kwargs)

    def show(self, plate: Plate | None, states: Mapping[str, str]) -> None:
        """Shows a plate, None for none, and the states of its portions."""
        if plate is not self.plate:
            self.plate, self._box = plate, None
            self._meshes = {key: _flat(triangles(polygon)) for key, polygon in plate.portions.items()} if plate else {}
        self.states = {key: states.get(key, "not_examined") for key in plate.portions} if plate else {}
        self._again()

    def draw(self) -> None:
        plate = self._fit()
        if plate is None:
            return
        mm = theme.ppi / 25.4
        fills = {key: pattern(plate, key, state, mm) for key, state in self.states.items()}
        for key, found in fills.items():
            polygon = plate.portions[key]
            vertices = [number for x, y in polygon for number in (x, y, 0.0, 0.0)]
            for tint in (theme.sheet, (*theme.bone[:3], found.style.tone)):
                if tint[3]:
                    Color(*tint)
                    Mesh(vertices=vertices, indices=self._meshes[key], mode="triangles")
            Color(*theme.ink)
            for (ax, ay), (bx, by) in found.lines:
                SmoothLine(points=[ax, ay, bx, by], width=max(0.6, found.style.line * mm / 2))
            for x, y in found.dots:
                d = found.style.dot * mm
                Ellipse(pos=(x - d / 2, y - d / 2), size=(d, d), segments=8)
        borders = edges(plate, self.states, mm)
        for lines, tint, width in (
            (plate.landmarks, theme.rule, 0.2),
            (borders.dashed, theme.ink, 0.3),
            (borders.solid, theme.ink, 0.4),
        ):
            Color(*tint)
            for line in lines:
                SmoothLine(points=[number for point in line for number in point], width=max(0.8, width * mm / 2))

    def on_touch_down(self, touch: Any) -> bool:
        if self.plate is None or not touching.is_finger(touch) or self.portion(*touch.pos) is None:
            return False
        touch.grab(self)
        return True

    def on_touch_up(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        key = self.portion(*touch.pos)
        if key is not None and touching.is_tap(touch, f"plate.{key}"):
            self.heard(key)
        return True

    def portion(self, x: float, y: float) -> str | None:
        """The portion under a finger at (x, y), or nearest to it within reach."""
        plate = self._fit()
        return portion_at(plate, x, y, theme.mm(REACH_MM)) if plate is not None else None

    def spots(self) -> dict[str, tuple[float, float]]:
        """{ident: a point well inside the portion}, for a driver's finger."""
        plate = self._fit()
        if plate is None:
            return {}
        return {f"plate.{key}": _inside(polygon, self._meshes[key]) for key, polygon in plate.portions.items()}

    def _fit(self) -> Plate | None:
        if self.plate is None or self.width < 10 or self.height < 10:
            return None
        box = (*self.pos, *self.size)
        if box != self._box:
            self._box = box
            self._fitted = fitted(self.plate, self.x, self.y, self.width, self.height, y_up=True)
        return self._fitted


def _flat(found: Any) -> list[int]:
    return [index for triangle in found for index in triangle]


def _inside(polygon: Any, mesh: list[int]) -> tuple[float, float]:
    """A point inside: the middle if it lies within, else the middle of the largest triangle."""
    xs, ys = zip(*polygon, strict=True)
    middle = sum(xs) / len(xs), sum(ys) / len(ys)
    if contains(polygon, *middle):
        return middle
    best, size = middle, -1.0
    for at in range(0, len(mesh), 3):
        (ax, ay), (bx, by), (cx, cy) = (polygon[mesh[at + n]] for n in range(3))
        area = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))
        if area > size:
            best, size = ((ax + bx + cx) / 3, (ay + by + cy) / 3), area
    return best
