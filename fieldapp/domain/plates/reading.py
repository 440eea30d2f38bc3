"""Reads a plate from SVG text into polygons.

For: the small, plain kind of SVG the plates are drawn in: groups `portions`, `landmarks` and `beside` of paths made
of absolute M, L, C and Z. Not for: SVG at large. Whatever could reach outside the file, run, or move a shape
unseen (document types, references, styles, scripts, transforms) is refused and not skipped.
"""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

from fieldapp.domain.plates.plate import SIDES, Plate, PlateError, Polyline
from fieldapp.domain.plates.shapes import Point, signed_area

# Furthest a flattened curve may run from the true one, in plate units: 0.04 mm on a plate shown 95 mm high.
TOLERANCE = 0.4
LARGEST = 10_000.0
LONGEST_TEXT = 200_000

_SVG = "{http://www.w3.org/2000/svg}"
_GROUPS = ("portions", "landmarks", "beside")
_PLAIN = {
    *(
        "id",
        "d",
        "viewBox",
        "width",
        "height",
        "fill",
        "stroke",
        "stroke-width",
        "stroke-linecap",
        "stroke-linejoin",
    ),
    *("data-element", "data-form", "data-side", "data-view"),
}
_DECLARATION = re.compile(r"<!(?!--)")
_TOKEN = re.compile(r"[\s,]*(?:([MLCZ])|([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?))")
_NEEDS = {"M": 2, "L": 2, "C": 6, "Z": 0}


def read_plate(text: str) -> Plate:
    """The plate drawn by the SVG text. Raises PlateError saying what is wrong with it."""
    root = svg_root(text)
    element, form, side, view = (attribute(root, f"data-{name}") for name in ("element", "form", "side", "view"))
    if side not in SIDES:
        raise PlateError(f"a plate is of the left or right side or the midline, not of {side!r}")
    width, height = size_of(root)
    groups: dict[str, list[ElementTree.Element]] = {}
    for child in root:
        if child.tag == f"{_SVG}g":
            name = attribute(child, "id")
            if name not in _GROUPS or name in groups:
                raise PlateError(f"the group {name!r} is not known here, or comes twice")
            groups[name] = list(child)
    portions: dict[str, Polyline] = {}
    for path in groups.get("portions", []):
        key = attribute(path, "id")
        if key in portions:
            raise PlateError(f"the portion {key!r} is drawn twice")
        portions[key] = closed(path, key, width, height)
    if not portions:
        raise PlateError("the plate has no portions")

    def light(group: str) -> tuple[Polyline, ...]:
        return tuple(line for path in groups.get(group, []) for line, _ in lines_of(path, group, width, height))

    return Plate(
        element=element,
        form=form,
        side=side,
        view=view,
        width=width,
        height=height,
        portions=portions,
        landmarks=light("landmarks"),
        beside=light("beside"),
    )


def svg_root(text: str) -> ElementTree.Element:
    """The drawing's root, once everything that a drawing of ours does not use has been refused."""
    if len(text) > LONGEST_TEXT:
        raise PlateError(f"the text is longer than a plate's {LONGEST_TEXT} characters")
    if _DECLARATION.search(text):
        raise PlateError("the text declares a document type, an entity or raw data; a plate has none")
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError) as error:
        raise PlateError(f"the text is not well-formed XML: {error}") from error
    if root.tag != f"{_SVG}svg":
        raise PlateError("the text is not an SVG drawing")
    for parent, allowed in [(root, ("desc", "title", "g")), *((group, ("path",)) for group in root)]:
        for child in parent:
            if child.tag not in {_SVG + name for name in allowed}:
                raise PlateError(f"a plate does not use {child.tag!r} there")
    for node in root.iter():
        for name in node.attrib:
            if name not in _PLAIN:
                raise PlateError(f"a plate does not use the attribute {name!r}")
        if node.tag == f"{_SVG}path" and len(node):
            raise PlateError("a path holds something")
    return root


def attribute(node: ElementTree.Element, name: str) -> str:
    """An attribute that must be there."""
    value = node.get(name, "")
    if not value:
        raise PlateError(f"the attribute {name} is missing or empty")
    return value


