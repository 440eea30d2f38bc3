"""The site's grid in the national one and on the globe, against published worked examples and another program.

Seen: EPSG Guidance Note 7-2, Transverse Mercator, as transcribed at https://epsg.io/9807-method.gml (E 577274.99,
N 69740.50 for 50 30 N, 0 30 E, OSGB 1936 / British National Grid; the note rounds its scale factor and flattening).
Seen: the similarity transformation EPSG:5166 at https://epsg.io/5166 and https://epsgtransform.com/transform/epsg-23031-to-epsg-25831
(parameters, and those of the reverse as the Cartographic Institute of Catalonia publishes them), formulas at
https://epsg.io/9621-method. The four points: the Institute's model document of that transformation (H2D_v8), as quoted
in a public repository's test data; the document itself was not seen.
Other program: PROJ, by its own operation EPSG:5166 and its own Airy ellipsoid.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pyproj import Transformer
from pyproj.transformer import TransformerGroup

from server.grid import Fit, Grid, GridError, Point, fit, name_of, to_globe

CATALONIA = Grid(25831, -129.549, -208.185, 1.56504 / 3600, 1.0000015504)
MODEL = (
    (300000.0, 4500000.0, 299905.060, 4499796.515),
    (315000.0, 4740000.0, 314906.904, 4739796.774),
    (520000.0, 4680000.0, 519906.767, 4679795.125),
    (420000.0, 4600000.0, 419906.005, 4599795.760),
)
MILLIMETRE = 0.001


@pytest.mark.parametrize("point", MODEL)
def test_the_similarity_gives_the_published_points_there_and_back(point: tuple[float, ...]) -> None:
    assert CATALONIA.national(*point[:2]) == pytest.approx(point[2:], abs=MILLIMETRE)
    assert CATALONIA.on_site(*point[2:]) == pytest.approx(point[:2], abs=MILLIMETRE)


def test_its_reverse_has_the_published_parameters() -> None:
    east, north = CATALONIA.on_site(0.0, 0.0)
    assert (east, north) == pytest.approx((129.547, 208.186), abs=MILLIMETRE)
    assert 1 / CATALONIA.scale == pytest.approx(0.9999984496, abs=1e-10)


def test_proj_gives_the_same_for_the_same_operation() -> None:
    name = "ED50 / UTM zone 31N to ETRS89 / UTM zone 31N (1)"
    theirs = next(one for one in TransformerGroup(23031, 25831, always_xy=True).transformers if one.description == name)
    for east, north, *_ in MODEL:
        assert CATALONIA.national(east, north) == pytest.approx(theirs.transform(east, north), abs=MILLIMETRE)


def test_the_published_points_fit_the_published_grid() -> None:
    """Points rounded to millimetres, some 240 km apart: shift and turn come out as far as that allows."""
    found = fit(25831, [Point("", one[:2], one[2:]) for one in MODEL])  # type: ignore[arg-type]
    assert found.rms < MILLIMETRE
    assert found.grid.scale == pytest.approx(CATALONIA.scale, abs=1e-8)
    assert found.grid.rotation_deg == pytest.approx(CATALONIA.rotation_deg, abs=1e-6)
    assert (found.grid.east0, found.grid.north0) == pytest.approx((CATALONIA.east0, CATALONIA.north0), abs=0.05)


def test_the_british_grid_lies_where_the_guidance_note_says() -> None:
    """Within the centimetre by which the note's rounded scale factor moves its example."""
    theirs = Transformer.from_crs(4277, 27700, always_xy=True).transform(0.5, 50.5)
    assert theirs == pytest.approx((577274.99, 69740.50), abs=0.01)
    rounded = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996013 +x_0=400000 +y_0=-100000 +a=6377563.396 +rf=299.32496"
    exact = Transformer.from_crs("+proj=longlat +a=6377563.396 +rf=299.32496", rounded, always_xy=True)
    assert exact.transform(0.5, 50.5) == pytest.approx((577274.99, 69740.50), abs=0.005)
    # The site's way to the globe is the same grid, moved to the datum of satellites: some hundred metres, no more.
    longitude, latitude = Grid(27700, 577274.99, 69740.50, 0.0, 1.0).on_globe(0.0, 0.0)
    assert 0 < math.hypot((longitude - 0.5) * 70_900, (latitude - 50.5) * 111_200) < 200


@given(
    st.floats(-720, 720), st.floats(0.995, 1.005), st.floats(-1e6, 1e6), st.floats(-1e6, 1e7),
    st.lists(st.tuples(st.floats(-500, 500), st.floats(-500, 500)), min_size=2, max_size=8),
)  # fmt: skip
def test_whatever_the_grid_its_points_find_it_again(turn, scale, east, north, places):  # type: ignore[no-untyped-def]
    assume(math.dist(min(places), max(places)) > 1)
    grid = Grid(27700, east, north, turn, scale)
    points = [Point(str(n), one, grid.national(*one)) for n, one in enumerate(places)]
    found = fit(27700, points)
    assert found.rms < MILLIMETRE / 10
    for one in points:
        assert found.grid.national(*one.site) == pytest.approx(one.national, abs=MILLIMETRE / 10)
        assert grid.on_site(*one.national) == pytest.approx(one.site, abs=MILLIMETRE / 10)


def test_a_peg_that_was_read_wrongly_shows_in_the_residuals() -> None:
    grid = Grid(27700, 412030.0, 318455.0, 12.5, 1.0)
    places = [(0.0, 0.0), (20.0, 0.0), (20.0, 30.0), (0.0, 30.0)]
    good = [Point(str(one), one, grid.national(*one)) for one in places]
    east, north = good[2].national
    found: Fit = fit(27700, [*good[:2], Point("read wrongly", (20.0, 30.0), (east + 1.0, north)), good[3]])
    lengths = [math.hypot(*one) for one in found.residuals]
    assert found.worst == lengths.index(max(lengths)) == 2
    assert not found.grid.is_usual
    assert fit(27700, good).grid.is_usual
    # Least squares: no other turn, shift or scale comes out better.
    for turn, shift, scale in ((0.1, 0.0, 1.0), (0.0, 0.05, 1.0), (0.0, 0.0, 1.001)):
        worse = Grid(
            27700, found.grid.east0 + shift, found.grid.north0, found.grid.rotation_deg + turn, found.grid.scale * scale
        )
        off = [math.dist(worse.national(*one.site), to) for one, to in zip(
            [*good[:2], Point("", (20.0, 30.0), (east + 1.0, north)), good[3]],
            [good[0].national, good[1].national, (east + 1.0, north), good[3].national], strict=True)]  # fmt: skip
        assert math.sqrt(sum(one * one for one in off) / 4) > found.rms


def test_what_is_no_grid_is_refused() -> None:
    here = Point("", (0.0, 0.0), (1.0, 1.0))
    for points, reason in (([here], "points"), ([here, here], "same")):
        with pytest.raises(GridError) as fault:
            fit(27700, points)
        assert fault.value.reason == reason
    assert "British National Grid" in name_of(27700)
    for epsg in (4326, 2277, 0, -5, 10**30):  # degrees; feet; none
        with pytest.raises(GridError):
            to_globe(epsg)
