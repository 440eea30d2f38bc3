"""Where the callipers go: the two jaws and the bar of a measurement, as lines on a plate.

A schematic help for the hand: it shows which way and over which portions, not the exact points, which the definition
tells. Not for: what a measurement is (domain.measures) and how lines are drawn.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from fieldapp.domain.plates.plate import Plate
from fieldapp.domain.plates.shapes import Point, Segment

_LYING = ("head", "trunk")
_SIDEWAYS = ("lateral", "medial", "section")
_ENDWAYS = ("cranial", "caudal")

_ACROSS, _ALONG, _THROUGH = "across", "along", "through"


class Callipers(NamedTuple):
    """The lines, in the plate's own box; `eye`: where a measurement goes into the picture, None if it lies in it."""

    lines: tuple[Segment, ...]
    eye: Point | None


def direction(span: str, view: str, region: str) -> str:
    """Whether a span ("length", "breadth", "depth", "around") lies across, along or through a view of a bone.

    Limb bones stand on their plates with the proximal end up; bones of head and trunk lie in the views from the side.
    """
    if span == "around":
        return _ACROSS
    if region in _LYING:
        if view in _ENDWAYS:
            ways = {"length": _THROUGH, "breadth": _ACROSS, "depth": _ALONG}
        elif view in _SIDEWAYS:
            ways = {"length": _ACROSS, "breadth": _THROUGH, "depth": _ALONG}
        else:
            ways = {"length": _ALONG, "breadth": _ACROSS, "depth": _THROUGH}
    elif view in _SIDEWAYS:
        ways = {"length": _ALONG, "breadth": _THROUGH, "depth": _ACROSS}
    else:
        ways = {"length": _ALONG, "breadth": _ACROSS, "depth": _THROUGH}
    return ways.get(span, _ALONG)


def callipers(plate: Plate, portions: Iterable[str], way: str) -> Callipers | None:
    """The callipers over portions of a plate, `way` as `direction` says; None if none of them is drawn."""
    drawn = [key for key in portions if key in plate.portions]
    boxes = [plate.boxes[key] for key in drawn]
    if not boxes:
        return None
    left, low = min(box[0] for box in boxes), min(box[1] for box in boxes)
    right, high = max(box[2] for box in boxes), max(box[3] for box in boxes)
    if way == _THROUGH:
        return Callipers((), ((left + right) / 2, (low + high) / 2))
    # The jaws reach a little beyond the bone on the side of the bar, and in over what they hold.
    beyond = 0.04 * max(plate.width, plate.height)
    if way == _ALONG:
        bar, inner = right + beyond, (left + right) / 2
        return Callipers(
            (((inner, low), (bar, low)), ((inner, high), (bar, high)), ((bar, low), (bar, high))),
            None,
        )
    bar, inner = high + beyond, (low + high) / 2
    return Callipers(
        (((left, inner), (left, bar)), ((right, inner), (right, bar)), ((left, bar), (right, bar))),
        None,
    )