def size_of(root: ElementTree.Element) -> tuple[float, float]:
    """Width and height of the drawing."""
    try:
        left, top, width, height = map(float, attribute(root, "viewBox").split())
    except ValueError as error:
        raise PlateError("the viewBox is not four numbers") from error
    if (left, top) != (0, 0) or not (0 < width <= LARGEST and 0 < height <= LARGEST):
        raise PlateError("the viewBox must begin at 0 0 and have a size")
    return width, height


def closed(path: ElementTree.Element, name: str, width: float, height: float) -> Polyline:
    """The one closed line of a path, without the closing point repeated."""
    lines = lines_of(path, name, width, height)
    if len(lines) != 1 or not lines[0][1]:
        raise PlateError(f"the path of {name!r} is not one closed line")
    points = lines[0][0][:-1]  # closed lines end where they began
    if len(points) < 3 or not abs(signed_area(points)) > 0:
        raise PlateError(f"the path of {name!r} encloses nothing")
    return points


def lines_of(path: ElementTree.Element, name: str, width: float, height: float) -> list[tuple[Polyline, bool]]:
    """Each line of the path, flattened, and whether it is closed (then its last point repeats its first)."""
    lines: list[tuple[Polyline, bool]] = []
    line: list[Point] = []
    for command, numbers in _steps(attribute(path, "d"), name):
        if not all(-width <= n <= 2 * width for n in numbers[::2]) or not all(
            -height <= n <= 2 * height for n in numbers[1::2]
        ):
            raise PlateError(f"the path of {name!r} leaves the drawing")
        points = list(zip(numbers[::2], numbers[1::2], strict=True))
        if command == "M":
            if line:
                lines.append((tuple(line), False))
            line = points
            continue
        if not line:
            raise PlateError(f"the path of {name!r} does not begin with M")
        if command == "Z":
            if line[-1] != line[0]:
                line.append(line[0])
            lines.append((tuple(line), True))
            line = []
        elif command == "C":
            line += _flattened(line[-1], points[0], points[1], points[2])
        elif points[0] != line[-1]:
            line += points
    if line:
        lines.append((tuple(line), False))
    if any(len(points) < 2 for points, _ in lines):
        raise PlateError(f"the path of {name!r} has a line of one point")
    return lines


def _steps(data: str, name: str) -> list[tuple[str, list[float]]]:
    steps: list[tuple[str, list[float]]] = []
    at = 0
    data = data.rstrip()
    while at < len(data):
        token = _TOKEN.match(data, at)
        if not token or not (token[1] or steps):
            raise PlateError(f"the path of {name!r} cannot be read at character {at}")
        if token[1]:
            steps.append((token[1], []))
        else:
            steps[-1][1].append(float(token[2]))
        at = token.end()
    for command, numbers in steps:
        if len(numbers) != _NEEDS[command]:
            raise PlateError(f"the path of {name!r} gives {command} {len(numbers)} numbers")
    return steps


def _flattened(a: Point, b: Point, c: Point, d: Point) -> list[Point]:
    """Points along the cubic after `a`, up to and with `d`, within TOLERANCE of the curve.

    Always worked out from the lesser end: two portions that run along one curve in opposite directions must
    get the same points to the last bit, or a touch could fall between them.
    """
    if (d, c) < (a, b):
        return [*_flattened(d, c, b, a)[-2::-1], d]
    bend = max(
        math.hypot(a[0] - 2 * b[0] + c[0], a[1] - 2 * b[1] + c[1]),
        math.hypot(b[0] - 2 * c[0] + d[0], b[1] - 2 * c[1] + d[1]),
    )
    # A chord over 1/n of a curve whose second derivative is at most 6 * bend strays at most 6 * bend / (8 * n * n).
    pieces = max(1, math.ceil(math.sqrt(0.75 * bend / TOLERANCE)))
    points = []
    for piece in range(1, pieces):
        t = piece / pieces
        u = 1 - t
        k0, k1, k2, k3 = u * u * u, 3 * u * u * t, 3 * u * t * t, t * t * t
        points.append((k0 * a[0] + k1 * b[0] + k2 * c[0] + k3 * d[0], k0 * a[1] + k1 * b[1] + k2 * c[1] + k3 * d[1]))
    return [*points, d]
