"""Withers heights by every published factor, side by side, and what they say of each bone.

For: the table of heights by factor and the list of bones. Not for: which factors there are (assets/reference/
withers_factors.csv) and for whom they hold (domain.assemblage.withers).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fieldapp import assets
from fieldapp.domain.assemblage import sizes as figures
from fieldapp.domain.assemblage import withers as heights
from fieldapp.domain.assemblage.results import Chart, Column, Note, Result, Row, Series, Span, Word
from fieldapp.domain.assemblage.size_tables import Factor
from fieldapp.domain.assemblage.sizes import Value, records_of
from server.analysis.asking import Asked, Option
from server.analysis.cells import cite
from server.analysis.sizes_asked import ROW, left, picked, values_of, word_or_none

UNSEXED = Option("unsexed", lambda asked: ("apart", "as_each"), ROW)
"""Whether bones of unknown sex are left out of the factors for one sex, or taken as each sex in turn."""

FEW_DRAWN = 5
"""Fewer bones of an animal than this are not drawn (project decision)."""

_Told = Sequence[tuple[Value, Factor, float]]
"""(value, factor, height in millimetres)."""

_BY_FACTOR = (
    Column("taxon"), Column("element"), Column("digit"), Column("factor"), Column("factor_sex"), Column("n", "count"),
    Column("mean_cm", "number"), Column("smallest_cm", "number"), Column("largest_cm", "number"), Column("trust"),
    Column("seen"), Column("sd", "number"), Column("measure"), Column("equation"), Column("factor_kind"),
)  # fmt: skip
"""What is read first stands first: a paper has room for the first columns alone."""
_BY_BONE = (
    Column("label"), Column("taxon"), Column("element"), Column("sex"), Column("measure"), Column("mm", "number"),
    Column("factors", "count"), Column("height_cm", "interval"), Column("class_low"), Column("class_high"),
)  # fmt: skip


def withers(asked: Asked) -> Iterator[Result]:
    """Of each unit the heights by factor, then bone by bone."""
    table, any_sex = assets.sizes(), picked(asked, UNSEXED) == "as_each"
    for unit, specimens in asked.units.items():
        values = values_of(asked, specimens)
        told = [
            (value, factor, height)
            for value in values.found
            for factor, height in heights.of_bone(value, table, asked.knowledge, any_sex)
        ]
        could = {value.id for value in values.found if heights.has_factor(value, table, asked.knowledge)}
        notes = _notes(told, len(could - {value.id for value, _, _ in told}))
        out = left(asked, unit, values)
        sources = tuple(dict.fromkeys(cite(factor.source, factor.seen) for _, factor, _ in told))
        rows = tuple(_factor_rows(asked, told))
        yield Result("withers", asked.selection, unit, _BY_FACTOR, rows, out, notes, sources, _ranges(told))
        rows = tuple(_bone_rows(asked, told))
        classes = {cite(one.source, one.seen): None for one in table.classes} if any(r.cells[-1] for r in rows) else {}
        yield Result("withers_each", asked.selection, unit, _BY_BONE, rows, out, notes, (*sources, *classes))


def _notes(told: _Told, unsexed: int) -> tuple[Note, ...]:
    notes = [] if told else [Note("withers_none")]
    doubted = sorted({factor.name for _, factor, _ in told if factor.trust == "low"})
    if doubted:
        notes.append(Note("withers_doubted", {"names": ", ".join(doubted)}))
    if any(factor.seen == "memory" for _, factor, _ in told):
        notes.append(Note("withers_memory"))
    if any(factor.kind == "bound" for _, factor, _ in told):
        notes.append(Note("withers_bound"))
    if unsexed:
        notes.append(Note("withers_unsexed", {"n": unsexed}))
    return tuple(notes)


def _factor_rows(asked: Asked, told: _Told) -> Iterator[Row]:
    groups: dict[tuple[str, str, Factor], list[tuple[Value, float]]] = {}
    for value, factor, height in told:
        groups.setdefault((value.key.taxon, value.key.element, factor), []).append((value, height))
    taxa, elements = list(asked.knowledge.taxa), list(asked.knowledge.elements)
    listed = {factor: at for at, factor in enumerate(assets.sizes().factors)}
    for group in sorted(groups, key=lambda one: (taxa.index(one[0]), elements.index(one[1]), listed[one[2]])):
        taxon, element, factor = group
        summary = figures.summary([height / 10 for _, height in groups[group]])
        cells = (
            Word("taxon", taxon), Word("element", element), factor.position or None, factor.name,
            word_or_none("sex", factor.sex), summary.n, summary.mean, summary.low, summary.high,
            Word(ROW, f"trust_{factor.trust}"), Word(ROW, "memory" if factor.seen == "memory" else "seen"), summary.sd,
            factor.code, _equation(factor), Word(ROW, factor.kind),
        )  # fmt: skip
        yield Row(cells, records_of(value for value, _ in groups[group]))


def _equation(factor: Factor) -> str:
    sign = "+" if factor.intercept_mm > 0 else "-"
    return f"{factor.factor:g} x" + (f" {sign} {abs(factor.intercept_mm):g}" if factor.intercept_mm else "")


def _bone_rows(asked: Asked, told: _Told) -> Iterator[Row]:
    bones: dict[Value, list[tuple[Factor, float]]] = {}
    for value, factor, height in told:
        bones.setdefault(value, []).append((factor, height))
    table = assets.sizes()
    taxa, elements = list(asked.knowledge.taxa), list(asked.knowledge.elements)

    def place(one: Value) -> tuple[int, int, str, str]:
        return taxa.index(one.key.taxon), elements.index(one.key.element), one.label, one.id

    for value in sorted(bones, key=place):
        found = bones[value]
        own = sorted(height for _, height in heights.estimates(found))
        if not own:
            continue
        low, high = (heights.size_class(one, value.key.taxon, table, asked.knowledge) for one in (own[0], own[-1]))
        yield Row(
            (
                value.label, Word("taxon", value.key.taxon), Word("element", value.key.element),
                word_or_none("sex", value.sex), value.key.code, value.mm, len(own), Span(own[0] / 10, own[-1] / 10),
                Word(ROW, f"horse_{low.key}") if low else None, Word(ROW, f"horse_{high.key}") if high else None,
            ),
            value.records,
        )  # fmt: skip


def _ranges(told: _Told) -> tuple[Chart, ...]:
    """For each animal the mean of each bone, each factor a mark, with the smallest and the largest height. Of an animal
    with fewer than FEW_DRAWN bones the table says it all."""
    charts = []
    for taxon in dict.fromkeys(value.key.taxon for value, _, _ in told):
        own = [(v, f, h / 10) for v, f, h in told if v.key.taxon == taxon and f.kind != "bound"]
        if len({v.id for v, _, _ in own}) < FEW_DRAWN:
            continue
        elements = tuple(dict.fromkeys(value.key.element for value, _, _ in own))
        series = []
        for name in dict.fromkeys(factor.name for _, factor, _ in own):
            found = [
                figures.summary([h for v, f, h in own if (v.key.element, f.name) == (one, name)]) for one in elements
            ]
            words, means = tuple(Word("element", one) for one in elements), tuple(one.mean for one in found)
            low, high = tuple(one.low for one in found), tuple(one.high for one in found)
            series.append(Series(name, words, means, low, high, n=tuple(one.n for one in found)))
        charts.append(Chart("ranges", "", "height_cm", tuple(series), name=Word("taxon", taxon)))
    return tuple(charts)
