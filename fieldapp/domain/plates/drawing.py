"""How the states of portions look, as plain numbers that every surface draws alike.

For: tone, hatch, dots and edges of a plate with states, and the whole as SVG for the review pages.
Not for: colours of a theme (the caller's) or drawing calls. A state is told by its pattern; the tone only helps, so
that a black-and-white printer, a colour-blind reader and strong sun lose nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

from fieldapp.domain.plates.plate import Plate, PlateError, Polyline
from fieldapp.domain.plates.shapes import Point, Segment, hatch, sides, widest


@dataclass(frozen=True)
class StateStyle:
    """The look of one state. Lengths are millimetres on the finished screen or page; angles are as seen.

    `tone`: share of ink in the ground, 0 to 1. `hatch`: (pitch, angle in degrees, falling to the right) or None.
    `dots`: distance between dots, or None. `edge`: "solid" or "dashed". `line`, `dot`: width of the hatch lines and
    diameter of the dots.
    """

    tone: float
    hatch: tuple[float, float] | None
    dots: float | None
    edge: str
    line: float = 0.25
    dot: float = 0.6


STATES: Mapping[str, StateStyle] = {
    "most": StateStyle(tone=0.45, hatch=(1.0, -45.0), dots=None, edge="solid"),
    "part": StateStyle(tone=0.1, hatch=(2.6, 45.0), dots=None, edge="solid", line=0.35),
    "absent": StateStyle(tone=0.0, hatch=None, dots=None, edge="dashed"),
    "not_examined": StateStyle(tone=0.0, hatch=None, dots=2.0, edge="solid"),
}
PLAIN = "plain"
"""How a portion looks in a picture that shows no record: a bone to compare with."""
_STYLES = {**STATES, PLAIN: StateStyle(tone=0.12, hatch=None, dots=None, edge="solid")}
DASH, GAP = 1.6, 1.1


@dataclass(frozen=True)
class Weights:
    """Widths of a plate's lines in millimetres as shown, alike on every surface: the bone's edge stands out."""

    outer: float = 0.6
    inner: float = 0.3
    dashed: float = 0.35
    light: float = 0.25


WEIGHTS = Weights()


@dataclass(frozen=True)
class Pattern:
    """What fills one portion: its style, the clipped hatch lines and the middles of the dots, in plate units."""

    style: StateStyle
    lines: tuple[Segment, ...]
    dots: tuple[Point, ...]


@dataclass(frozen=True)
class Edges:
    """The borders of all portions, each drawn once. A border is dashed only if no portion beside it is solid.

    `outer` is the solid part of the bone's own edge, `inner` that of the borders between portions.
    """

    outer: tuple[Polyline, ...]
    inner: tuple[Polyline, ...]
    dashed: tuple[Polyline, ...]


def state_style(state: str) -> StateStyle:
    """The look of a portion state, or of PLAIN. Raises PlateError for a state that is neither."""
    try:
        return _STYLES[state]
    except KeyError:
        raise PlateError(f"{state!r} is not a state of a portion") from None


def pattern(plate: Plate, key: str, state: str, unit: float) -> Pattern:
    """The fill of a portion in a state; `unit` is how many plate units make one millimetre as shown."""
    style = state_style(state)
    polygon = plate.portions[key]
    # The grid hangs on the plate's upper left corner, wherever it is fitted: every surface draws the same lines.
    ox, oy = plate.x, plate.y + plate.height if plate.y_up else plate.y
    lines: list[Segment] = []
    dots: list[Point] = []
    if style.hatch:
        pitch, angle = style.hatch
        turned = -angle if plate.y_up else angle
        lines = hatch(polygon, pitch * unit, turned, (ox, oy))
        if not lines:  # A portion so small that it lies between two lines still shows its state.
            x, y, _ = widest(polygon)
            lines = hatch(polygon, pitch * unit, turned, (x, y))
    if style.dots:
        step, margin = style.dots * unit, style.dot * unit
        row = step * math.sqrt(0.75)
        for (start, y), (end, _) in hatch(polygon, row, 0, (ox, oy)):
            shift = ox + (step / 2 if round((y - oy) / row) % 2 else 0.0)
            first, last = (
                math.ceil((start + margin - shift) / step),
                math.floor((end - margin - shift) / step),
            )
            dots += [(n * step + shift, y) for n in range(first, last + 1)]
        if not dots:
            x, y, _ = widest(polygon)
            dots = [(x, y)]
    return Pattern(style, tuple(lines), tuple(dots))


def edges(plate: Plate, states: Mapping[str, str], unit: float) -> Edges:
    """The portions' borders as lines; a portion that `states` does not name counts as not examined."""
    whole = _whole(plate, states)
    uses = plate.uses
    drawn: set[frozenset[Point]] = set()
    outer: list[Polyline] = []
    inner: list[Polyline] = []
    dashed: list[Polyline] = []
    # Solid portions come first and claim the borders they share, so that none is drawn twice or half dashed.
    for key in sorted(whole, key=lambda key: state_style(whole[key]).edge == "dashed"):
        for shared, run in _runs(plate.portions[key], uses, drawn):
            if state_style(whole[key]).edge == "dashed":
                dashed += _dashes(run, DASH * unit, GAP * unit)
            else:
                (inner if shared else outer).append(run)
    return Edges(tuple(outer), tuple(inner), tuple(dashed))


