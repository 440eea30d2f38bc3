"""Charts of results, as SVG and PNG: one look for all of them, told apart without colour.

For: drawing a declared `Chart` with matplotlib, so that it can be printed in a report: black on white, hatches, line
styles and markers before tones. The same chart gives the same file. Not for: what is in a chart (the topics), skeletons
and plates (pictures), or where it is shown.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from textwrap import wrap
from typing import Any

import matplotlib
import numpy as np
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from fieldapp.assets import font
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Series
from server.analysis import pictures
from server.analysis.wording import Wording

WIDTH, HEIGHT = 6.3, 3.9
"""Inches: as wide as the text of an A4 page."""
TITLE = 72
"""Letters of a line of a title."""
NAME, LINE = 60, 30
"""Letters of a name beside an axis or in a legend, and of one of its lines."""
INK, LIGHT, GRID = "#1f1b16", "#938873", "#d0c9bb"
TONES = ("#a39a88", "#f4f1ea", "#7d7362", "#dcd5c6", "#4a4338", "#c9c1b1")
"""The first is light enough for whiskers and printed figures to be read on it."""
HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1)), (0, (9, 3)))
MARKERS = ("o", "s", "^", "D", "v", "P")
MOST_SERIES = len(MARKERS)
"""More than these cannot be told apart on paper; the table has them all."""
SHORT, FEW, MANY = 6, 3, 12
"""Letters of a name that can stand below a bar, and how few and how many such bars stand side by side."""
FIGURES = 3
"""So many figures stand beside a name at most."""
LETTERS, HANDLE = 14.0, 9
"""Letters of a legend on an inch, and how many the sign before a name takes."""
FORMATS = {"svg": "image/svg+xml", "png": "image/png"}

_ONE_AT_A_TIME = threading.Lock()
_PLAIN = Column("", "number", 1)


def draw(chart: Chart, wording: Wording, title: str, form: str = "svg", width: float = WIDTH) -> bytes:
    """The chart as a file of one of FORMATS, so many inches wide. `title` stands above it."""
    look: Any = _look()
    title = "\n".join(wrap(title, round(TITLE * width / WIDTH * (1 if width > pictures.NARROW else 1.15)))) or title
    # matplotlib's settings are the whole process's.
    with _ONE_AT_A_TIME, matplotlib.rc_context(look):
        if chart.kind in pictures.KINDS:
            figure = pictures.drawn(chart, wording, title, width)
        else:
            lying, high = _lying(chart, wording), _height(chart, wording, width)
            figure = Figure(figsize=(width, high), layout="constrained")
            axes = figure.add_subplot()
            _DRAW[chart.kind](axes, chart, wording)
            figure.suptitle(title, x=0.01, ha="left", fontsize=10, fontweight="bold")
            across, up = (chart.y, chart.x) if lying else (chart.x, chart.y)
            axes.set_xlabel(_axis(chart, wording, across))
            axes.set_ylabel("\n".join(wrap(_axis(chart, wording, up), int(9 * high))))
            if len(chart.series) > MOST_SERIES:
                said = wording.say("chart.more", n=len(chart.series) - MOST_SERIES)
                figure.text(0.99, 0.005, said, ha="right", fontsize=7)
        out = io.BytesIO()
        # Without a date, so that the same chart gives the same file.
        metadata = {"Date": None, "Creator": "Bonedocket"} if form == "svg" else {"Software": "Bonedocket"}
        figure.savefig(out, format=form, dpi=200, metadata=metadata)
    return out.getvalue()


def _axis(chart: Chart, wording: Wording, key: str) -> str:
    """What stands along an axis; on that of the heights how many bones they rest on, where nothing else says it."""
    if not key:
        return ""
    said = wording.say(f"axis.{key}", **chart.more.get("said", {}))
    alone = chart.series[0] if len(chart.series) == 1 else None
    if key == chart.y and alone is not None and alone.name is None and len(alone.n) == 1 < len(alone.x):
        return f"{said}, {wording.say('chart.n', n=alone.n[0])}"
    return said


def _height(chart: Chart, wording: Wording, width: float) -> float:
    if _lying(chart, wording):
        rows = len(_marks(chart)) * (1 if chart.kind == "stacked" else len(chart.series[:MOST_SERIES]))
        return min(9.0, max(1.9, 1.3 + 0.19 * rows + 0.1 * len(_marks(chart))))
    return HEIGHT * width / WIDTH


@cache
def _look() -> Mapping[str, Any]:
    families = []
    for bold in (False, True):
        path = str(font(bold))
        font_manager.fontManager.addfont(path)
        families.append(font_manager.FontProperties(fname=path).get_name())
    return {
        "font.family": [families[0], "DejaVu Sans"],
        "font.size": 8.5,
        # A name with two dollar signs is no formula.
        "text.parse_math": False,
        "text.color": INK,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.7,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "xtick.color": INK,
        "ytick.color": INK,
        "xtick.major.width": 0.7,
        "ytick.major.width": 0.7,
        "hatch.linewidth": 0.5,
        "legend.frameon": False,
        "legend.fontsize": 8,
        "svg.hashsalt": "bonedocket",
        "svg.fonttype": "path",
        "figure.facecolor": "white",
    }


def _name(wording: Wording, cell: Cell) -> str:
    name = wording.cell(_PLAIN, cell)
    name = "\n".join(wrap(name if len(name) <= NAME else f"{name[:NAME]}…", LINE)) or name
    # Of a series whose name begins so, the legend would say nothing.
    return f" {name}" if name.startswith("_") else name


def _label(wording: Wording, series: Series, bones: int | None = None) -> str | None:
    """What the legend calls a series, with how many bones it rests on."""
    if series.name is None:
        return None
    n = bones if bones is not None else series.n[0] if len(series.n) == 1 else None
    name = _name(wording, series.name)
    return name if n is None else f"{name}, {wording.say('chart.n', n=n)}"


def _marked(chart: Chart, wording: Wording, mark: Cell) -> str:
    """What stands beside a bar, or beside the bars of several series: its name and how many bones it rests on."""
    name = _name(wording, mark)
    told = [dict(zip(one.x, one.n, strict=True)).get(mark) for one in chart.series if len(one.n) == len(one.x)]
    # Of many series the figures would be longer than the picture; the table has them.
    if not told or (len(set(told)) > 1 and len(told) > FIGURES):
        return name
    figures = [str(one or 0) for one in (told if len(set(told)) > 1 else told[:1])]
    return f"{name}, {wording.say('chart.n', n=' / '.join(figures))}"


def _marks(chart: Chart) -> list[Cell]:
    """What stands along the axis of bars, each once."""
    found: list[Cell] = []
    for series in chart.series:
        found += [one for one in series.x if one not in found]
    return found


def _lying(chart: Chart, wording: Wording) -> bool:
    """Whether bars lie: names of animals and bones are too long to stand side by side, those of stages are not."""
    marks = _marks(chart) if chart.kind in ("bars", "ranges", "stacked") else []
    if chart.kind == "ranges" or any(len(one.n) == len(one.x) > 1 for one in chart.series if marks):
        return bool(marks)
    names = [_name(wording, one) for one in marks if not isinstance(one, int | float)]
    return bool(names) and (max(map(len, names)) > SHORT or not FEW <= len(names) <= MANY)


def _in_whole_ones(axes: Axes, chart: Chart, lying: bool) -> None:
    """Where only whole things are counted, no tick stands between them."""
    if all(one is None or float(one).is_integer() for series in chart.series for one in series.y):
        (axes.xaxis if lying else axes.yaxis).set_major_locator(MaxNLocator(nbins=8, integer=True))


def _heights(series: Series, marks: Sequence[Cell], values: Sequence[float | None]) -> np.ndarray:
    known = dict(zip(series.x, values, strict=True))
    return np.array([np.nan if (value := known.get(one)) is None else value for one in marks], dtype=float)


def _bars(axes: Axes, chart: Chart, wording: Wording) -> None:
    marks, shown = _marks(chart), chart.series[:MOST_SERIES]
    lying, thick = _lying(chart, wording), 0.8 / max(1, len(shown))
    at = np.arange(len(marks), dtype=float)
    for n, series in enumerate(shown):
        heights = _heights(series, marks, series.y)
        where = at + (n - (len(shown) - 1) / 2) * thick
        bar: dict[str, Any] = {"color": TONES[n], "edgecolor": INK, "linewidth": 0.6, "hatch": HATCHES[n]}
        bar["label"] = _label(wording, series)
        whiskers = _whiskers(series, marks, heights)
        rule = {"elinewidth": 0.8, "capsize": 2, "ecolor": INK}
        if lying:
            axes.barh(where, heights, thick, xerr=whiskers, error_kw=rule, **bar)
        else:
            axes.bar(where, heights, thick, yerr=whiskers, error_kw=rule, **bar)
    _along(axes, chart, marks, at, wording, lying)


def _whiskers(series: Series, marks: Sequence[Cell], heights: np.ndarray) -> np.ndarray | None:
    if not series.low or not series.high:
        return None
    low, high = _heights(series, marks, series.low), _heights(series, marks, series.high)
    whiskers: np.ndarray = np.maximum(0, np.vstack([heights - low, high - heights]))
    # Where nothing is open there is no whisker, and none of no length either.
    whiskers[:, ~(whiskers.max(axis=0) > 0)] = np.nan
    return whiskers


def _ranges(axes: Axes, chart: Chart, wording: Wording) -> None:
    """A point and its range: figures that are of no amount, so that the length of a bar would say nothing."""
    marks, shown = _marks(chart), chart.series[:MOST_SERIES]
    thick, at = 0.8 / max(1, len(shown)), np.arange(len(marks), dtype=float)
    for n, series in enumerate(shown):
        means = _heights(series, marks, series.y)
        axes.errorbar(
            means, at + (n - (len(shown) - 1) / 2) * thick, xerr=_whiskers(series, marks, means),
            linestyle="", marker=MARKERS[n], markersize=5, color=INK, markerfacecolor=TONES[n], elinewidth=0.8,
            capsize=2, label=_label(wording, series),
        )  # fmt: skip
    _along(axes, chart, marks, at, wording, lying=True)
    axes.set_ylim(len(marks) - 0.4, -0.6)
    axes.margins(x=0.1)


def _stacked(axes: Axes, chart: Chart, wording: Wording) -> None:
    marks, shown = _marks(chart), chart.series[:MOST_SERIES]
    lying, at = _lying(chart, wording), np.arange(len(marks), dtype=float)
    base = np.zeros(len(marks))
    for n, series in enumerate(shown):
        heights = np.nan_to_num(_heights(series, marks, series.y))
        bar: dict[str, Any] = {"color": TONES[n], "edgecolor": INK, "linewidth": 0.6, "hatch": HATCHES[n]}
        bar["label"] = _name(wording, series.name) if series.name is not None else None
        if lying:
            axes.barh(at, heights, 0.66, left=base, **bar)
        else:
            axes.bar(at, heights, 0.66, bottom=base, **bar)
        base += heights
    _along(axes, chart, marks, at, wording, lying)
    if len(base) and np.allclose(base[base > 0], 100):
        (axes.set_xlim if lying else axes.set_ylim)(0, 100)
        (axes.set_xticks if lying else axes.set_yticks)(range(0, 101, 20))


def _along(axes: Axes, chart: Chart, marks: Sequence[Cell], at: np.ndarray, wording: Wording, lying: bool) -> None:
    names = [_marked(chart, wording, one) for one in marks]
    if lying:
        axes.set_yticks(at, names)
        axes.invert_yaxis()
        axes.grid(axis="x", color=GRID, linewidth=0.5)
        axes.tick_params(axis="y", length=0)
        axes.margins(y=0.02)
    else:
        axes.set_xticks(at, names)
        axes.grid(axis="y", color=GRID, linewidth=0.5)
    _in_whole_ones(axes, chart, lying)
    _legend(axes, chart)


def _legend(axes: Axes, chart: Chart, handles: Sequence[Any] | None = None) -> None:
    if any(one.name is not None for one in chart.series):
        # Below the picture, where no curve or bar can lie under it.
        figure = axes.get_figure(root=True)
        assert figure is not None
        texts = axes.get_legend_handles_labels()[1]
        longest = max((len(line) for text in texts for line in text.splitlines()), default=0) + HANDLE
        columns = int(figure.get_figwidth() * LETTERS / longest)
        way: dict[str, Any] = {"loc": "outside lower left", "ncols": max(1, min(3, columns))}
        if handles:
            way |= {"handles": handles, "labels": [one[-1].get_label() for one in handles]}
        figure.legend(handlelength=3.0, **way)


def _numbers(values: Sequence[Any]) -> np.ndarray:
    return np.array([np.nan if one is None else float(one) for one in values])


def _band(axes: Axes, n: int, x: np.ndarray, low: np.ndarray, high: np.ndarray, **more: Any) -> Patch:
    """A band in the hatch of its series: where bands lie over each other, tones alone would run into one. What the
    legend shows of it comes back."""
    axes.fill_between(x, low, high, facecolor=TONES[n], alpha=0.35, linewidth=0, **more)
    if HATCHES[n]:
        axes.fill_between(x, low, high, facecolor="none", edgecolor=LIGHT, hatch=HATCHES[n], linewidth=0, **more)
    tone = to_rgba(TONES[n], 0.35)
    return Patch(facecolor=tone, edgecolor=LIGHT if HATCHES[n] else tone, hatch=HATCHES[n], linewidth=0)


def _lines(axes: Axes, chart: Chart, wording: Wording) -> None:
    """Curves with their bands; in steps, each height holds to the next, and the edges of a band are drawn."""
    steps = chart.kind == "steps"
    way: dict[str, Any] = {"drawstyle": "steps-post"} if steps else {}
    handles: list[Any] = []
    for n, series in enumerate(chart.series[:MOST_SERIES]):
        x, y = _numbers(series.x), _numbers(series.y)
        if series.low and series.high:
            low, high = _numbers(series.low), _numbers(series.high)
            handles.append(_band(axes, n, x, low, high, step="post" if steps else None))
            for edge in (low, high) if steps else ():
                axes.plot(x, edge, color=INK, linewidth=0.4, linestyle=DASHES[n], **way)
        rug = chart.more.get("rug", ())
        label = _label(wording, series, len(rug[n]) if n < len(rug) and len(rug) == len(chart.series) else None)
        [line] = axes.plot(x, y, color=INK, linewidth=1.3, linestyle=DASHES[n], label=label, **way)
        handles[n:] = [(*handles[n:], line)]
    axes.grid(color=GRID, linewidth=0.5)
    axes.set_ylim(bottom=0)
    _limits(axes, chart)
    _legend(axes, chart, handles)


def _points(axes: Axes, chart: Chart, wording: Wording) -> None:
    for n, series in enumerate(chart.series[:MOST_SERIES]):
        x, y = _numbers(series.x), _numbers(series.y)
        label = _label(wording, series, len(x))
        face = "none" if n % 2 else TONES[n]
        axes.scatter(x, y, s=22, marker=MARKERS[n], facecolors=face, edgecolors=INK, linewidths=0.7, label=label)
    axes.grid(color=GRID, linewidth=0.5)
    _limits(axes, chart)
    _legend(axes, chart)


def _density(axes: Axes, chart: Chart, wording: Wording) -> None:
    """Curves, and below them a tick for each bone: `more["rug"]` holds a tuple of values a series."""
    _lines(axes, chart, wording)
    top = axes.get_ylim()[1] or 1.0
    for n, values in enumerate(chart.more.get("rug", ())[:MOST_SERIES]):
        floor = -top * (0.05 + 0.05 * n)
        axes.plot(_numbers(values), np.full(len(values), floor), linestyle="", marker="|", color=INK, markersize=6)
        mark = (0, (1, 0)) if n == 0 else DASHES[n]
        axes.axhline(floor, color=GRID, linewidth=0.5, linestyle=mark, zorder=0)
    axes.set_ylim(bottom=-top * (0.06 + 0.05 * len(chart.more.get("rug", ()))))
    axes.set_yticks([tick for tick in axes.get_yticks() if tick >= 0])
    if "zero" in chart.more:
        axes.axvline(chart.more["zero"], color=INK, linewidth=0.6, linestyle=(0, (2, 3)))


def _limits(axes: Axes, chart: Chart) -> None:
    """`more["limits"]`: (least x, greatest x, least y, greatest y), None where the figures decide."""
    low_x, high_x, low_y, high_y = chart.more.get("limits", (None, None, None, None))
    axes.set_xlim(low_x, high_x)
    axes.set_ylim(low_y, high_y)


_DRAW: Mapping[str, Callable[[Axes, Chart, Wording], None]] = {
    "bars": _bars,
    "ranges": _ranges,
    "stacked": _stacked,
    "steps": _lines,
    "lines": _lines,
    "points": _points,
    "density": _density,
}
