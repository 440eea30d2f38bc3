"""A plate as plain values, and what is asked of it: mirror it, fit it to a box, find the portion at a point.

For: plates already read. Not for: SVG (see reading) or how a state looks (see drawing).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from fieldapp.domain.plates.shapes import Point, contains, distance, sides

Polyline = tuple[Point, ...]
OTHER_SIDE = {"left": "right", "right": "left"}
SIDES = (*OTHER_SIDE, "midline")


class PlateError(ValueError):
    """A plate, or a question about one, is not sound; the message says what is wrong."""


@dataclass(frozen=True)
class Plate:
    """One view of one element of one side. A view of the left bone is drawn; the right is its mirror image.

    `portions` holds one polygon per portion key, without the closing point repeated; neighbours share their points
    exactly. `landmarks` are light lines on the bone, `beside` light lines of its neighbours next to it. The drawing
    fills a box of `width` by `height` whose corner of least x and y is at (`x`, `y`). As read: y runs down, 10 units
    are 1 mm at full size on an 8-inch tablet. `y_up` tells that it has been fitted to a surface whose y runs up.
    """

    element: str
    form: str
    side: str
    view: str
    width: float
    height: float
    portions: Mapping[str, Polyline]
    landmarks: tuple[Polyline, ...] = ()
    beside: tuple[Polyline, ...] = ()
    x: float = 0.0
    y: float = 0.0
    y_up: bool = False
    boxes: Mapping[str, tuple[float, float, float, float]] = field(init=False, repr=False, compare=False)

    @cached_property
    def uses(self) -> Mapping[frozenset[Point], int]:
        """{side: by how many portions it is used}: 1 along the bone's own edge, 2 between neighbours."""
        return Counter(frozenset(side) for polygon in self.portions.values() for side in sides(polygon))

    def __post_init__(self) -> None:
        boxes = {key: _box(polygon) for key, polygon in self.portions.items()}
        object.__setattr__(self, "boxes", boxes)


def mirrored(plate: Plate) -> Plate:
    """The same bone of the other side: what was left is right, in the names of portions too.

    The points are taken in reverse so that polygons keep their winding. A bone of the midline has no other side:
    PlateError.
    """
    if plate.side not in OTHER_SIDE:
        raise PlateError(f"the {plate.element} is drawn whole and has no other side")
    middle = 2 * plate.x + plate.width
    flipped = _moved(plate, lambda point: (middle - point[0], point[1]))
    portions = {other_key(key): polygon[::-1] for key, polygon in flipped.portions.items()}
    return replace(flipped, side=OTHER_SIDE[plate.side], portions=portions)


def other_key(key: str) -> str:
    """The portion's key on the other side of the body: left_wing for right_wing; a key without a side is its own."""
    for side, other in OTHER_SIDE.items():
        if key.startswith(f"{side}_"):
            return f"{other}_{key.removeprefix(f'{side}_')}"
    return key


def telling(plates: Iterable[Plate], states: Mapping[str, object]) -> list[Plate]:
    """The first view of a bone, and each further one without which a portion that is there would not be seen."""
    shown: list[Plate] = []
    there = {key for key, state in states.items() if state in ("most", "part")}
    for plate in plates:
        if not shown or there & plate.portions.keys():
            shown.append(plate)
            there -= plate.portions.keys()
    return shown


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


def enlarged(plate: Plate, x: float, y: float, times: float, box: tuple[float, float, float, float]) -> Plate:
    """The plate `times` larger, with its point (x, y) in the middle of the box (x, y, w, h), as far as that stays full.

    What lies outside the box is the caller's to cut off. Units are the plate's.
    """
    left, low, w, h = box

    def start(at: float, corner: float, size: float, edge: float, room: float) -> float:
        wide = size * times
        wanted = edge + room / 2 - (at - corner) * times
        return edge + (room - wide) / 2 if wide <= room else min(edge, max(edge + room - wide, wanted))

    new_x = start(x, plate.x, plate.width, left, w)
    new_y = start(y, plate.y, plate.height, low, h)
    moved = _moved(plate, lambda point: (new_x + (point[0] - plate.x) * times, new_y + (point[1] - plate.y) * times))
    return replace(moved, x=new_x, y=new_y, width=plate.width * times, height=plate.height * times)


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
        beside=tuple(tuple(map(move, line)) for line in plate.beside),
    )
