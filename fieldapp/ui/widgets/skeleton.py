"""A whole skeleton on the screen: the first tap enlarges a region, the second chooses a bone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fieldapp.domain.plates import WEIGHTS, MapBone, SkeletonMap, bone_at, fitted_map, look, marks, widest
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import picture
from fieldapp.ui.widgets.picture import Picture

REACH_MM = 3.0
"""A tap that misses by no more than this still finds the nearest bone."""


class SkeletonView(Picture):
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
        self._corners: list[list[int]] = []
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
        picture.draw_lines(shown.lines, theme.rule, WEIGHTS.light)
        for bone, corners in zip(shown.bones, self._corners, strict=True):
            number = self.numbers.get(bone.element, 0)
            style = look(number)
            if bone.element == self.chosen:
                picture.fill(bone.shape, corners, theme.accent)
            else:
                picture.fill(bone.shape, corners, picture.toned(style.tone if style else 0.0))
                if style:
                    lines = marks(bone, number, picture.millimetre(), y_up=True)
                    picture.draw_marks(picture.hatching(lines, style.line))
            picture.draw_lines([(*bone.shape, bone.shape[0])], theme.ink, WEIGHTS.dashed)

    def touched(self, ident: str) -> None:
        self.heard(ident)

    def spots(self) -> dict[str, tuple[float, float]]:
        """{ident: a point of it that is not covered}, for a driver's finger."""
        shown = self._fit()
        found: dict[str, tuple[float, float]] = {}
        for bone in shown.bones if shown else ():
            ident = self._ident(bone)
            x, y, radius = widest(bone.shape)
            if ident not in found and radius > 0 and self.ident_at(x, y) == ident:
                found[ident] = (x, y)
        return found

    def ident_at(self, x: float, y: float) -> str:
        shown = self._fit()
        bone = bone_at(shown, x, y, theme.mm(REACH_MM)) if shown else None
        return self._ident(bone) if bone else ""

    def _ident(self, bone: MapBone) -> str:
        return f"bone.{bone.element}" if self.region else f"region.{bone.region}"

    def _fit(self) -> SkeletonMap | None:
        if self.skeleton is None or self.width < 10 or self.height < 10:
            return None
        box = (*self.pos, *self.size, self.region)
        if box != self._box:
            self._box = box
            self._fitted = fitted_map(self.skeleton, self.x, self.y, self.width, self.height, self.region, y_up=True)
            self._corners = [picture.corners_of(bone.shape) for bone in self._fitted.bones]
        return self._fitted
