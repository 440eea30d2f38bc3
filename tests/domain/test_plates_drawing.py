"""How plates are filled: hatches, dots and edges, checked against shapely 2 and, for SVG, a second XML reading."""

from __future__ import annotations

import math
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, Point, Polygon, affinity, unary_union

from fieldapp.domain.plates import (
    STATES,
    PlateError,
    contains,
    distance,
    edges,
    fitted,
    hatch,
    mirrored,
    pattern,
    portion_at,
    signed_area,
    state_style,
    svg,
    triangles,
    widest,
)
from tests.plates.shelf import plate

DRAWN = [(form, bone) for form in ("human", "ruminant") for bone in ("humerus", "radius", "femur", "tibia")]
EACH = pytest.mark.parametrize(("form", "element"), DRAWN)
SVG = "{http://www.w3.org/2000/svg}"


@st.composite
def polygons(draw):
    """Simple polygons, mostly concave: points at rising angles round a middle, at any distance from it."""
    gaps = draw(st.lists(st.integers(1, 50), min_size=5, max_size=24))
    away = draw(st.lists(st.integers(1, 100), min_size=len(gaps), max_size=len(gaps)))
    points, turn = [], 0
    for gap, far in zip(gaps, away, strict=True):
        points.append((far * math.cos(math.tau * turn / sum(gaps)), far * math.sin(math.tau * turn / sum(gaps))))
        turn += gap
    assume(max(gaps) * 2 < sum(gaps))
    assert Polygon(points).is_valid
    return tuple(points if draw(st.booleans()) else points[::-1])


def clipped_by_shapely(shape, pitch, angle):
    """The same family of lines clipped by GEOS."""
    reach = 2000
    turned = affinity.rotate(shape, -angle, origin=(0, 0))
    low, high = turned.bounds[1], turned.bounds[3]
    lines = [
        LineString([(-reach, n * pitch), (reach, n * pitch)])
        for n in range(math.ceil(low / pitch), math.floor(high / pitch) + 1)
    ]
    return affinity.rotate(MultiLineString(lines), angle, origin=(0, 0)).intersection(shape)


@given(polygons(), st.floats(1, 30), st.floats(-180, 180))
def test_hatching_is_what_shapely_clips(points, pitch, angle):
    shape = Polygon(points)
    lines = hatch(points, pitch, angle)
    grown = shape.buffer(1e-6)
    assert all(grown.contains(LineString(line)) for line in lines)
    assert sum(LineString(line).length for line in lines) == pytest.approx(
        # A line along a side may count or not; such lines have no bearing on what is seen.
        clipped_by_shapely(shape, pitch, angle).length,
        abs=1e-4 + 1e-6 * shape.length + _along_sides(points, pitch, angle),
    )


def _along_sides(points, pitch, angle):
    """Length of the sides that run so nearly along the hatch that both answers are right."""
    length = 0.0
    for (ax, ay), (bx, by) in zip(points, points[1:] + points[:1], strict=True):
        side = math.hypot(bx - ax, by - ay)
        off = abs(math.sin(math.atan2(by - ay, bx - ax) - math.radians(angle))) * side
        length += side if off < 1e-6 else 0.0
    return length


@given(polygons())
def test_triangles_cover_any_simple_polygon(points):
    shape = Polygon(points)
    pieces = [Polygon([points[index] for index in corner]) for corner in triangles(points)]
    assert sum(piece.area for piece in pieces) == pytest.approx(shape.area, rel=1e-9)
    assert all(shape.buffer(1e-6).contains(piece) for piece in pieces)
    assert abs(signed_area(points)) == pytest.approx(shape.area)


@pytest.mark.parametrize(
    "points",
    [
        ((0, 0), (10, 10), (10, 0), (0, 10)),
        ((0, 0), (10, 0), (0, 10), (10, 10), (20, 5), (-5, 5)),
        ((0, 0), (10, 10), (20, 0), (20, 10), (10, 0), (0, 10)),
    ],
)
def test_an_outline_that_crosses_itself_has_no_triangles(points):
    assert not Polygon(points).is_valid
    with pytest.raises(ValueError, match="crosses itself"):
        triangles(points)


