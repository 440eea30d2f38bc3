"""A portion plate on the screen: drawn from the domain's polygons, touched by its portions."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from kivy.graphics import (
    Color,
    Mesh,
    ScissorPop,
    ScissorPush,
    SmoothLine,
)

from fieldapp.domain.plates import (
    WEIGHTS,
    Plate,
    Point,
    Segment,
    edges,
    enlarged,
    fitted,
    pattern,
    portion_at,
    state_style,
    triangles,
    widest,
)
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import touching
from fieldapp.ui.widgets.pad import Drawn

REACH_MM = 2.0
"""A tap that misses by no more than this still finds the nearest portion."""
FINGER_MM = 9.0
"""A portion narrower than this as shown is not tapped at once: the first tap enlarges the place."""
ENLARGED = 2.0, 4.0
"""How much larger the place is then shown: so that a finger fits, within these."""


class PlateView(Drawn):
    """One plate with the states of its portions. Taps are reported by portion key.

    `looked` is told when a tap has enlarged a place; `whole()` goes back.
    """

    def __init__(
        self, heard: Callable[[str], None] | None = None, looked: Callable[[], None] | None = None, **kwargs: Any
    ) -> None:
        self.heard = heard or (lambda key: None)
        self.looked = looked or (lambda: None)
        self.plate: Plate | None = None
        self.states: Mapping[str, str] = {}
        self.near: tuple[float, float, float] | None = None
        """Where the picture is enlarged, as shares of its width and height, and how many times."""
        self._fitted: Plate | None = None
        self._box: Any = None
        self._meshes: dict[str, list[int]] = {}
        self._shapes: dict[tuple[str, str], list[tuple[list[float], list[int]]]] = {}
        super().__init__(**kwargs)

    def show(self, plate: Plate | None, states: Mapping[str, str]) -> None:
        """Shows a plate, None for none, and the states of its portions."""
        if plate is not self.plate:
            self.plate, self._box, self.near = plate, None, None
            self._meshes = {key: _flat(triangles(polygon)) for key, polygon in plate.portions.items()} if plate else {}
        self.states = {key: states.get(key, "not_examined") for key in plate.portions} if plate else {}
        self._again()

    def whole(self) -> None:
        """Shows the whole bone again."""
        self.near = self._box = None
        self._again()

    def draw(self) -> None:
        plate = self._fit()
        if plate is None:
            return
        mm = theme.ppi / 25.4
        if self.near:
            ScissorPush(x=round(self.x), y=round(self.y), width=round(self.width), height=round(self.height))
        for key, state in self.states.items():
            self._portion(plate, key, state, mm)
        borders = edges(plate, self.states, mm)
        for lines, tint, width in (
            ((*plate.landmarks, *plate.beside), theme.rule, WEIGHTS.light),
            (borders.dashed, theme.ink, WEIGHTS.dashed),
            (borders.inner, theme.ink, WEIGHTS.inner),
            (borders.outer, theme.ink, WEIGHTS.outer),
        ):
            Color(*tint)
            for line in lines:
                SmoothLine(points=[number for point in line for number in point], width=max(0.8, width * mm / 2))
        if self.near:
            ScissorPop()

    def _portion(self, plate: Plate, key: str, state: str, mm: float) -> None:
        """Draws a filled portion."""
        known = (key, state)
        if known not in self._shapes:
            found = pattern(plate, key, state, mm)
            lines = boxes(found.lines, max(0.6, found.style.line * mm / 2))
            self._shapes[known] = [*meshes(lines), *meshes(_discs(found.dots, found.style.dot * mm / 2))]
        vertices = [number for x, y in plate.portions[key] for number in (x, y, 0.0, 0.0)]
        # Mixed beforehand, paper and tone are one thing to paint.
        tone = state_style(state).tone
        Color(*(tone * bone + (1 - tone) * sheet for bone, sheet in zip(theme.bone[:3], theme.sheet[:3], strict=True)))
        Mesh(vertices=vertices, indices=self._meshes[key], mode="triangles")
        Color(*theme.ink)
        for points, indices in self._shapes[known]:
            Mesh(vertices=points, indices=indices, mode="triangles")

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
            near = self._closer(key) if self.near is None else None
            if near:
                self.near = near
                self._again()
                self.looked()
            else:
                self.heard(key)
        return True

    def portion(self, x: float, y: float) -> str | None:
        """The portion under a finger at (x, y), or nearest to it within reach."""
        plate = self._fit()
        return portion_at(plate, x, y, theme.mm(REACH_MM)) if plate is not None else None

    def spots(self) -> dict[str, tuple[float, float]]:
        """{ident: where the portion is widest}, for a driver's finger; those in sight."""
        plate = self._fit()
        if plate is None:
            return {}
        found = {f"plate.{key}": widest(polygon)[:2] for key, polygon in plate.portions.items()}
        return {ident: spot for ident, spot in found.items() if self.collide_point(*spot)}

    def _fit(self) -> Plate | None:
        if self.plate is None or self.width < 10 or self.height < 10:
            return None
        box = (*self.pos, *self.size, self.near)
        if box != self._box:
            self._box = box
            found = fitted(self.plate, self.x, self.y, self.width, self.height, y_up=True)
            if self.near is not None:
                x = found.x + self.near[0] * found.width
                y = found.y + self.near[1] * found.height
                found = enlarged(found, x, y, self.near[2], (self.x, self.y, self.width, self.height))
            self._fitted = found
            self._shapes = {}
        return self._fitted

    def _closer(self, key: str) -> tuple[float, float, float] | None:
        """Where to look closer: the portion's widest place and how many times. None if a fingertip fits as it is."""
        plate = self._fit()
        assert plate is not None
        x, y, radius = widest(plate.portions[key])
        finger = theme.mm(FINGER_MM)
        if 2 * radius >= finger:
            return None
        times = max(ENLARGED[0], min(ENLARGED[1], 1.2 * finger / (2 * radius) if radius else ENLARGED[1]))
        return (x - plate.x) / plate.width, (y - plate.y) / plate.height, times


def boxes(lines: Iterable[Segment], half: float) -> Iterable[list[Point]]:
    """Each line as a thin box; `half` its width."""
    for (ax, ay), (bx, by) in lines:
        dx, dy = bx - ax, by - ay
        length = math.hypot(dx, dy) or 1.0
        nx, ny = -dy / length * half, dx / length * half
        yield [(ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny)]


_ROUND = [(math.cos(math.tau * n / 8), math.sin(math.tau * n / 8)) for n in range(8)]


def _discs(dots: Iterable[Point], radius: float) -> Iterable[list[Point]]:
    return ([(x + radius * a, y + radius * b) for a, b in _ROUND] for x, y in dots)


def meshes(shapes: Iterable[list[Point]]) -> list[tuple[list[float], list[int]]]:
    """Convex shapes as few meshes of triangles: hundreds of hatch lines would be as many drawing orders."""
    found: list[tuple[list[float], list[int]]] = []
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


def _flat(found: Any) -> list[int]:
    return [index for triangle in found for index in triangle]
