"""The plates that are shipped, for the tests of plates. Not for: what a plate must be (checks)."""

from __future__ import annotations

from functools import cache

import pytest
from shapely import Polygon

from fieldapp import assets
from fieldapp.domain.gallery import PlateRow
from fieldapp.domain.plates import Plate

ROWS: tuple[PlateRow, ...] = tuple(assets.knowledge().gallery.rows())
EACH = pytest.mark.parametrize("row", ROWS, ids=[row.key for row in ROWS])


def drawn(row: PlateRow) -> Plate:
    """The plate of a row of the table."""
    return assets.plate(row.form, row.element, row.view)


def plate(form: str, element: str) -> Plate:
    """The first view of an element in a form."""
    return drawn(assets.knowledge().gallery.plates[form, element][0])


@cache
def shapes(row: PlateRow) -> dict[str, Polygon]:
    """{portion: shapely polygon}."""
    return {key: Polygon(points) for key, points in drawn(row).portions.items()}


def sides_of(polygon):
    """The sides of a polygon, each as the set of its two ends."""
    return [frozenset(side) for side in zip(polygon, polygon[1:] + polygon[:1], strict=True)]
