"""A site's own grid within a national one, and that on the globe. Pure functions; pyproj knows the national grids.

    grid = Grid(epsg=27700, east0=412030.0, north0=318455.0, rotation_deg=12.5, scale=1.0)
    grid.national(4.2, 11.0)      metres east and north in the national grid
    grid.on_globe(4.2, 11.0)      longitude and latitude, WGS 84

`east0`, `north0`: where the site grid's 0, 0 lies. `rotation_deg`: the bearing of the site grid's north in the national
one, clockwise positive. `scale`: metres of the national grid to a metre of the site's. It is the similarity
transformation of EPSG method 9621. Not here: whose places may be shown (server.review.closing): a place of what is on
hold is never handed to these functions by a page.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

WGS84 = 4326
USUAL_SCALE = (0.99, 1.01)
"""Outside these a scale is a slip: no national grid stretches a metre by a hundredth (common practice, no source)."""


class GridError(ValueError):
    """What cannot be a grid; `reason` is a key: "epsg", "points" or "same"."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Grid:
    """See the module."""

    epsg: int
    east0: float
    north0: float
    rotation_deg: float
    scale: float

    def national(self, east: float, north: float) -> tuple[float, float]:
        """A place of the site grid in the national one."""
        cos, sin = self._turn()
        return (self.east0 + east * cos + north * sin, self.north0 - east * sin + north * cos)

    def on_site(self, east: float, north: float) -> tuple[float, float]:
        """A place of the national grid in the site's."""
        cos, sin = self._turn()
        m, e, n = self.scale**2, east - self.east0, north - self.north0
        return ((e * cos - n * sin) / m, (e * sin + n * cos) / m)

    def on_globe(self, east: float, north: float) -> tuple[float, float]:
        """Longitude and latitude (WGS 84, degrees) of a place of the site grid. Raises GridError."""
        longitude, latitude = to_globe(self.epsg).transform(*self.national(east, north))
        return (longitude, latitude)

    @property
    def is_usual(self) -> bool:
        """Whether its scale is one that a grid may have."""
        return USUAL_SCALE[0] <= self.scale <= USUAL_SCALE[1]

    def _turn(self) -> tuple[float, float]:
        angle = math.radians(self.rotation_deg)
        return self.scale * math.cos(angle), self.scale * math.sin(angle)


@dataclass(frozen=True, slots=True)
class Point:
    """A point that was surveyed in both grids."""

    name: str
    site: tuple[float, float]
    national: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Fit:
    """The grid that fits some points best. `residuals`: (east, north) metres that each national point lies off it."""

    grid: Grid
    residuals: tuple[tuple[float, float], ...]

    @property
    def worst(self) -> int:
        """Which of the points lies furthest off."""
        lengths = [math.hypot(*one) for one in self.residuals]
        return lengths.index(max(lengths))

    @property
    def rms(self) -> float:
        """The residuals in one figure: the root of the mean square of their lengths."""
        return math.sqrt(sum(e * e + n * n for e, n in self.residuals) / len(self.residuals))


def fit(epsg: int, points: Sequence[Point], *, scale: float | None = None) -> Fit:
    """The similarity (shift, turn and scale) with the least squares of residuals; with `scale` that one is kept.

    Raises GridError for fewer than two points, and for points in one place.
    """
    if len(points) < 2:
        raise GridError("points")
    n = len(points)
    x0, y0 = (math.fsum(one.site[axis] for one in points) / n for axis in (0, 1))
    e0, n0 = (math.fsum(one.national[axis] for one in points) / n for axis in (0, 1))
    # About the middle of the points: coordinates of seven digits squared would eat up the millimetres.
    pairs = [(one.site[0] - x0, one.site[1] - y0, one.national[0] - e0, one.national[1] - n0) for one in points]
    spread = math.fsum(x * x + y * y for x, y, _, _ in pairs)
    along = math.fsum(x * e + y * n_ for x, y, e, n_ in pairs)
    across = math.fsum(y * e - x * n_ for x, y, e, n_ in pairs)
    if spread < 1e-6 or math.hypot(along, across) < 1e-6:
        raise GridError("same")
    angle = math.atan2(across, along)
    found = math.hypot(along, across) / spread if scale is None else scale
    cos, sin = found * math.cos(angle), found * math.sin(angle)
    grid = Grid(epsg, e0 - x0 * cos - y0 * sin, n0 + x0 * sin - y0 * cos, math.degrees(angle), found)
    off = []
    for one in points:
        east, north = grid.national(*one.site)
        off.append((one.national[0] - east, one.national[1] - north))
    return Fit(grid, tuple(off))


def name_of(epsg: int) -> str:
    """What the EPSG register calls a national grid in metres. Raises GridError for what is none."""
    try:
        crs = CRS.from_epsg(epsg)
    except (CRSError, OverflowError, ValueError):
        raise GridError("epsg") from None
    flat = crs.is_projected and all(axis.unit_name == "metre" for axis in crs.axis_info[:2])
    if not flat or {axis.direction for axis in crs.axis_info[:2]} != {"east", "north"}:
        raise GridError("epsg")
    return str(crs.name)


@lru_cache(maxsize=8)
def to_globe(epsg: int) -> Transformer:
    """From a national grid, east before north, to longitude and latitude. Raises GridError."""
    name_of(epsg)
    return Transformer.from_crs(epsg, WGS84, always_xy=True)
