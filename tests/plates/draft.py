"""From a draft to a plate: curves through points, cut into portions that share their edges.

For: contributors who draw. A draft is a small text file of `assets/drafts/<form>/<element>.<view>.txt`; `plates` in
the Makefile makes the SVG of `assets/plates/` from it. Not for: the tablet or the cabin, which read the SVG alone;
judging a plate (the checks beside this file do).

A draft has one statement a line; a line that begins with a blank goes on with the one before, # begins a comment:

    side left | midline          which bone is drawn; a midline bone is never mirrored
    size 420 950                 10 units are 1 mm on an 8-inch tablet; at most 520 x 950 (tall) or 950 x 560 (wide)
    mirror 210                   the half with x <= 210 is drawn, the rest is its mirror image (left_ and right_ change)
    outline x,y x,y ...          the bone's edge, closed, smooth through its points; x,y! is a corner; repeatable
    hole x,y ...                 an opening in the bone, closed; cuts must reach it so that each portion is one ring
    cut x,y ...                  a border between portions, open; what runs over is cut off, a short end reaches on
    portion key x,y              the piece around x,y is this portion; several lines of one key join their pieces
    line x,y ...                 a landmark on the bone, drawn lightly, open;    ring x,y ...   the same, closed
    beside x,y ...               a neighbouring bone, drawn lightly outside, open;   beside_ring x,y ...   closed
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import shapely
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.ops import polygonize, unary_union

from fieldapp.domain.plates import other_key

GRID = 0.1
CURVED = 0.2
"""How far a flattened curve may run from the true one, in units."""
REACH = 14.0
"""How far a cut whose end lies in the bone reaches on to meet an edge, in units."""
SLIVER = 400.0
"""What two cuts enclose by a slip goes to its neighbour, in square units."""
LEAST = 8.0
"""Pieces of landmarks shorter than this are left out."""

LINES = ("outline", "hole", "cut", "line", "ring", "beside", "beside_ring")
CLOSED = ("outline", "hole", "ring", "beside_ring")

Node = tuple[float, float, bool]
"""x, y and whether the curve has a corner there."""


class DraftError(ValueError):
    """A draft cannot be made a plate; the message says which line and why."""


@dataclass
class Draft:
    """A draft as read: `lines` holds the curves of each kind, `seeds` a point within each portion's pieces."""

    element: str
    form: str
    view: str
    side: str = "left"
    width: float = 0.0
    height: float = 0.0
    mirror: float | None = None
    lines: dict[str, list[list[Node]]] = field(default_factory=lambda: {kind: [] for kind in LINES})
    seeds: list[tuple[str, float, float]] = field(default_factory=list)
    comment: str = ""


@dataclass
class Drawn:
    """A plate's geometry: portions in the order of the draft, and the light lines."""

    draft: Draft
    portions: dict[str, Polygon]
    landmarks: list[list[tuple[float, float]]]
    beside: list[list[tuple[float, float]]]


def read_draft(text: str, form: str, element: str, view: str) -> Draft:
    """The draft written in the text. Raises DraftError."""
    draft = Draft(element, form, view)
    statements: list[tuple[int, str]] = []
    for number, raw in enumerate(text.splitlines(), 1):
        if raw.startswith("#"):
            draft.comment += raw.lstrip("# ") + " "
        bare = raw.split("#")[0].rstrip()
        if not bare:
            continue
        if bare[0] in " \t":
            if not statements:
                raise DraftError(f"line {number}: nothing to go on with")
            statements[-1] = (statements[-1][0], statements[-1][1] + " " + bare.strip())
        else:
            statements.append((number, bare))
    for number, statement in statements:
        word, *rest = statement.split()
        try:
            if word == "side":
                (draft.side,) = rest
            elif word == "size":
                draft.width, draft.height = map(float, rest)
            elif word == "mirror":
                (axis,) = rest
                draft.mirror = float(axis)
            elif word == "portion":
                key, place = rest
                draft.seeds.append((key, *node(place)[:2]))
            elif word in LINES:
                draft.lines[word].append([node(one) for one in rest])
            else:
                raise DraftError(f"line {number}: {word!r} is no statement of a draft")
        except (ValueError, TypeError) as error:
            if isinstance(error, DraftError):
                raise
            raise DraftError(f"line {number}: cannot be read: {statement[:60]} ({error})") from error
        if word in LINES and len(rest) < 2:
            raise DraftError(f"line {number}: a line of fewer than two points")
    if not (draft.width and draft.height and draft.lines["outline"] and draft.seeds):
        raise DraftError("a draft needs size, outline and at least one portion")
    if draft.side not in ("left", "midline"):
        raise DraftError(f"a draft is of the left side or the midline, not {draft.side!r}")
    return draft


