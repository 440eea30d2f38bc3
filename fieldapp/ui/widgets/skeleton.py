"""A whole skeleton on the screen: the first tap enlarges a region, the second chooses a bone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from kivy.graphics import Color, Mesh, SmoothLine

from fieldapp.domain.plates import WEIGHTS, SkeletonMap, bone_at, fitted_map, look, marks, triangles, widest
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import touching
from fieldapp.ui.widgets.pad import Drawn
from fieldapp.ui.widgets.plate import boxes, meshes

REACH_MM = 3.0
"""A tap that misses by no more than this still finds the nearest bone."""


class SkeletonView(Drawn):
    """One skeleton, or a region of it. Taps are reported as `region.<name>` or `bone.<element>`.

    `numbers`: pieces recorded of each element, which fill the bones; `chosen`: the element that is marked.
    """

    def __init__(self, heard: Callable[[str], None] | None = None, **kwargs: Any) -> None:
        self.heard = heard or (lambda ident: None)
        self.skeleton: SkeletonMap | None = None
        self.region: str | None = None
        self.numbers: Mapping[str, int] = {}
        self.chosen = ""
        self._fitted: SkeletonMap | None = None
        self._box: Any = None
        self._meshes: list[list[int]] = []
        super().__init__(**kwargs)

    def show(
        self, skeleton: SkeletonMap | None, region: str | None, numbers: Mapping[str, int], chosen: str = ""
    ) -> None:
        """Shows a skeleton, None for none, whole or one region of it."""
        self.skeleton, self.region, self.numbers, self.chosen = skeleton, region, numbers, chosen
        self._box = None
        self._again()

    def draw(self) -> None:
        shown = self._fit()
        if shown is None:
            return
        mm = theme.ppi / 25.4
        Color(*theme.rule)
        for line in shown.lines:
            SmoothLine(points=[n for point in line for n in point], width=max(0.8, WEIGHTS.light * mm / 2))
        for bone, indices in zip(shown.bones, self._meshes, strict=True):
            number = self.numbers.get(bone.element, 0)
            style = look(number)
            vertices = [n for x, y in bone.shape for n in (x, y, 0.0, 0.0)]
            tints = [theme.sheet, (*theme.bone[:3], style.tone if style else 0.0)]
            if bone.element == self.chosen:
                tints = [theme.accent]
            for tint in tints:
                if tint[3]:
                    Color(*tint)
                    Mesh(vertices=vertices, indices=indices, mode="triangles")
            Color(*theme.ink)
            if style and bone.element != self.chosen:
                for points, order in meshes(boxes(marks(bone, number, mm, y_up=True), max(0.6, style.line * mm / 2))):
                    Mesh(vertices=points, indices=order, mode="triangles")
            around = [n for point in (*bone.shape, bone.shape[0]) for n in point]
            SmoothLine(points=around, width=max(0.8, WEIGHTS.dashed * mm / 2))

    def on_touch_down(self, touch: Any) -> bool:
        if self.skeleton is None or not touching.is_finger(touch) or not self._ident(*touch.pos):
            return False
        touch.grab(self)
        return True

    def on_touch_up(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        ident = self._ident(*touch.pos)
        if ident and touching.is_tap(touch, ident):
            self.heard(ident)
        return True

    def spots(self) -> dict[str, tuple[float, float]]:
        """{ident: a point of it that is not covered}, for a driver's finger."""
        shown = self._fit()
        found: dict[str, tuple[float, float]] = {}
        for bone in shown.bones if shown else ():
            ident = f"bone.{bone.element}" if self.region else f"region.{bone.region}"
            x, y, radius = widest(bone.shape)
            if ident not in found and radius > 0 and self._ident(x, y) == ident:
                found[ident] = (x, y)
        return found

    def _ident(self, x: float, y: float) -> str:
        shown = self._fit()
        bone = bone_at(shown, x, y, theme.mm(REACH_MM)) if shown else None
        if bone is None:
            return ""
        return f"bone.{bone.element}" if self.region else f"region.{bone.region}"

    def _fit(self) -> SkeletonMap | None:
        if self.skeleton is None or self.width < 10 or self.height < 10:
            return None
        box = (*self.pos, *self.size, self.region)
        if box != self._box:
            self._box = box
            self._fitted = fitted_map(self.skeleton, self.x, self.y, self.width, self.height, self.region, y_up=True)
            self._meshes = [
                [corner for triangle in triangles(bone.shape) for corner in triangle] for bone in self._fitted.bones
            ]
        return self._fitted