def weighted(plate: Plate, borders: Edges) -> Iterator[tuple[tuple[Polyline, ...], float, bool]]:
    """All lines of a plate in the order in which they are drawn, each kind with its width and whether it is pale."""
    yield (*plate.landmarks, *plate.beside), WEIGHTS.light, True
    yield borders.dashed, WEIGHTS.dashed, False
    yield borders.inner, WEIGHTS.inner, False
    yield borders.outer, WEIGHTS.outer, False


def svg(
    plate: Plate,
    states: Mapping[str, str],
    *,
    title: str,
    shown_mm: float = 95.0,
    ink: str = "#241f1a",
    fill: str = "#8a6d4b",
    paper: str = "#fffdf7",
    light: str = "#7d7266",
) -> str:
    """A drawing of the plate with its states, to stand by itself or within a page; it holds no ids.

    `shown_mm` is the height it will have, which sets the pitch of the patterns. `title` is what a screen reader says.
    A plate fitted to a surface whose y runs up cannot be drawn so: PlateError.
    """
    if plate.y_up:
        raise PlateError("an SVG's y runs down; draw the plate before it is fitted to a screen")
    unit = plate.height / shown_mm
    whole = _whole(plate, states)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{plate.x:g} {plate.y:g} {plate.width:g} {plate.height:g}"'
        f' role="img" aria-label={quoteattr(title)} data-element={quoteattr(plate.element)}'
        f" data-form={quoteattr(plate.form)} data-side={quoteattr(plate.side)} data-view={quoteattr(plate.view)}>",
        f"<title>{escape(title)}</title>",
    ]
    for key, state in whole.items():
        filled = pattern(plate, key, state, unit)
        out.append(f"<g data-portion={quoteattr(key)} data-state={quoteattr(state)}>")
        out += ground(plate.portions[key], filled.style.tone, fill, paper)
        if filled.lines:
            out.append(stroke(filled.lines, ink, filled.style.line * unit))
        if filled.dots:
            # A line of no length with round ends is a dot.
            out.append(stroke([(dot, dot) for dot in filled.dots], ink, filled.style.dot * unit))
        out.append("</g>")
    for lines, width, pale in weighted(plate, edges(plate, whole, unit)):
        if lines:
            out.append(stroke(lines, light if pale else ink, width * unit))
    return "".join([*out, "</svg>"])


def _whole(plate: Plate, states: Mapping[str, str]) -> dict[str, str]:
    strange = sorted(set(states) - set(plate.portions))
    if strange:
        raise PlateError(f"the plate of the {plate.element} has no portion {', '.join(strange)}")
    return {key: states.get(key, "not_examined") for key in plate.portions}


def _runs(
    polygon: Polyline, uses: Mapping[frozenset[Point], int], drawn: set[frozenset[Point]]
) -> list[tuple[bool, Polyline]]:
    """The longest stretches of the polygon's border not drawn yet, and whether they are shared with a neighbour.

    They are marked as drawn.
    """
    runs: list[tuple[bool, list[Point]]] = []
    for start, end in sides(polygon):
        side = frozenset((start, end))
        if side in drawn:
            continue
        drawn.add(side)
        shared = uses[side] > 1
        if runs and runs[-1][0] == shared and runs[-1][1][-1] == start:
            runs[-1][1].append(end)
        else:
            runs.append((shared, [start, end]))
    if len(runs) > 1 and runs[-1][0] == runs[0][0] and runs[-1][1][-1] == runs[0][1][0]:
        shared, last = runs.pop()
        runs[0] = (shared, last + runs[0][1][1:])
    return [(shared, tuple(run)) for shared, run in runs]


def _dashes(line: Polyline, dash: float, gap: float) -> list[Polyline]:
    """The line cut into dashes; each keeps the bends that fall within it."""
    dashes: list[list[Point]] = [[line[0]]]
    inked, room = True, dash
    for (ax, ay), (bx, by) in pairwise(line):
        length, done = math.hypot(bx - ax, by - ay), 0.0
        while length - done > room:
            done += room
            point = (ax + (bx - ax) * done / length, ay + (by - ay) * done / length)
            if inked:
                dashes[-1].append(point)
            else:
                dashes.append([point])
            inked = not inked
            room = dash if inked else gap
        room -= length - done
        if inked:
            dashes[-1].append((bx, by))
    return [tuple(dash) for dash in dashes if len(dash) > 1]


def ground(shape: Polyline, tone: float, fill: str, paper: str) -> list[str]:
    """A shape filled so that it covers what lies behind: paper, and on it as much of the fill as the tone says."""
    line = path([shape], closed=True)
    out = [f'<path d="{line}" fill={quoteattr(paper)}/>']
    if tone:
        out.append(f'<path d="{line}" fill={quoteattr(fill)} fill-opacity="{tone:g}"/>')
    return out


def path(lines: Iterable[Polyline], closed: bool = False) -> str:
    """Lines as the data of an SVG path."""
    end = "Z" if closed else ""
    return "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line) + end for line in lines)


def stroke(lines: Iterable[Polyline], colour: str, width: float) -> str:
    """Lines as one SVG path of a colour and a width."""
    return (
        f'<path d="{path(lines)}" fill="none" stroke={quoteattr(colour)} stroke-width="{width:.2f}"'
        ' stroke-linecap="round" stroke-linejoin="round"/>'
    )