def drawn(draft: Draft) -> Drawn:
    """The geometry of the draft. Raises DraftError where cuts and portions do not come out even."""
    curves = {kind: [part for line in draft.lines[kind] for part in _mirrored(draft, line, kind)] for kind in LINES}
    bone = unary_union([_area(draft, one, "outline") for one in curves["outline"]])
    for hole in curves["hole"]:
        bone = bone.difference(_area(draft, hole, "hole"))
    rings = [flat(one, True) for one in curves["outline"] + curves["hole"]]
    cuts = [_reaching(flat(one, False), bone) for one in curves["cut"]]
    net = shapely.union_all([*(LineString([*ring, ring[0]]) for ring in rings), *map(LineString, cuts)], grid_size=GRID)
    faces = [face for face in polygonize(net) if bone.buffer(0.05).contains(face.representative_point())]
    portions = _named(draft, faces)
    inside = unary_union(list(portions.values())).buffer(0.01)
    marks = [flat(one, False) for one in curves["line"]] + [[*(r := flat(one, True)), r[0]] for one in curves["ring"]]
    landmarks = [piece for mark in marks for piece in _clipped(mark, inside)]
    beside = [flat(one, False) for one in curves["beside"]]
    beside += [[*(r := flat(one, True)), r[0]] for one in curves["beside_ring"]]
    kept = [piece for line in beside for piece in _clipped(line, shapely.box(0, 0, draft.width, draft.height) - inside)]
    return Drawn(draft, portions, landmarks, kept)


def svg(plate: Drawn) -> str:
    """The plate as the SVG file that is shipped."""
    draft = plate.draft
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {draft.width:g} {draft.height:g}"'
        f' data-element="{draft.element}" data-form="{draft.form}" data-side="{draft.side}" data-view="{draft.view}">',
        '  <g id="portions" fill="#f6f1e6" stroke="#2b2520" stroke-width="4" stroke-linejoin="round">',
        *(f'    <path id="{key}" d="{path_of(points_of(shape), True)}"/>' for key, shape in plate.portions.items()),
        "  </g>",
    ]
    for name, lines in (("landmarks", plate.landmarks), ("beside", plate.beside)):
        if lines:
            out.append(f'  <g id="{name}" fill="none" stroke="#7d7266" stroke-width="2" stroke-linecap="round">')
            out += [f'    <path d="{path_of(line, False)}"/>' for line in lines]
            out.append("  </g>")
    return "\n".join([*out, "</svg>", ""])


def draft_at(path: Path) -> Draft:
    """The draft of a file <form>/<element>.<view>.txt. Raises DraftError that names the file."""
    element, _, view = path.stem.partition(".")
    try:
        return read_draft(path.read_text(encoding="utf-8"), path.parent.name, element, view)
    except DraftError as error:
        raise DraftError(f"{path.parent.name}/{path.name}: {error}") from error


# -- curves --


def node(text: str) -> Node:
    match = re.fullmatch(r"(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)(!?)", text)
    if not match:
        raise DraftError(f"{text!r} is not a point x,y or x,y!")
    return float(match[1]), float(match[2]), bool(match[3])


def _mirrored(draft: Draft, line: list[Node], kind: str) -> list[list[Node]]:
    """The line, and with a mirror its image; a line that ends on the axis is joined with its image."""
    axis = draft.mirror
    if axis is None:
        return [line]
    image = [(2 * axis - x, y, corner) for x, y, corner in reversed(line)]
    first, last = (abs(line[at][0] - axis) < 0.05 for at in (0, -1))
    if first and last:
        whole = line + image[1:]
        return [whole[:-1] if kind in CLOSED else whole]
    if last:
        return [line + image[1:]]
    if first:
        return [image + line[1:]]
    return [line, image]


def flat(nodes: list[Node], closed: bool) -> list[tuple[float, float]]:
    """Points along the smooth curve through the nodes (a centripetal Catmull-Rom spline), thinned; corners stay."""
    count = len(nodes)
    spots = [(x, y) for x, y, _ in nodes]
    points: list[tuple[float, float]] = [spots[0]]
    for at in range(count if closed else count - 1):
        b, c = spots[at], spots[(at + 1) % count]
        a = spots[at - 1] if (closed or at > 0) and not nodes[at][2] else None
        after = (at + 2) % count
        d = spots[after] if (closed or at + 2 < count) and not nodes[(at + 1) % count][2] else None
        points += _segment(a, b, c, d)
    if closed:
        points.pop()
    thin = LineString([*points, points[0]] if closed else points)
    if thin.length == 0:
        raise DraftError("a line of no length")
    kept = list(thin.simplify(CURVED, preserve_topology=True).coords)
    return kept[:-1] if closed else kept


