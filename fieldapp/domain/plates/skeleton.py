"""A whole skeleton as a picture: every bone a shape that can be touched, filled by how many pieces there are, printed.

For: reading a map's SVG text, the region and the bone under a finger, a region enlarged, and the fills by number that
tablet, page and sheet draw alike. Not for: portions (plate), files (fieldapp.assets), counting.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape, quoteattr

from fieldapp.domain.plates.drawing import WEIGHTS, StateStyle, ground, stroke
from fieldapp.domain.plates.plate import PlateError, Polyline
from fieldapp.domain.plates.reading import attribute, closed, lines_of, size_of, svg_root
from fieldapp.domain.plates.shapes import Point, Segment, contains, distance, hatch

LINES = "lines"
AIR = 0.06
"""What a region shows around its bones, as a share of its longer side."""
NUMBERS: tuple[tuple[int, StateStyle], ...] = (
    (1, StateStyle(tone=0.12, hatch=(2.6, 45.0), dots=None, edge="solid", line=0.3)),
    (3, StateStyle(tone=0.3, hatch=(1.4, -45.0), dots=None, edge="solid", line=0.3)),
    (10, StateStyle(tone=0.55, hatch=(0.8, -45.0), dots=None, edge="solid", line=0.35)),
)
"""(least number of pieces, look): told apart by the hatch alone on a copier."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class MapBone:
    """One piece in the picture: an element may have several, as vertebrae, ribs and toes have."""

    element: str
    region: str
    shape: Polyline


@dataclass(frozen=True)
class SkeletonMap:
    """The skeleton of a form from one side. Later bones lie on top; `lines` are light."""

    form: str
    view: str
    width: float
    height: float
    bones: tuple[MapBone, ...]
    lines: tuple[Polyline, ...] = ()

    def regions(self) -> dict[str, Box]:
        """{region: (x, y, width, height) of its bones, with air around}."""
        found: dict[str, list[Point]] = {}
        for bone in self.bones:
            found.setdefault(bone.region, []).extend(bone.shape)
        return {name: _with_air(points) for name, points in found.items()}

    def elements(self) -> dict[str, list[MapBone]]:
        """{element: its pieces}."""
        found: dict[str, list[MapBone]] = {}
        for bone in self.bones:
            found.setdefault(bone.element, []).append(bone)
        return found


def read_map(text: str) -> SkeletonMap:
    """The map drawn by the SVG text: a group a region, paths named <element> or <element>.<n>, and the group `lines`.

    Raises PlateError saying what is wrong with it.
    """
    root = svg_root(text)
    form, view = attribute(root, "data-form"), attribute(root, "data-view")
    width, height = size_of(root)
    bones: list[MapBone] = []
    lines: list[Polyline] = []
    for group in (child for child in root if child.tag.endswith("}g")):
        region = attribute(group, "id")
        for one in group:
            if region == LINES:
                lines += [line for line, _ in lines_of(one, LINES, width, height)]
            else:
                name = attribute(one, "id")
                bones.append(MapBone(name.partition(".")[0], region, closed(one, name, width, height)))
    if not bones:
        raise PlateError("the map has no bones")
    return SkeletonMap(form, view, width, height, tuple(bones), tuple(lines))


def fitted_map(
    whole: SkeletonMap, x: float, y: float, w: float, h: float, region: str | None = None, y_up: bool = False
) -> SkeletonMap:
    """The map, or one region of it, as large as the box (x, y, w, h) allows, in its middle.

    With a region the bones of others are left out. Raises PlateError for an empty box or an unknown region.
    """
    if not (w > 0 and h > 0):
        raise PlateError(f"a map cannot be fitted to a box of {w:g} by {h:g}")
    left, top, wide, high = 0.0, 0.0, whole.width, whole.height
    if region is not None:
        regions = whole.regions()
        if region not in regions:
            raise PlateError(f"the map of the {whole.form} has no region {region!r}")
        left, top, wide, high = regions[region]
    scale = min(w / wide, h / high)
    new_x, new_y = x + (w - wide * scale) / 2, y + (h - high * scale) / 2

    def place(point: Point) -> Point:
        across, down = (point[0] - left) * scale, (point[1] - top) * scale
        return new_x + across, new_y + (high * scale - down if y_up else down)

    return replace(
        whole,
        width=wide * scale,
        height=high * scale,
        bones=tuple(
            replace(bone, shape=tuple(map(place, bone.shape)))
            for bone in whole.bones
            if region is None or bone.region == region
        ),
        lines=() if region else tuple(tuple(map(place, line)) for line in whole.lines),
    )


def bone_at(shown: SkeletonMap, x: float, y: float, reach: float = 0.0) -> MapBone | None:
    """The topmost bone at the point; failing that, the nearest not further off than `reach`."""
    for bone in reversed(shown.bones):
        if contains(bone.shape, x, y):
            return bone
    if reach <= 0:
        return None
    away, at = min((distance(bone.shape, x, y), at) for at, bone in enumerate(shown.bones))
    return shown.bones[at] if away <= reach else None


def look(number: int) -> StateStyle | None:
    """How a bone of which there are so many pieces is filled; None for none."""
    found = [style for least, style in NUMBERS if number >= least]
    return found[-1] if found else None


def marks(bone: MapBone, number: int, unit: float, y_up: bool = False) -> list[Segment]:
    """The hatch lines of a bone with so many pieces; `unit` is how many of the map's units are a millimetre."""
    style = look(number)
    if style is None or style.hatch is None:
        return []
    pitch, angle = style.hatch
    return hatch(bone.shape, pitch * unit, -angle if y_up else angle)


def map_svg(
    whole: SkeletonMap,
    numbers: Mapping[str, int],
    names: Mapping[str, str],
    *,
    title: str,
    shown_mm: float = 110.0,
    ink: str = "#241f1a",
    fill: str = "#8a6d4b",
    paper: str = "#fffdf7",
    light: str = "#7d7266",
) -> str:
    """The map with the numbers of pieces, to stand by itself or within a page; it holds no ids.

    `shown_mm` is the width it will have. `names` says what a bone is called when a pointer rests on it.
    """
    unit = whole.width / shown_mm
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole.width:g} {whole.height:g}" role="img"'
        f" aria-label={quoteattr(title)} data-form={quoteattr(whole.form)}>",
        f"<title>{escape(title)}</title>",
        stroke(whole.lines, light, WEIGHTS.light * unit) if whole.lines else "",
    ]
    for bone in whole.bones:
        number = numbers.get(bone.element, 0)
        style = look(number)
        said = escape(f"{names.get(bone.element, bone.element)}: {number}")
        out.append(f'<g data-element={quoteattr(bone.element)} data-number="{number}"><title>{said}</title>')
        out += ground(bone.shape, style.tone if style else 0.0, fill, paper)
        if style:
            out.append(stroke(marks(bone, number, unit), ink, style.line * unit))
        edge = [(*bone.shape, bone.shape[0])]
        out.append(stroke(edge, ink if style else light, (WEIGHTS.dashed if style else WEIGHTS.light) * unit))
        out.append("</g>")
    return "".join([*out, "</svg>"])


def _with_air(points: Iterable[Point]) -> Box:
    xs, ys = zip(*points, strict=True)
    air = AIR * max(max(xs) - min(xs), max(ys) - min(ys))
    return min(xs) - air, min(ys) - air, max(xs) - min(xs) + 2 * air, max(ys) - min(ys) + 2 * air
