"""Tables of sizes: what was measured and what it comes to, what lies far out, and one measurement against another.

For: the topic's plain tables, and the list of all of them. Not for: definitions (domain.assemblage.sizes), heights,
log sizes and mixtures (modules of their own), or drawing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fieldapp.domain.assemblage import sizes
from fieldapp.domain.assemblage.results import Chart, Column, Note, Result, Row, Series, Several, Span, Word
from fieldapp.domain.assemblage.sizes import Key, Value
from fieldapp.domain.measures import Limits, Measurement
from server.analysis import sizes_log, sizes_mixture, sizes_withers
from server.analysis.asking import Asked, Table, left_out
from server.analysis.cells import cite
from server.analysis.sizes_asked import (
    CODE,
    ELEMENT,
    TAXON,
    WHICH,
    Chosen,
    X,
    Y,
    all_values,
    code_place,
    left,
    values_of,
    word_or_none,
)

FEW = 5
"""Below so many values a note says that they are few (project decision)."""

_OF = (Column("taxon"), Column("element"), Column("digit"), Column("measure"))


def _what(key: Key) -> tuple[Word, Word, str | None, str]:
    return Word("taxon", key.taxon), Word("element", key.element), key.position or None, key.code


def measurements(asked: Asked) -> Iterator[Result]:
    """Number, range, mean, median and spread of each measurement."""
    columns = (
        *_OF, Column("n", "count"), Column("smallest", "number"), Column("largest", "number"), Column("mean", "number"),
        Column("median", "number"), Column("sd", "number", 2), Column("cv", "number"), Column("estimated", "count"),
    )  # fmt: skip
    for unit, specimens in asked.units.items():
        values = values_of(asked, specimens)
        parted, guessed = values.by_key(), {one.key for one in values.estimated}
        rows = []
        for key in sizes.in_order(parted.keys() | guessed, asked.knowledge):
            own = parted.get(key, [])
            estimates = [one for one in values.estimated if one.key == key]
            told = sizes.summary([one.mm for one in own])
            records = sizes.records_of((*own, *estimates))
            figures = (told.low, told.high, told.mean, told.median, told.sd, told.cv)
            rows.append(Row((*_what(key), told.n, *figures, len(estimates)), records))
        few = sum(0 < len(those) < FEW for those in parted.values())
        notes = [Note("measures_few", {"rows": few, "least": FEW})] if few else []
        if not rows:
            notes = [Note("measures_none")]
        codes = dict.fromkeys(cite(row.source, row.seen) for row in _measured(asked, parted))
        out = left(asked, unit, values)
        yield Result("measurements", asked.selection, unit, columns, tuple(rows), out, tuple(notes), tuple(codes))


def _measured(asked: Asked, keys: dict[Key, list[Value]]) -> Iterator[Measurement]:
    for key in keys:
        row = asked.knowledge.measures.one(key.element, key.code, key.taxon, key.position or None)
        if row is not None:
            yield row


def outliers(asked: Asked) -> Iterator[Result]:
    """What lies beyond the published limits, or far from the others; of everything that was asked for, in one list."""
    columns = (
        Column("label"), *_OF, Column("mm", "number"), Column("published", "interval"), Column("beyond", "percent"),
        Column("n", "count"), Column("score", "number"),
    )  # fmt: skip
    values, rows = all_values(asked), []
    sources: dict[str, None] = {}
    unlimited = 0
    parted = values.by_key()
    for key in sizes.in_order(parted, asked.knowledge):
        own = parted[key]
        limits = asked.knowledge.measures.limits(key.element, key.code, key.taxon, key.position or None)
        unlimited += limits is None
        for one, score in zip(own, sizes.robust_scores([value.mm for value in own]), strict=True):
            beyond = _beyond(one.mm, limits)
            if beyond is None and (score is None or abs(score) <= sizes.ROBUST_LIMIT):
                continue
            published = Span(limits.low, limits.high) if limits else None
            rows.append(Row((one.label, *_what(key), one.mm, published, beyond, len(own), score), one.records))
            for row in limits.ranges if limits is not None and beyond is not None else ():
                sources[cite(row.source, row.seen)] = None
    notes = [Note("outliers_unlimited", {"kinds": unlimited})] if unlimited else []
    if not values.found:
        notes = [Note("measures_none")]
    elif not rows:
        notes.insert(0, Note("outliers_none", {"n": len(values.found)}))
    out = left(asked, None, values)
    robust = "Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers (memory)"
    yield Result("outliers", asked.selection, None, columns, tuple(rows), out, tuple(notes), (robust, *sources))


def _beyond(mm: float, limits: Limits | None) -> float | None:
    """By how many parts of a hundred a figure lies beyond the limits; None within them."""
    if limits is None or limits.low <= mm <= limits.high:
        return None
    end = limits.low if mm < limits.low else limits.high
    return 100 * abs(mm - end) / end


def bivariate(asked: Asked) -> Iterator[Result]:
    """Two measurements of the same bones against each other, and the one as a share of the other."""
    chosen = Chosen(asked)
    x, y = chosen.x, chosen.y
    columns = (
        Column("label"), Column("taxon"), Column("sex"), Column("side"), Column("x_mm", "number"),
        Column("y_mm", "number"), Column("estimated"), Column("index", "number"),
    )  # fmt: skip
    for unit, specimens in asked.units.items():
        values = values_of(asked, specimens)
        both, several = sizes.pairs(chosen.of(values.found), code_place(x), code_place(y)) if y else ([], set())
        both.sort(key=lambda pair: (pair[0].mm, pair[1].mm, pair[0].id))
        rows = tuple(
            Row((
                one.label, Word("taxon", one.key.taxon), word_or_none("sex", one.sex), word_or_none("side", one.side),
                one.mm, other.mm, Word("analysis.row", "estimated") if one.estimated or other.estimated else None,
                sizes.index(other.mm, one.mm),
            ), sizes.records_of((one, other)))
            for one, other in both
        )  # fmt: skip
        fields = {"x": x, "y": y, "taxon": Word("taxon", chosen.taxon), "element": Word("element", chosen.element)}
        notes = [Note("bivariate_what", fields)] if rows else [Note("bivariate_none")]
        if rows:
            told = sizes.summary([sizes.index(other.mm, one.mm) for one, other in both])
            index = {"n": told.n, "mean": round(told.mean or 0, 1), "low": told.low, "high": told.high, "x": x, "y": y}
            notes.append(Note("bivariate_index", {key: _short(value) for key, value in index.items()}))
        alike = left_out("measures_several", [one for one in specimens if one.id in several])
        out = (*left(asked, unit, values), *([alike] if alike else []))
        yield Result(
            "bivariate", asked.selection, unit, columns, rows, out, tuple(notes), (), _cloud(both, chosen.element, x, y)
        )


def _short(value: object) -> object:
    return round(value, 1) if isinstance(value, float) else value


def _cloud(both: Sequence[tuple[Value, Value]], element: str, x: str, y: str) -> tuple[Chart, ...]:
    series = []
    for taxon in dict.fromkeys(one.key.taxon for one, _ in both):
        own = [pair for pair in both if pair[0].key.taxon == taxon]
        xs, ys = tuple(one.mm for one, _ in own), tuple(other.mm for _, other in own)
        series.append(Series(Word("taxon", taxon), xs, ys, records=tuple(one.id for one, _ in own)))
    name, more = Several((Word("element", element), x, y)), {"said": {"x": x, "y": y}}
    return (Chart("points", "x_mm", "y_mm", tuple(series), name=name, more=more),) if both else ()


TABLES: tuple[Table, ...] = (
    Table("measurements", measurements, WHICH),
    Table("withers", sizes_withers.withers, (*WHICH, sizes_withers.UNSEXED)),
    Table("log_size", sizes_log.log_size, (sizes_log.STANDARD, sizes_log.WAY, *WHICH)),
    Table("bivariate", bivariate, (TAXON, ELEMENT, X, Y, *WHICH)),
    Table("mixture", sizes_mixture.mixture, (TAXON, ELEMENT, CODE, *WHICH)),
    Table("outliers", outliers, WHICH),
)