def _segment(
    a: tuple[float, float] | None,
    b: tuple[float, float],
    c: tuple[float, float],
    d: tuple[float, float] | None,
) -> list[tuple[float, float]]:
    chord = math.dist(b, c)
    if chord < 1e-9:
        return []
    # Beyond a corner or an end the curve leaves as if mirrored in the chord, which is a straight start.
    if a is None:
        a = (2 * b[0] - c[0], 2 * b[1] - c[1])
    if d is None:
        d = (2 * c[0] - b[0], 2 * c[1] - b[1])
    t0, t1, t2 = (max(math.dist(p, q), 1e-6) ** 0.5 for p, q in ((a, b), (b, c), (c, d)))
    out = []
    steps = max(2, min(24, round(chord / 4)))
    for step in range(1, steps + 1):
        u = step / steps
        point = []
        for axis in (0, 1):
            m1 = (c[axis] - b[axis]) + t1 * ((b[axis] - a[axis]) / t0 - (c[axis] - a[axis]) / (t0 + t1))
            m2 = (c[axis] - b[axis]) + t1 * ((d[axis] - c[axis]) / t2 - (d[axis] - b[axis]) / (t1 + t2))
            h = 2 * (b[axis] - c[axis]) + m1 + m2
            k = -3 * (b[axis] - c[axis]) - 2 * m1 - m2
            point.append(((h * u + k) * u + m1) * u + b[axis])
        out.append((point[0], point[1]))
    return out


def _area(draft: Draft, nodes: list[Node], kind: str) -> Polygon:
    ring = flat(nodes, True)
    shape = Polygon(ring)
    if not shape.is_valid:
        why = shapely.is_valid_reason(shape)
        raise DraftError(f"the {kind} crosses itself ({why})")
    frame = shapely.box(0, 0, draft.width, draft.height)
    if not frame.contains(shape):
        low = [round(n, 1) for n in shape.bounds]
        raise DraftError(f"the {kind} leaves the drawing: it fills {low}")
    return shape


def _reaching(points: list[tuple[float, float]], bone: Polygon) -> list[tuple[float, float]]:
    """The cut with ends that lie in the bone drawn on by REACH, so that a small miss still meets its edge."""
    out = list(points)
    for end, before in ((0, 1), (-1, -2)):
        (x, y), (px, py) = out[end], out[before]
        if bone.buffer(1).contains(Point(x, y)):
            length = math.dist((x, y), (px, py)) or 1.0
            on = (x + (x - px) * REACH / length, y + (y - py) * REACH / length)
            if end == 0:
                out.insert(0, on)
            else:
                out.append(on)
    return out


# -- portions --


def _named(draft: Draft, faces: list[Polygon]) -> dict[str, Polygon]:
    seeds = list(draft.seeds)
    if draft.mirror is not None:
        for key, x, y in draft.seeds:
            if abs(x - draft.mirror) > 1:
                seeds.append((other_key(key), 2 * draft.mirror - x, y))
    owner: dict[int, str] = {}
    for key, x, y in seeds:
        found = [at for at, face in enumerate(faces) if face.contains(Point(x, y))]
        if not found:
            raise DraftError(f"portion {key}: {x:g},{y:g} is not within the bone")
        if owner.setdefault(found[0], key) != key:
            raise DraftError(f"portions {owner[found[0]]} and {key} are not parted: no cut closes between them")
    for at, face in enumerate(faces):
        if at not in owner and face.area >= SLIVER:
            spot = face.representative_point()
            raise DraftError(f"a piece at {spot.x:.0f},{spot.y:.0f} (area {face.area:.0f}) has no portion")
    for at, face in enumerate(faces):
        if at not in owner:
            beside = {other: face.intersection(faces[other]).length for other in set(owner)}
            owner[at] = owner[max(beside, key=lambda other: beside[other])]
    portions: dict[str, Polygon] = {}
    for key, *_ in seeds:
        if key in portions:
            continue
        joined = unary_union([face for at, face in enumerate(faces) if owner[at] == key])
        if not isinstance(joined, Polygon):
            raise DraftError(f"portion {key} is in several pieces")
        if joined.interiors:
            raise DraftError(f"portion {key} runs round a hole: draw a cut to it")
        portions[key] = joined
    return portions


def _clipped(line: list[tuple[float, float]], area: Polygon) -> list[list[tuple[float, float]]]:
    found = LineString(line).intersection(area)
    parts = found.geoms if isinstance(found, MultiLineString) else [found]
    pieces = [part for part in parts if isinstance(part, LineString) and part.length >= LEAST]
    joined = shapely.line_merge(MultiLineString(pieces)) if pieces else MultiLineString()
    out = joined.geoms if isinstance(joined, MultiLineString) else [joined]
    return [[(round(x, 1), round(y, 1)) for x, y in part.coords] for part in out]


def points_of(shape: Polygon) -> list[tuple[float, float]]:
    return [(round(x, 1), round(y, 1)) for x, y in list(shape.exterior.coords)[:-1]]


def path_of(points: list[tuple[float, float]], closed: bool) -> str:
    kept = [points[0], *(b for a, b in pairwise(points) if a != b)]
    return f"M{kept[0][0]:g} {kept[0][1]:g}" + "".join(f"L{x:g} {y:g}" for x, y in kept[1:]) + ("Z" if closed else "")
