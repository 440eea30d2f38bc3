"""The log size index: bones of different kinds on one scale, against a stated standard.

For: the index of each bone, its spread by way of measuring (lengths apart from breadths and depths) and its density.
Not for: choosing a standard for somebody: the tables hold an example, a site loads what it compares with.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy import stats

from fieldapp import assets
from fieldapp.domain.assemblage import sizes
from fieldapp.domain.assemblage.results import Cell, Chart, Column, LeftOut, Note, Result, Row, Series, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.size_tables import OWN, Standard, own_standards
from fieldapp.domain.assemblage.sizes import Value, Values
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.measures import SPANS
from server.analysis.asking import Asked, Option, left_out
from server.analysis.cells import UNIT_COLUMNS, cite, legend, unit_cells
from server.analysis.sizes_asked import ROW, left, picked, values_of
from server.analysis.wording import shown

LEAST = 10
"""A density is drawn of so many bones at least (project decision)."""
_POINTS = 200
_MEADOW = "Meadow 1999, log size index with logarithms to the base 10 (memory)"
_Told = Sequence[tuple[Value, Standard, float]]


def _all(asked: Asked) -> tuple[Standard, ...]:
    return (*own_standards(asked.gathered.site), *assets.sizes().standards)


STANDARD = Option("standard", lambda asked: tuple(dict.fromkeys(one.name for one in _all(asked))))
"""The site's own first. A name may hold several animals: each bone is set against its own."""
WAY = Option("way", lambda asked: ("breadth", "length", "depth", "around", "any_way"), ROW)
"""Which measurements: along the bone and across it do not grow alike."""

_SPREAD = (
    Column("n", "count"), Column("smallest_lsi", "number", 3), Column("largest_lsi", "number", 3),
    Column("mean_lsi", "number", 3), Column("median_lsi", "number", 3), Column("sd_lsi", "number", 3),
)  # fmt: skip
_BY_TAXON = (Column("taxon"), *_SPREAD)
_EACH = (
    Column("label"), Column("taxon"), Column("element"), Column("measure"), Column("mm", "number"),
    Column("standard_mm", "number"), Column("lsi", "number", 4),
)  # fmt: skip
_BY_UNIT = (*UNIT_COLUMNS, *_SPREAD)


def log_size(asked: Asked) -> Iterator[Result]:
    """Of each unit the spread by animal, then bone by bone; at the end the units beside each other."""
    name, way = picked(asked, STANDARD), picked(asked, WAY)
    standards = [one for one in _all(asked) if one.name == name]
    sources = (_MEADOW, *dict.fromkeys(_source(one) for one in standards))
    what = Note("log_size_what", {"standard": name, "way": Word(ROW, way)})
    compared: list[tuple[Unit, _Told]] = []
    for unit, specimens in asked.units.items():
        values = values_of(asked, specimens)
        told, several = sizes.one_each(
            values.found, standards, asked.knowledge, way if way in SPANS else "", asked.selection.groups == "one"
        )
        told.sort(key=lambda one: (one[2], one[0].id))
        out = (*left(asked, unit, values), *_not_compared(values, specimens, several, told))
        charts = _densities([(None, told)])
        widths = [one for chart in charts for one in chart.more["bandwidth"] if one is not None]
        smooth = [Note("log_size_bandwidth", {"width": f"{one:.4f}"}) for one in widths]
        notes = (what, *smooth, *_cautions(told, standards))
        compared.append((unit, told))
        yield Result("log_size", asked.selection, unit, _BY_TAXON, _by_taxon(asked, told), out, notes, sources, charts)
        rows = tuple(_each(one) for one in told)
        yield Result("log_size_each", asked.selection, unit, _EACH, rows, out, notes, sources)
    if len(compared) > 1 and any(told for _, told in compared):
        rows = tuple(Row((*unit_cells(unit), *_spread(told)), _ids(told)) for unit, told in compared)
        charts = _densities([(legend(unit, [one for one, _ in compared]), told) for unit, told in compared])
        yield Result("log_size_units", asked.selection, None, _BY_UNIT, rows, (), (what,), sources, charts)


def _source(one: Standard) -> str:
    return f"{shown(one.name)}: {cite(one.source, '-' if one.seen == OWN else one.seen)}"


def _not_compared(values: Values, specimens: Sequence[Specimen], several: set[str], told: _Told) -> Iterator[LeftOut]:
    used = _ids(told)
    unlike = {one.id for one in values.found} - {*used} - several
    for why, ids in (("measures_several", several), ("log_size_no_standard", unlike)):
        found = left_out(why, [one for one in specimens if one.id in ids])
        if found is not None:
            yield found


def _cautions(told: _Told, standards: Sequence[Standard]) -> Iterator[Note]:
    if not told:
        yield Note("log_size_none")
    elif len(told) < LEAST:
        yield Note("log_size_few", {"n": len(told), "least": LEAST})
    for text in dict.fromkeys(one.note for one in standards if one.note and told):
        yield Note("log_size_standard", {"note": text})


def _ids(told: _Told) -> tuple[str, ...]:
    return sizes.records_of(value for value, _, _ in told)


def _spread(told: _Told) -> tuple[Cell, ...]:
    found = sizes.summary([index for _, _, index in told])
    return found.n, found.low, found.high, found.mean, found.median, found.sd


def _by_taxon(asked: Asked, told: _Told) -> tuple[Row, ...]:
    rows = []
    for taxon in sorted({value.key.taxon for value, _, _ in told}, key=list(asked.knowledge.taxa).index):
        own = [one for one in told if one[0].key.taxon == taxon]
        rows.append(Row((Word("taxon", taxon), *_spread(own)), _ids(own)))
    if len(rows) > 1:
        rows.append(Row((Word(ROW, "all"), *_spread(told)), _ids(told), total=True))
    return tuple(rows)


def _each(one: tuple[Value, Standard, float]) -> Row:
    value, standard, index = one
    words = Word("taxon", value.key.taxon), Word("element", value.key.element)
    return Row((value.label, *words, value.key.code, value.mm, standard.mm, index), value.records)


def density(figures: Sequence[float], grid: Sequence[float]) -> tuple[list[float], float]:
    """(Gaussian kernel density over a grid, its bandwidth), the bandwidth by Scott's rule: sd x n to the power -1/5."""
    kernel = stats.gaussian_kde(np.asarray(figures, dtype=float), bw_method="scott")
    return [float(one) for one in kernel(np.asarray(grid))], float(kernel.factor * np.std(figures, ddof=1))


def _densities(named: Sequence[tuple[Cell, _Told]]) -> tuple[Chart, ...]:
    """A curve for each that has enough bones, and every bone as a stroke on the axis; nothing without a curve."""
    lists = [(name, [index for _, _, index in told]) for name, told in named if told]
    indices = [one for _, those in lists for one in those]
    if not indices:
        return ()
    margin = 0.15 * (max(indices) - min(indices)) or 0.02
    grid = tuple(np.linspace(min(indices) - margin, max(indices) + margin, _POINTS).tolist())
    series, widths = [], []
    for name, those in lists:
        drawn = len(those) >= LEAST and len(set(those)) > 1
        heights, width = density(those, grid) if drawn else ([], None)
        series.append(Series(name, grid if drawn else (), tuple(heights)))
        widths.append(width)
    if not any(one.y for one in series):
        return ()
    more = {"rug": tuple(tuple(those) for _, those in lists), "zero": 0.0, "bandwidth": tuple(widths)}
    return (Chart("density", "lsi", "density", tuple(series), more=more),)
