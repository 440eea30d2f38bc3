"""A portion plate on the screen: drawn from the domain's polygons, touched by its portions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from kivy.graphics import ScissorPop, ScissorPush

from fieldapp.domain.plates import (
    Plate,
    callipers,
    edges,
    enlarged,
    fitted,
    pattern,
    portion_at,
    state_style,
    weighted,
    widest,
)
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import picture, signs
from fieldapp.ui.widgets.picture import Picture, Triangles

REACH_MM = 2.0
"""A tap that misses by no more than this still finds the nearest portion."""
ENLARGED = 2.0, 4.0
"""How much larger a place is shown whose portion is too small for a finger: so that one fits, within these."""


class PlateView(Picture):
    """One plate with the states of its portions. Taps are reported by portion key.

    A portion narrower than the theme's least is not tapped at once: the first tap enlarges the place, and `looked` is
    told. `whole()` goes back.
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
        self.share = 0.0, 0.0
        """Where the last tap was, as shares of the plate's width and height from its lower left corner."""
        self.pins: Sequence[tuple[float, float]] = ()
        self.callipers: tuple[Sequence[str], str] | None = None
        self.touchable = True
        self._fitted: Plate | None = None
        self._box: Any = None
        self._corners: dict[str, list[int]] = {}
        self._marks: dict[tuple[str, str], list[Triangles]] = {}
        self._rooms: dict[str, tuple[float, float, float]] = {}
        super().__init__(**kwargs)

    @property
    def view(self) -> str:
        """The view that is shown."""
        return self.plate.view if self.plate is not None else ""

    def show(
        self,
        plate: Plate | None,
        states: Mapping[str, str],
        *,
        pins: Sequence[tuple[float, float]] = (),
        callipers: tuple[Sequence[str], str] | None = None,
        touchable: bool = True,
    ) -> None:
        """Shows a plate, None for none, and the states of its portions.

        pins       places of marks, as shares of the plate's width and height
        callipers  (portions, way) that callipers are put over
        """
        if (callipers is None) != (self.callipers is None):
            self._box = None
        self.pins, self.callipers, self.touchable = pins, callipers, touchable
        if plate is not self.plate:
            self.plate, self._box, self.near = plate, None, None
            self._corners = {key: picture.corners_of(one) for key, one in plate.portions.items()} if plate else {}
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
        if self.near:
            ScissorPush(x=round(self.x), y=round(self.y), width=round(self.width), height=round(self.height))
        for key, state in self.states.items():
            self._portion(plate, key, state)
        for lines, width, pale in weighted(plate, edges(plate, self.states, picture.millimetre())):
            picture.draw_lines(lines, theme.rule if pale else theme.ink, width)
        for x, y in self.pins:
            self._pin(plate.x + x * plate.width, plate.y + y * plate.height)
        if self.callipers is not None:
            self._callipers(plate, *self.callipers)
        if self.near:
            ScissorPop()

    def _pin(self, x: float, y: float) -> None:
        size = theme.mm(4.0)
        signs.draw("mark", x - size / 2, y - size / 2, size, theme.clay)

    def _callipers(self, plate: Plate, portions: Sequence[str], way: str) -> None:
        found = callipers(plate, portions, way)
        if found is None:
            return
        picture.draw_lines(found.lines, theme.clay, 0.9)
        if found.eye is not None:
            size = theme.mm(5.0)
            signs.draw("through", found.eye[0] - size / 2, found.eye[1] - size / 2, size, theme.clay)

    def _portion(self, plate: Plate, key: str, state: str) -> None:
        """Draws a filled portion."""
        known = (key, state)
        if known not in self._marks:
            found = pattern(plate, key, state, picture.millimetre())
            lines = picture.hatching(found.lines, found.style.line)
            self._marks[known] = [*lines, *picture.dotting(found.dots, found.style.dot)]
        picture.fill(plate.portions[key], self._corners[key], picture.toned(state_style(state).tone))
        picture.draw_marks(self._marks[known])

    def ident_at(self, x: float, y: float) -> str:
        key = self.portion(x, y) if self.touchable else None
        plate = self._fitted
        if key is not None and plate is not None:
            self.share = (x - plate.x) / plate.width, (y - plate.y) / plate.height
        return f"plate.{key}" if key is not None else ""

    def touched(self, ident: str) -> None:
        key = ident.removeprefix("plate.")
        near = self._closer(key) if self.near is None else None
        if near:
            self.near = near
            self._again()
            self.looked()
        else:
            self.heard(key)

    def portion(self, x: float, y: float) -> str | None:
        """The portion under a finger at (x, y), or nearest to it within reach."""
        plate = self._fit()
        return portion_at(plate, x, y, theme.mm(REACH_MM)) if plate is not None else None

    def spots(self) -> dict[str, tuple[float, float]]:
        """{ident: where the portion is widest}, for a driver's finger; those in sight."""
        plate = self._fit() if self.touchable else None
        if plate is None:
            return {}
        found = {f"plate.{key}": self._room(plate, key)[:2] for key in plate.portions}
        return {ident: spot for ident, spot in found.items() if self.collide_point(*spot)}

    def _fit(self) -> Plate | None:
        if self.plate is None or self.width < 10 or self.height < 10:
            return None
        box = (*self.pos, *self.size, self.near)
        if box != self._box:
            self._box = box
            # The bar of the callipers stands beside the bone.
            rim = theme.mm(3.0) if self.callipers is not None else 0.0
            x, y, width, height = self.x + rim, self.y + rim, self.width - 2 * rim, self.height - 2 * rim
            found = fitted(self.plate, x, y, max(4.0, width), max(4.0, height), y_up=True)
            if self.near is not None:
                x = found.x + self.near[0] * found.width
                y = found.y + self.near[1] * found.height
                found = enlarged(found, x, y, self.near[2], (self.x, self.y, self.width, self.height))
            self._fitted = found
            self._marks, self._rooms = {}, {}
        return self._fitted

    def _room(self, plate: Plate, key: str) -> tuple[float, float, float]:
        """Where a portion is widest, worked out once for the plate as it lies."""
        if key not in self._rooms:
            self._rooms[key] = widest(plate.portions[key])
        return self._rooms[key]

    def _closer(self, key: str) -> tuple[float, float, float] | None:
        """Where to look closer: the portion's widest place and how many times. None if a fingertip fits as it is."""
        plate = self._fit()
        assert plate is not None
        x, y, radius = self._room(plate, key)
        finger = theme.mm(theme.least_portion)
        if 2 * radius >= finger:
            return None
        times = max(ENLARGED[0], min(ENLARGED[1], 1.2 * finger / (2 * radius) if radius else ENLARGED[1]))
        return (x - plate.x) / plate.width, (y - plate.y) / plate.height, times
