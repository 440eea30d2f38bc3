"""Reading plate text: what is drawn comes out within the tolerance, and anything else is a PlateError."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from fieldapp.assets import plate_svg
from fieldapp.domain.plates import TOLERANCE, Plate, PlateError, read_plate

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 200" data-element="rib" data-form="pig"'
    ' data-side="left" data-view="lateral">'
)
SQUARE = '<path id="body" d="M0 0 L50 0 L50 50 L0 50 Z"/>'


def drawing(portions=SQUARE, more="", head=HEAD):
    return f'{head}<g id="portions">{portions}</g>{more}</svg>'


def test_a_small_plate_is_read_as_drawn():
    read = read_plate(drawing(more='<g id="landmarks"><path d="M1 1 L2 2 M3 3 L4 4 L5 3 Z"/></g>'))
    assert (read.element, read.form, read.side, read.view, read.width, read.height) == (
        *("rib", "pig", "left", "lateral"),
        *(100, 200),
    )
    assert read.portions == {"body": ((0, 0), (50, 0), (50, 50), (0, 50))}
    assert read.landmarks == (((1, 1), (2, 2)), ((3, 3), (4, 4), (5, 3), (3, 3)))


# A curve that is its own reverse runs out and back and bounds nothing, so it is left out.
tenths = st.integers(0, 1000).map(lambda n: n / 10)
cubics = st.lists(st.tuples(tenths, tenths), min_size=4, max_size=4).filter(lambda points: points != points[::-1])


def curve(points):
    a, b, c, d = (f"{x!r} {y!r}" for x, y in points)
    return f"M{a} C{b} {c} {d}"


@given(cubics)
def test_a_curve_is_followed_within_the_tolerance_and_alike_in_both_directions(points):
    """The curve itself is worked out here from Bernstein's formula."""
    text = [f'<g id="landmarks"><path d="{curve(way)}"/></g>' for way in (points, points[::-1])]
    (there,), (back,) = (read_plate(drawing(more=more)).landmarks for more in text)
    assert there == back[::-1]
    assert (there[0], there[-1]) == (points[0], points[-1])
    line = LineString(there)
    for step in range(101):
        t = step / 100
        weights = [math.comb(3, i) * t**i * (1 - t) ** (3 - i) for i in range(4)]
        place = [sum(w * p[axis] for w, p in zip(weights, points, strict=True)) for axis in (0, 1)]
        assert line.distance(Point(place)) <= TOLERANCE * 1.0001


WRONG = {
    "nothing": "",
    "not XML": "<svg",
    "not SVG": "<html/>",
    "no namespace": "<svg/>",
    "lone surrogate": drawing().replace("body", "\ud800"),
    "document type": "<!DOCTYPE svg>" + drawing(),
    "entities": '<!DOCTYPE svg [<!ENTITY a "aaaa">]>' + drawing().replace("body", "&a;"),
    "raw data": drawing(more="<desc><![CDATA[x]]></desc>"),
    "script": drawing(more="<script>1</script>"),
    "text": drawing(more="<text>x</text>"),
    "picture": drawing(more='<image href="http://127.0.0.1/x.png"/>'),
    "use": drawing(portions=SQUARE + '<use href="#body"/>'),
    "style": drawing().replace("<g ", '<g style="fill:url(#x)" '),
    "transform": drawing().replace("<g ", '<g transform="scale(2)" '),
    "event": drawing().replace("<g ", '<g onload="x()" '),
    "path within a path": drawing(portions=SQUARE.replace("/>", "><path/></path>")),
    "no portions": f"{HEAD}</svg>",
    "empty group": drawing(portions=""),
    "unknown group": drawing(more='<g id="more"/>'),
    "group twice": drawing(more=f'<g id="portions">{SQUARE}</g>'),
    "portion twice": drawing(portions=SQUARE * 2),
    "portion without a name": drawing(portions=SQUARE.replace('id="body" ', "")),
    "a group not known": drawing(more=f'<g id="outline">{SQUARE}</g>'),
    "no side": drawing(head=HEAD.replace('data-side="left"', "")),
    "wrong side": drawing(head=HEAD.replace("left", "middle")),
    "no size": drawing(head=HEAD.replace("0 0 100 200", "")),
    "three numbers": drawing(head=HEAD.replace("0 0 100 200", "0 0 100")),
    "size of nought": drawing(head=HEAD.replace("0 0 100 200", "0 0 0 200")),
    "size not a number": drawing(head=HEAD.replace("0 0 100 200", "0 0 nan 200")),
    "size without end": drawing(head=HEAD.replace("0 0 100 200", "0 0 inf 200")),
    "shifted": drawing(head=HEAD.replace("0 0 100 200", "5 0 100 200")),
    "open": drawing(portions='<path id="body" d="M0 0 L50 0 L50 50"/>'),
    "two rings": drawing(portions='<path id="body" d="M0 0 L9 0 L9 9 Z M20 20 L29 20 L29 29 Z"/>'),
    "relative": drawing(portions='<path id="body" d="m0 0 l50 0 l0 50 z"/>'),
    "arc": drawing(portions='<path id="body" d="M0 0 A5 5 0 0 1 9 9 Z"/>'),
    "begins with L": drawing(portions='<path id="body" d="L0 0 L50 0 L50 50 Z"/>'),
    "begins with a number": drawing(portions='<path id="body" d="0 0 L50 0 L50 50 Z"/>'),
    "goes on after Z": drawing(portions='<path id="body" d="M0 0 L50 0 L50 50 Z L9 9"/>'),
    "odd numbers": drawing(portions='<path id="body" d="M0 0 L50 0 50 L50 50 Z"/>'),
    "no numbers": drawing(portions='<path id="body" d="M L Z"/>'),
    "no path": drawing(portions='<path id="body"/>'),
    "one point": drawing(portions='<path id="body" d="M5 5 Z"/>'),
    "no area": drawing(portions='<path id="body" d="M0 0 L50 50 L9 9 Z"/>'),
    "far away": drawing(portions='<path id="body" d="M0 0 L1e200 0 L50 50 Z"/>'),
    "beyond numbers": drawing(portions='<path id="body" d="M0 0 L1e999 0 L50 50 Z"/>'),
    "too long": drawing(more="<desc>" + "x" * 300_000 + "</desc>"),
    "deep": "<a>" * 20_000,
}


@pytest.mark.parametrize("text", WRONG.values(), ids=WRONG.keys())
def test_a_plate_that_is_not_sound_is_refused_with_a_reason(text):
    with pytest.raises(PlateError, match=r"\w+ \w+"):
        read_plate(text)


@given(st.text())
def test_any_text_is_a_plate_or_a_plate_error(text):
    with pytest.raises(PlateError):
        read_plate(text)


spoilt = st.text(st.sampled_from("MLCZmz 0159.-eE<>/\"'=&;!\x00é\ud800"), max_size=6)


@given(st.data())
def test_a_spoilt_plate_is_a_plate_or_a_plate_error(data):
    text = plate_svg("human", "radius", "cranial")
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 30)))
        text = text[:start] + data.draw(spoilt) + text[end:]
    try:
        outcome = read_plate(text)
    except PlateError:
        return
    assert isinstance(outcome, Plate)
