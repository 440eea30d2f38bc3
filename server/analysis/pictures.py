"""Bones as charts: a skeleton filled by shares, a plate with what was seen on its portions.

For: the project's own drawings with figures on them, for pages and reports; told apart by hatch and printed numbers, so
that a copier loses nothing. Not for: the drawings themselves (assets), or which shares and marks there are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon

from fieldapp.assets import AssetError, knowledge, plate, skeleton, skeleton_elements, skeleton_form
from fieldapp.domain.assemblage.results import Chart
from fieldapp.domain.plates import Plate
from server.analysis.wording import Wording

KINDS = ("skeleton", "plate")
INK, LIGHT, PAPER = "#1f1b16", "#7d7266", "#ffffff"
SHARES: tuple[tuple[float, str, str], ...] = (
    (0.25, "#f1ece1", "..."),
    (0.5, "#d8cfbd", "///"),
    (0.75, "#a99c85", "xxx"),
    (1.0, "#5b5246", ""),
)
"""(up to this share, tone, hatch) of a bone of a skeleton; nought is left white."""
LINE, HIGHEST = 0.18, 5.5
"""Inches: a line of a title or legend, and the highest plate."""
NARROW = 4.0
"""Inches: a picture that shares the width of a page with another."""
MARKERS = ("o", "^", "s", "D", "v", "P", "X", "*")


def drawn(chart: Chart, wording: Wording, title: str, width: float) -> Figure:
    """The figure of a chart of one of KINDS, so many inches wide."""
    return _skeleton(chart, wording, title, width) if chart.kind == "skeleton" else _plate(chart, wording, title, width)


def _skeleton(chart: Chart, wording: Wording, title: str, width: float) -> Figure:
    form = skeleton_form(chart.form)
    whole, shares = skeleton(form), _on_map(chart.shares, skeleton_elements()[form])
    lines = title.count("\n") + 1 + (1 if chart.y else 0) + (1 if width > NARROW else 2)
    figure = Figure(figsize=(width, width * whole.height / whole.width + 0.2 + LINE * lines), layout="constrained")
    axes = _bare(figure, "", whole.width, whole.height)
    _titled(figure, title)
    for line in whole.lines:
        axes.plot(*zip(*line, strict=True), color=LIGHT, linewidth=0.5)
    for bone in whole.bones:
        tone, hatch = _fill(shares.get(bone.element))
        axes.add_patch(Polygon(bone.shape, facecolor=tone, edgecolor=INK, hatch=hatch, linewidth=0.6))
    low = 0
    legend = [Patch(facecolor=PAPER, edgecolor=INK, label=wording.say("chart.none"))]
    for top, tone, hatch in SHARES:
        label = wording.say("chart.share", low=low, high=round(top * 100))
        legend.append(Patch(facecolor=tone, edgecolor=INK, hatch=hatch, label=label))
        low = round(top * 100)
    said = wording.say(f"axis.{chart.y}") if chart.y else None
    if said and "n" in chart.more:
        said = f"{said}, {wording.say('chart.n', n=chart.more['n'])}"
    figure.legend(
        handles=legend, loc="outside lower left", ncols=5 if width > NARROW else 3, handlelength=2.2, title=said,
        title_fontsize=8, alignment="left",
    )  # fmt: skip
    return figure


def _on_map(shares: Mapping[str, float], drawn_elements: frozenset[str]) -> dict[str, float]:
    """Of a bone that is not drawn by itself, on the wider one that is: the greatest share of those under it."""
    found: dict[str, float] = {}
    for element, share in shares.items():
        entry = knowledge().elements.get(element)
        line = (element, *(entry.broader if entry else ()))
        on = next((one for one in line if one in drawn_elements), None)
        if on is not None:
            found[on] = max(share, found.get(on, 0.0))
    return found


def _fill(share: float | None) -> tuple[str, str]:
    if not share or share <= 0:
        return PAPER, ""
    return next(((tone, hatch) for top, tone, hatch in SHARES if share <= top + 1e-9), SHARES[-1][1:])


def _plate(chart: Chart, wording: Wording, title: str, width: float) -> Figure:
    views = _views(chart)
    if not views:
        figure = Figure(figsize=(width, 1.2))
        figure.text(0.02, 0.5, f"{title}: {wording.say('chart.no_plate')}")
        return figure
    high = max(one.height / one.width for one in views)
    each = min(width / len(views), 2.4)
    most = HIGHEST if width > NARROW else HIGHEST / 2
    figure = Figure(
        figsize=(width, min(most, each * high) + 0.4 + LINE * (title.count("\n") + 2)), layout="constrained"
    )
    counts: Mapping[str, int] = chart.more.get("counts", {})
    marks: Sequence[tuple[str | None, float, float, str]] = chart.more.get("marks", ())
    kinds = [kind for kind, _ in Counter(mark[3] for mark in marks).most_common()]
    for n, view in enumerate(views):
        axes = _bare(figure, wording.word("view", view.view), view.width, view.height, (1, len(views), n + 1))
        _portions(axes, view, counts)
        for name, x, y, kind in marks:
            if name == view.view:
                axes.plot(
                    x * view.width, y * view.height, MARKERS[kinds.index(kind) % len(MARKERS)],
                    color=INK, markerfacecolor=PAPER, markersize=5,
                )  # fmt: skip
    _titled(figure, title)
    shown = {kind for name, _, _, kind in marks if name in {one.view for one in views}}
    handles = [
        Line2D([], [], marker=MARKERS[n % len(MARKERS)], linestyle="", color=INK, markerfacecolor=PAPER,
               label=wording.word("mark_kind", kind))
        for n, kind in enumerate(kinds) if kind in shown
    ]  # fmt: skip
    if handles:
        figure.legend(handles=handles, loc="outside lower left", ncols=4 if width > NARROW else 2)
    return figure


def _views(chart: Chart) -> list[Plate]:
    element, form = str(chart.more.get("element", "")), chart.form
    found = []
    for row in next(iter(knowledge().gallery.candidates(form, element)), ()):
        try:
            found.append(plate(row.form, row.element, row.view))
        except AssetError:
            continue
    return found[:3]


def _portions(axes: Axes, view: Plate, counts: Mapping[str, int]) -> None:
    most = max(counts.values(), default=0)
    for key, shape in view.portions.items():
        number = counts.get(key, 0)
        tone, hatch = _fill(number / most if most else None)
        axes.add_patch(Polygon(shape, facecolor=tone, edgecolor=INK, hatch=hatch, linewidth=0.7))
        if number:
            x = sum(point[0] for point in shape) / len(shape)
            y = sum(point[1] for point in shape) / len(shape)
            box: dict[str, Any] = {"boxstyle": "round,pad=0.15", "facecolor": PAPER, "edgecolor": INK, "linewidth": 0.4}
            axes.text(x, y, str(number), ha="center", va="center", fontsize=7.5, bbox=box)
    for line in view.landmarks:
        axes.plot(*zip(*line, strict=True), color=LIGHT, linewidth=0.4)


def _bare(figure: Figure, title: str, width: float, height: float, place: tuple[int, int, int] = (1, 1, 1)) -> Axes:
    axes = figure.add_subplot(*place)
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    axes.set_aspect("equal")
    axes.set_axis_off()
    if title:
        axes.set_title(title, loc="left", fontsize=8)
    return axes


def _titled(figure: Figure, title: str) -> None:
    figure.suptitle(title, x=0.01, ha="left", fontsize=10 if figure.get_figwidth() > NARROW else 8.5, fontweight="bold")
