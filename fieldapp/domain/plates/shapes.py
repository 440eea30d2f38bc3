"""Plane geometry on plain polygons: inside or not, how far away, hatching, triangles.

For: the few operations the plates need, on polygons given as tuples of (x, y) without the closing point repeated.
Not for: holes, curves or set operations; polygons here are simple (no edge crosses another) and may be concave.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from heapq import heappop, heappush

Point = tuple[float, float]
Segment = tuple[Point, Point]
Triangle = tuple[int, int, int]

CROSSED = "the outline crosses itself and cannot be cut into triangles"


def sides(polygon: Sequence[Point]) -> Iterator[Segment]:
    """The polygon's sides in order, beginning with the one that closes it."""
    before = polygon[-1]
    for point in polygon:
        yield before, point
        before = point


def signed_area(polygon: Sequence[Point]) -> float:
    """Area in square units; positive when the points turn from the x axis towards the y axis."""
    return sum(ax * by - bx * ay for (ax, ay), (bx, by) in sides(polygon)) / 2


def contains(polygon: Sequence[Point], x: float, y: float) -> bool:
    """Whether the point lies inside. Of two polygons that share a side, a point on that side is in exactly one."""
    inside = False
    ax, ay = polygon[-1]
    for bx, by in polygon:
        if (ay > y) != (by > y):
            # The side is always measured from its lower end, so both neighbours get the same answer to the last bit.
            if ay < by:
                crossing = ax + (y - ay) * (bx - ax) / (by - ay)
            else:
                crossing = bx + (y - by) * (ax - bx) / (ay - by)
            if x < crossing:
                inside = not inside
        ax, ay = bx, by
    return inside


def distance(polygon: Sequence[Point], x: float, y: float) -> float:
    """Distance from the point to the polygon's nearest side, in the polygon's units."""
    nearest = math.inf
    ax, ay = polygon[-1]
    for bx, by in polygon:
        dx, dy = bx - ax, by - ay
        length = dx * dx + dy * dy
        along = ((x - ax) * dx + (y - ay) * dy) / length if length else 0.0
        along = 0.0 if along < 0.0 else 1.0 if along > 1.0 else along
        px, py = ax + along * dx - x, ay + along * dy - y
        away = px * px + py * py
        if away < nearest:
            nearest = away
        ax, ay = bx, by
    return math.sqrt(nearest)


def hatch(polygon: Sequence[Point], pitch: float, angle: float, origin: Point = (0.0, 0.0)) -> list[Segment]:
    """Parallel lines clipped to the polygon.

    `pitch` is the distance between lines in the polygon's units, `angle` their direction in degrees from the x axis
    towards the y axis. The lines lie on one grid through `origin`, so that they run on from a portion into the next.
    """
    if not pitch > 0:
        raise ValueError("the pitch of a hatch must be above nought")
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    ox, oy = origin
    turned = [((x - ox) * cos + (y - oy) * sin, (y - oy) * cos - (x - ox) * sin) for x, y in polygon]
    crossings: dict[int, list[float]] = defaultdict(list)
    for (au, av), (bu, bv) in sides(turned):
        if av > bv:
            au, av, bu, bv = bu, bv, au, av
        # The lower end counts and the upper does not, so each line meets the polygon an even number of times.
        for line in range(math.ceil(av / pitch), math.ceil(bv / pitch)):
            crossings[line].append(au + (line * pitch - av) * (bu - au) / (bv - av))
    lines = []
    for line in sorted(crossings):
        across, v = sorted(crossings[line]), line * pitch
        for start, end in zip(across[::2], across[1::2], strict=True):
            if end - start > pitch * 1e-6:
                lines.append(
                    (
                        (start * cos - v * sin + ox, start * sin + v * cos + oy),
                        (end * cos - v * sin + ox, end * sin + v * cos + oy),
                    )
                )
    return lines


def widest(polygon: Sequence[Point], precision: float = 0.01) -> tuple[float, float, float]:
    """(x, y, radius) of about the largest circle within the polygon: where a fingertip or a figure has most room.

    Squares over the polygon are cut into four as long as one may still hold a better middle; `precision` is how much
    better, as a share of the longer side, it would have to be.
    """
    xs, ys = [x for x, _ in polygon], [y for _, y in polygon]
    low_x, low_y, wide, high = min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)
    least = max(wide, high) * precision
    half = min(wide, high) / 2 or least
    best = (low_x, low_y, 0.0)
    open_squares: list[tuple[float, float, float, float]] = []

    def look(x: float, y: float, half: float) -> None:
        nonlocal best
        room = distance(polygon, x, y)
        if contains(polygon, x, y):
            if room > best[2]:
                best = (x, y, room)
        else:
            room = -room
        # No middle within the square is further from the edge than its own by more than half its diagonal.
        heappush(open_squares, (-(room + half * math.sqrt(2)), x, y, half))

    for i in range(math.ceil(wide / (2 * half))):
        for j in range(math.ceil(high / (2 * half))):
            look(low_x + (2 * i + 1) * half, low_y + (2 * j + 1) * half, half)
    while open_squares:
        bound, x, y, half = heappop(open_squares)
        if -bound - best[2] <= least:
            break
        for dx in (-half / 2, half / 2):
            for dy in (-half / 2, half / 2):
                look(x + dx, y + dy, half / 2)
    return best


def triangles(polygon: Sequence[Point]) -> list[Triangle]:
    """Triangles that cover the polygon exactly, as indexes of its points: what a graphics card can fill.

    Ear clipping; the indexes hold for the same polygon moved, scaled or mirrored. Raises ValueError for an outline
    that crosses itself, told by triangles that run out or that cover more than the outline encloses.
    """
    left = list(range(len(polygon)))
    area = signed_area(polygon)
    if area < 0:
        left.reverse()
    ears: list[Triangle] = []
    at, tried, covered = 0, 0, 0.0
    while len(left) > 3:
        if tried > len(left):
            raise ValueError(CROSSED)
        at %= len(left)
        before, here, after = left[at - 1], left[at], left[(at + 1) % len(left)]
        turn = _turn(polygon[before], polygon[here], polygon[after])
        if turn == 0 or (turn > 0 and _is_ear(polygon, left, before, here, after)):
            if turn > 0:
                ears.append((before, here, after))
                covered += turn / 2
            del left[at]
            tried = 0
        else:
            tried += 1
        at += 1  # Stepping on spreads the ears round the outline, which keeps the triangles from becoming slivers.
    ears.append((left[0], left[1], left[2]))
    covered += abs(_turn(*(polygon[index] for index in left))) / 2
    if not math.isclose(covered, abs(area), rel_tol=1e-6):
        raise ValueError(CROSSED)
    return ears


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _is_ear(polygon: Sequence[Point], left: list[int], before: int, here: int, after: int) -> bool:
    a, b, c = polygon[before], polygon[here], polygon[after]
    low_x, high_x = min(a[0], b[0], c[0]), max(a[0], b[0], c[0])
    low_y, high_y = min(a[1], b[1], c[1]), max(a[1], b[1], c[1])
    for index in left:
        point = polygon[index]
        if not (low_x <= point[0] <= high_x and low_y <= point[1] <= high_y) or index in (
            before,
            here,
            after,
        ):
            continue
        if _turn(a, b, point) >= 0 and _turn(b, c, point) >= 0 and _turn(c, a, point) >= 0:
            return False
    return True
