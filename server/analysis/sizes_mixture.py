"""Whether one measurement falls into two groups, as sexes or breeds do, and how sure that is.

For: the table and the picture of a mixture of two. Not for: the fit (mixture), nor for telling which bone is of which
group: where two humps overlap, that cannot be told of a single bone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fieldapp.domain.assemblage.results import Chart, Column, Note, Result, Row, Series, Span, Word
from fieldapp.domain.assemblage.sizes import Value, records_of
from server.analysis.asking import Asked
from server.analysis.mixture import LEAST, LONE, RESAMPLED, Fitted, Group, fitted, normal
from server.analysis.sizes_asked import ROW, Chosen, code_word, left, values_of

_COLUMNS = (
    Column("model"), Column("n", "count"), Column("share", "percent"), Column("share_interval", "interval"),
    Column("mean", "number"), Column("mean_interval", "interval"), Column("sd", "number", 2),
    Column("bic", "number"),
)  # fmt: skip
_SOURCES = (
    "Dempster, Laird & Rubin 1977, expectation and maximisation (memory)",
    "Schwarz 1978, Bayesian information criterion (memory)",
    "Kass & Raftery 1995, differences of it below 2, 2 to 6, and above (memory)",
    "Efron 1979, intervals from drawing again (memory)",
)


def mixture(asked: Asked) -> Iterator[Result]:
    """Of each unit one group against two; nothing of fewer than LEAST values."""
    chosen = Chosen(asked)
    for unit, specimens in asked.units.items():
        values = values_of(asked, specimens)
        own = [one for one in chosen.of(values.found) if code_word(one.key) == chosen.code]
        own.sort(key=lambda one: (one.mm, one.id))
        what = {"taxon": Word("taxon", chosen.taxon), "element": Word("element", chosen.element), "code": chosen.code}
        notes = [Note("mixture_what", what)] if own else []
        rows: tuple[Row, ...] = ()
        charts: tuple[Chart, ...] = ()
        if len(own) < LEAST or len({one.mm for one in own}) < 2:
            notes.append(Note("mixture_few", {"n": len(own), "least": LEAST}))
        elif (told := fitted([one.mm for one in own])) is None:
            notes.append(Note("mixture_lone", {"n": len(own), "least": LONE}))
        else:
            rows, charts = _rows(told, records_of(own)), (_curves(told, own),)
            notes += [
                _verdict(told),
                Note("mixture_caution"),
                Note("mixture_drawn", {"times": RESAMPLED, "fallen": told.fallen}),
            ]
        out = left(asked, unit, values)
        yield Result("mixture", asked.selection, unit, _COLUMNS, rows, out, tuple(notes), _SOURCES, charts)


def _verdict(told: Fitted) -> Note:
    gain = told.gain
    key = "mixture_one" if gain < 2 else "mixture_weak" if gain < 6 else "mixture_two"
    return Note(key, {"gain": round(gain, 1)})


def _rows(told: Fitted, records: tuple[str, ...]) -> tuple[Row, ...]:
    rows = [Row((Word(ROW, "one_group"), told.n, 100.0, None, told.mean, None, told.sd, told.bic_one), records)]
    for at, word in enumerate(("smaller_group", "larger_group")):
        group, low, high = told.groups[at], told.low[at], told.high[at]
        share, mean = Span(100 * low.share, 100 * high.share), Span(low.mean, high.mean)
        bic = told.bic_two if at == 0 else None
        rows.append(Row((Word(ROW, word), told.n, 100 * group.share, share, group.mean, mean, group.sd, bic), records))
    return tuple(rows)


def _curves(told: Fitted, own: Sequence[Value]) -> Chart:
    figures = [one.mm for one in own]
    margin = 0.15 * (figures[-1] - figures[0])
    grid = tuple(np.linspace(figures[0] - margin, figures[-1] + margin, 200).tolist())
    one = Group(1.0, told.mean, told.sd)
    curves = [("one_group", [normal(x, one) for x in grid])]
    curves += [
        (word, [normal(x, group) for x in grid])
        for word, group in zip(("smaller_group", "larger_group"), told.groups, strict=True)
    ]
    series = [Series(Word(ROW, word), grid, tuple(heights)) for word, heights in curves]
    return Chart("density", "mm", "density", tuple(series), more={"rug": (tuple(figures),)}, name=code_word(own[0].key))
