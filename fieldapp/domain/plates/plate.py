"""A plate as plain values, and what is asked of it: mirror it, fit it to a box, find the portion at a point.

For: plates already read. Not for: SVG (see reading) or how a state looks (see drawing).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from fieldapp.domain.plates.shapes import Point, contains, distance

Polyline = tuple[Point, ...]
OTHER_SIDE = {"left": "right", "right": "left"}


class PlateError(ValueError):
    """A plate, or a question about one, is not sound; the message says what is wrong."""


@dataclass(frozen=True)
class Plate:
    """One view of one element of one side. A view of the left bone is drawn; the right is its mirror image.

    `portions` holds one polygon per portion key, without the closing point repeated; neighbours share their points
    exactly. `outline` goes round all of them; `landmarks` are open or closed lines. The drawing fills a box of
    `width` by `height` whose corner of least x and y is at (`x`, `y`). As read: y runs down, 10 units are 1 mm when
    the plate is shown 95 mm high. `y_up` tells that the plate has been fitted to a surface whose y runs up.
    """

    element: str
    form: str
    side: str
    view: str
    width: float
    height: float
    portions: Mapping[str, Polyline]
    landmarks: tuple[Polyline, ...] = ()
    outline: Polyline = ()
    x: float = 0.0
    y: float = 0.0
    y_up: bool = False
    boxes: Mapping[str, tuple[float, float, float, float]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        boxes = {key: _box(polygon) for key, polygon in self.portions.items()}
        object.__setattr__(self, "boxes", boxes)


def mirrored(plate: Plate) -> Plate:
    """The same bone of the other side. The points are taken in reverse so that polygons keep their winding."""
    middle = 2 * plate.x + plate.width
    flipped = _moved(plate, lambda point: (middle - point[0], point[1]))
    return replace(
        flipped,
        side=OTHER_SIDE[plate.side],
        portions={key: polygon[::-1] for key, polygon in flipped.portions.items()},
        outline=flipped.outline[::-1],
    )


def fitted(plate: Plate, x: float, y: float, w: float, h: float, y_up: bool = False) -> Plate:
    """The plate as large as the box (x, y, w, h) allows, in the middle of it, in the box's own units.

    `y_up` for surfaces whose y runs up, so that the proximal end stays up. Raises PlateError for an empty box.
    """
    if not (w > 0 and h > 0):
        raise PlateError(f"a plate cannot be fitted to a box of {w:g} by {h:g}")
    scale = min(w / plate.width, h / plate.height)
    width, height = plate.width * scale, plate.height * scale
    left, low = x + (w - width) / 2, y + (h - height) / 2
    turn = plate.y_up != y_up

    def place(point: Point) -> Point:
        across, along = (point[0] - plate.x) * scale, (point[1] - plate.y) * scale
        return left + across, low + (height - along if turn else along)

    return replace(_moved(plate, place), x=left, y=low, width=width, height=height, y_up=y_up)


def portion_at(plate: Plate, x: float, y: float, reach: float = 0.0) -> str | None:
    """The key of the portion at the point; failing that, of the nearest portion not further off than `reach`.

    Point and reach are in the plate's units. None when nothing is there.
    """
    near: list[str] = []
    for key, (low_x, low_y, high_x, high_y) in plate.boxes.items():
        if low_x - reach <= x <= high_x + reach and low_y - reach <= y <= high_y + reach:
            if contains(plate.portions[key], x, y):
                return key
            near.append(key)
    if reach <= 0 or not near:
        return None
    away, key = min((distance(plate.portions[key], x, y), key) for key in near)
    return key if away <= reach else None


def _box(points: Iterable[Point]) -> tuple[float, float, float, float]:
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _moved(plate: Plate, move: Callable[[Point], Point]) -> Plate:
    return replace(
        plate,
        portions={key: tuple(map(move, polygon)) for key, polygon in plate.portions.items()},
        landmarks=tuple(tuple(map(move, line)) for line in plate.landmarks),
        outline=tuple(map(move, plate.outline)),
    )
