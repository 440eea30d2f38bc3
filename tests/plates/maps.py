"""Skeleton maps from their drafts: `python -m tests.plates.maps [FORM ...] [--look P.png]`.

For: contributors who draw. A draft is `assets/drafts/maps/<form>.txt`; the maps are `assets/maps/<form>.svg`. A
statement a line, as in the drafts of plates; later bones lie on top:

    size 1000 900                          10 units are 1 mm on an 8-inch tablet
    view lateral                           from the left side;  cranial for a standing person
    region head                            the bones that follow belong to it
    bone humerus x,y x,y ...               a closed shape, smooth through its points; x,y! is a corner
    limb femur x,y x,y  60 30 50           a long bone from joint to joint: width above, at the middle, below
    strip rib 14 x,y x,y x,y               a bent rod of this thickness along a smooth line
    row thoracic_vertebra 13 50 x,y x,y    so many blocks of this width along a smooth line
    line x,y x,y ...                       drawn lightly: the outline of the body, far limbs

Not for: portion plates (draft).
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from pathlib import Path

import shapely
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry import LineString, Polygon

from fieldapp import assets
from fieldapp.domain.plates import read_map
from tests.plates.draft import DraftError, Node, flat, node, path_of, points_of
from tests.plates.look import TINTS

Shape = list[tuple[float, float]]
TAPER = 0.86
"""How much of its share of a row a block takes: the rest is the gap."""


def map_of(text: str, form: str) -> str:
    """The SVG of the draft. Raises DraftError with the line."""
    size, view, region = "", "", ""
    regions: dict[str, list[str]] = {}
    lines: list[str] = []
    numbers: Counter[str] = Counter()
    for number, raw in enumerate(text.splitlines(), 1):
        word, *rest = raw.split("#")[0].split() or [""]
        try:
            if word == "size":
                size = f"{float(rest[0]):g} {float(rest[1]):g}"
            elif word == "view":
                (view,) = rest
            elif word == "region":
                (region,) = rest
                regions.setdefault(region, [])
            elif word == "line":
                lines.append(f'    <path d="{path_of(_rounded(flat([node(one) for one in rest], False)), False)}"/>')
            elif word in MAKERS:
                if not region:
                    raise DraftError("a bone before the first region")
                for shape in MAKERS[word](rest[1:]):
                    numbers[rest[0]] += 1
                    again = f".{numbers[rest[0]]}" if numbers[rest[0]] > 1 else ""
                    regions[region].append(f'    <path id="{rest[0]}{again}" d="{path_of(_sound(shape), True)}"/>')
            elif word:
                raise DraftError(f"{word!r} is no statement of a map")
        except (DraftError, ValueError, IndexError) as error:
            raise DraftError(f"maps/{form}.txt, line {number}: {error}") from error
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" data-form="{form}" data-view="{view}">']
    out += ['  <g id="lines" fill="none" stroke="#7d7266" stroke-width="2">', *lines, "  </g>"]
    for name, bones in regions.items():
        out += [f'  <g id="{name}" fill="#f6f1e6" stroke="#2b2520" stroke-width="3">', *bones, "  </g>"]
    return "\n".join([*out, "</svg>", ""])


def _bone(rest: list[str]) -> list[Shape]:
    return [flat([node(one) for one in rest], True)]


def _limb(rest: list[str]) -> list[Shape]:
    (ax, ay, _), (bx, by, _) = (node(one) for one in rest[:2])
    upper, middle, lower = (float(one) / 2 for one in rest[2:5])
    length = math.dist((ax, ay), (bx, by))
    ux, uy = (bx - ax) / length, (by - ay) / length

    def at(along: float, across: float) -> Node:
        return ax + ux * along * length - uy * across, ay + uy * along * length + ux * across, False

    half = [(0.0, upper * 0.7), (0.04, upper), (0.12, upper * 0.95), (0.28, middle * 1.1), (0.5, middle)]
    half += [(0.72, middle * 1.1), (0.88, lower * 0.92), (0.95, lower), (1.0, lower * 0.7)]
    return [flat([at(a, w) for a, w in half] + [at(a, -w) for a, w in reversed(half)], True)]


def _strip(rest: list[str]) -> list[Shape]:
    line = LineString(flat([node(one) for one in rest[1:]], False))
    shape = line.buffer(float(rest[0]) / 2, quad_segs=3).simplify(0.3)
    return [list(shape.exterior.coords)[:-1]]


def _row(rest: list[str]) -> list[Shape]:
    count, width = int(rest[0]), float(rest[1]) / 2
    line = LineString(flat([node(one) for one in rest[2:]], False))
    step = line.length / count
    shapes = []
    for at in range(count):
        low, high = (line.interpolate((at + 0.5 + side * TAPER / 2) * step) for side in (-1, 1))
        length = math.dist((low.x, low.y), (high.x, high.y)) or 1.0
        nx, ny = -(high.y - low.y) / length * width, (high.x - low.x) / length * width
        corners = [
            (low.x + nx, low.y + ny),
            (high.x + nx, high.y + ny),
            (high.x - nx, high.y - ny),
            (low.x - nx, low.y - ny),
        ]
        shapes.append(corners)
    return shapes


MAKERS = {"bone": _bone, "limb": _limb, "strip": _strip, "row": _row}


def _rounded(points: Shape) -> Shape:
    return [(round(x, 1), round(y, 1)) for x, y in points]


def _sound(points: Shape) -> Shape:
    shape = Polygon(_rounded(points))
    if not shape.is_valid:
        raise DraftError(f"the shape crosses itself ({shapely.is_valid_reason(shape)})")
    return points_of(shape)


def picture(form: str) -> Image.Image:
    """The map with its elements named, for who draws it."""
    found = read_map((assets.root() / "maps" / f"{form}.svg").read_text(encoding="utf-8"))
    image = Image.new("RGB", (int(found.width), int(found.height) + 24), "white")
    pen = ImageDraw.Draw(image)
    font = ImageFont.truetype(str(assets.font()), 11)
    for line in found.lines:
        pen.line([(x, y + 24) for x, y in line], fill="#bbb", width=2)
    regions = list(found.regions())
    for bone in found.bones:
        points = [(x, y + 24) for x, y in bone.shape]
        pen.polygon(points, fill=TINTS[regions.index(bone.region) % len(TINTS)], outline="#222", width=2)
    for element, pieces in found.elements().items():
        shape = max((Polygon(piece.shape) for piece in pieces), key=lambda one: one.area)
        spot = shape.representative_point()
        pen.text((spot.x, spot.y + 24), element, font=font, fill="#a20", anchor="mm")
    pen.text((6, 4), form, font=font, fill="black")
    return image


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.plates.maps")
    parser.add_argument("forms", nargs="*")
    parser.add_argument("--look", type=Path)
    chosen = parser.parse_args(arguments)
    folder = assets.root()
    forms = chosen.forms or sorted(path.stem for path in (folder / "drafts" / "maps").glob("*.txt"))
    for form in forms:
        text = (folder / "drafts" / "maps" / f"{form}.txt").read_text(encoding="utf-8")
        (folder / "maps" / f"{form}.svg").write_text(map_of(text, form), encoding="utf-8")
    if chosen.look:
        pictures = [picture(form) for form in forms]
        across = min(2, len(pictures))
        wide, high = max(one.width for one in pictures), max(one.height for one in pictures)
        sheet = Image.new("RGB", (wide * across, high * -(-len(pictures) // across)), "white")
        for at, one in enumerate(pictures):
            sheet.paste(one, (at % across * wide, at // across * high))
        sheet.save(chosen.look)
    print(f"{len(forms)} maps")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