@given(polygons(), st.floats(-110, 110), st.floats(-110, 110))
def test_inside_and_distance_agree_with_shapely(points, x, y):
    shape, spot = Polygon(points), Point(x, y)
    away = shape.exterior.distance(spot)
    assert distance(points, x, y) == pytest.approx(away, abs=1e-9)
    if away > 1e-9:
        assert contains(points, x, y) == shape.contains(spot)


@pytest.mark.parametrize("pitch", [0, -1, math.nan])
def test_a_hatch_needs_a_pitch(pitch):
    with pytest.raises(ValueError, match="pitch"):
        hatch(((0, 0), (1, 0), (0, 1)), pitch, 0)


@EACH
@pytest.mark.parametrize("shown_mm", [95, 35])
def test_every_state_shows_in_every_portion_down_to_a_small_print(form, element, shown_mm):
    drawn = plate(form, element)
    unit = drawn.height / shown_mm
    for key, points in drawn.portions.items():
        shape = Polygon(points).buffer(1e-6)
        most, part, absent, not_examined = (pattern(drawn, key, state, unit) for state in STATES)
        for filled in (most, part):
            assert all(shape.contains(LineString(line)) for line in filled.lines)
        assert all(shape.contains(Point(dot)) for dot in not_examined.dots)
        drawn_length = [sum(LineString(line).length for line in filled.lines) for filled in (most, part)]
        assert drawn_length[0] >= drawn_length[1] > 0
        assert not_examined.dots
        if 2 * widest(points)[2] > 8 * unit:  # where more than three of the wide lines have room
            assert drawn_length[0] > 1.8 * drawn_length[1]
            assert len(most.lines) > len(part.lines)
            assert len(not_examined.dots) >= 5
        assert not any([absent.lines, absent.dots, not_examined.lines, most.dots, part.dots])


def test_states_are_told_apart_without_any_tone():
    """Each state has a pattern and edge of its own; printed grey, the filled ones also step clearly in darkness."""
    kinds = {state: (style.hatch, style.dots, style.edge) for state, style in STATES.items()}
    assert all(a != b for a, b in combinations(kinds.values(), 2))
    assert kinds["most"][0][1] != kinds["part"][0][1]
    assert kinds["part"][0][0] > 2 * kinds["most"][0][0]
    ink = {s: style.line / style.hatch[0] if style.hatch else 0 for s, style in STATES.items()}
    grey = {s: 1 - (1 - style.tone) * (1 - ink[s]) for s, style in STATES.items()}
    assert grey["most"] - grey["part"] > 0.2
    assert grey["part"] - grey["absent"] > 0.1


def test_an_unknown_state_or_portion_is_refused():
    drawn = plate("human", "tibia")
    with pytest.raises(PlateError, match="broken"):
        state_style("broken")
    with pytest.raises(PlateError, match="trochlea"):
        svg(drawn, {"trochlea": "most"}, title="x")
    with pytest.raises(PlateError, match="broken"):
        edges(drawn, {"tuberosity": "broken"}, 10)


def length(line):
    return LineString(line).length


@EACH
def test_every_border_is_drawn_once_and_dashed_only_between_absent_portions(form, element):
    drawn = plate(form, element)
    parts = {key: Polygon(points) for key, points in drawn.portions.items()}
    everything = unary_union([shape.exterior for shape in parts.values()])
    solid = edges(drawn, dict.fromkeys(parts, "most"), 10)
    assert not solid.dashed
    assert sum(map(length, solid.outer + solid.inner)) == pytest.approx(everything.length)
    assert sum(map(length, solid.outer)) == pytest.approx(unary_union(list(parts.values())).length)

    gone = [key for key in parts if key.startswith("distal") or key == "lower_shaft"]
    states = {key: "absent" if key in gone else "part" for key in parts}
    mixed = edges(drawn, states, 10)
    kept = unary_union([parts[key].exterior for key in parts if key not in gone])
    left = unary_union([parts[key].exterior for key in gone]).difference(kept.buffer(1e-6))
    assert sum(map(length, mixed.outer + mixed.inner)) == pytest.approx(kept.length)
    dashes = MultiLineString([LineString(line) for line in mixed.dashed])
    assert left.buffer(1e-3).contains(dashes)
    assert 0.5 < dashes.length / left.length < 0.7  # 1.6 mm of dash in each 2.7


def test_a_pattern_looks_the_same_on_a_surface_whose_y_runs_up():
    drawn = plate("ruminant", "femur")
    down, up = fitted(drawn, 7, 11, 400, 950), fitted(drawn, 30, 0, 400, 950, y_up=True)
    for state in ("most", "part"):
        slopes = []
        for placed in (down, up):
            (ax, ay), (bx, by) = max(pattern(placed, "head", state, 10).lines, key=_length)
            slopes.append((by - ay) / (bx - ax))
        assert slopes[0] == pytest.approx(-slopes[1])
    for state in STATES:
        # Measured from the upper left corner the two are the same marks: hatch lines and dots fall alike.
        for part in drawn.portions:
            one, other = (pattern(placed, part, state, 10) for placed in (down, up))
            assert len(one.lines) == len(other.lines)
            places = [
                sorted((round(x - at.x, 6), round(at.y + at.height - y if at.y_up else y - at.y, 6)) for x, y in dots)
                for at, dots in ((down, one.dots), (up, other.dots))
            ]
            assert places[0] == places[1]
            ends = [
                sorted(
                    (round(x - at.x, 6), round(at.y + at.height - y if at.y_up else y - at.y, 6))
                    for line in lines
                    for x, y in line
                )
                for at, lines in ((down, one.lines), (up, other.lines))
            ]
            assert ends[0] == ends[1]


def _length(line):
    return math.dist(*line)


@EACH
def test_the_drawn_svg_stands_alone_and_says_every_state(form, element):
    drawn = mirrored(plate(form, element))
    names = list(STATES)
    states = {key: names[at % 4] for at, key in enumerate(drawn.portions)}
    title = 'Right <bone> & "more"'
    root = ElementTree.fromstring(svg(drawn, states, title=title))
    assert (root.get("role"), root.get("aria-label"), root.find(f"{SVG}title").text) == ("img", title, title)
    assert root.get("data-side") == "right"
    assert {g.get("data-portion"): g.get("data-state") for g in root.iter(f"{SVG}g")} == states
    assert {node.tag for node in root.iter()} == {SVG + tag for tag in ("svg", "title", "g", "path")}
    assert not [node for node in root.iter() if node.get("id") or node.get("style")]
    assert svg(drawn, states, title=title) == svg(drawn, states, title=title)
    for group in root.iter(f"{SVG}g"):
        numbers = group[0].get("d").strip("MZ").replace("L", " ").split()
        shape = Polygon(zip(map(float, numbers[::2]), map(float, numbers[1::2]), strict=True))
        spot = shape.representative_point()
        assert portion_at(drawn, spot.x, spot.y) == group.get("data-portion")


def test_portions_not_named_count_as_not_examined():
    root = ElementTree.fromstring(svg(plate("human", "femur"), {"head": "most"}, title="x"))
    states = {g.get("data-portion"): g.get("data-state") for g in root.iter(f"{SVG}g")}
    assert states.pop("head") == "most"
    assert set(states.values()) == {"not_examined"}


def test_a_plate_turned_for_the_screen_is_not_drawn_upside_down():
    with pytest.raises(PlateError, match="y runs down"):
        svg(fitted(plate("human", "femur"), 0, 0, 10, 10, y_up=True), {}, title="x")
