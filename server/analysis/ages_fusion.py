"""Fusion: how many ends had joined, end by end and by stages of age, after one source at a time.

For: the tables `fusion` and `fusion_stages`. What is counted is fieldapp.domain.assemblage.fusion's. Not for: ages at
death (ages_survival).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fieldapp.domain.assemblage.fusion import Counted, Stage, ends, stage_names, stages
from fieldapp.domain.assemblage.results import (
    Cell,
    Chart,
    Column,
    LeftOut,
    Note,
    Result,
    Row,
    Series,
    Several,
    Span,
    Word,
)
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.shares import percent, wilson
from fieldapp.domain.assemblage.specimens import Specimen
from server.analysis import ages_asked as ask
from server.analysis.asking import Asked, Table
from server.analysis.count_common import human_notes

_FIGURES = (
    Column("age_from", "number", 0),
    Column("age_to", "number", 0),
    Column("fused", "span"),
    Column("fusing", "span"),
    Column("unfused", "span"),
    Column("loose_ends", "span"),
    Column("open_shafts", "span"),
    Column("n", "count"),
    Column("percent_fused", "percent"),
    Column("wilson", "interval"),
    Column("percent_begun", "percent"),
)
_BY_END = (Column("element"), Column("centre"), Column("age_stage"), *_FIGURES)
_BY_STAGE = (Column("age_stage"), Column("age_ends", "count"), *_FIGURES)
_WILSON = "Wilson 1927, interval of a share, J. Am. Stat. Assoc. 22: 209-212 (memory)"


def by_end(asked: Asked) -> Iterator[Result]:
    """One table a unit: each end that joins, with what had joined of it."""
    chosen = ask.chosen(asked)
    taxon, know = chosen.taxon, chosen.knowledge
    names = stage_names(taxon, know)
    for unit, specimens in asked.units.items():
        own = chosen.own(specimens)
        found = ends(own, taxon, know, asked.selection.refits, asked.selection.groups)
        rows = [
            Row(
                (
                    Word("element", element),
                    Word(f"centre.{element}", centre),
                    names.get((element, centre)),
                    *_figures(know.fusion_range(taxon, element, centre), count),
                ),
                count.records,
            )
            for (element, centre), count in found.items()
        ]
        yield _result("fusion", asked, chosen, unit, _BY_END, rows, own, list(found.values()))


def by_stage(asked: Asked) -> Iterator[Result]:
    """One table a unit: the ends of each stage together."""
    chosen = ask.chosen(asked)
    taxon, know = chosen.taxon, chosen.knowledge
    for unit, specimens in asked.units.items():
        own = chosen.own(specimens)
        found = ends(own, taxon, know, asked.selection.refits, asked.selection.groups)
        told, ageless = stages(found, taxon, know)
        rows = [
            Row((one.name or None, len(one.ends), *_figures(one.months, one.count)), one.count.records) for one in told
        ]
        without = {id for end in ageless for id in found[end].records} - {
            id for one in told for id in one.count.records
        }
        extra = ask.outs(("ages_ageless", [one for one in own if one.id in without]))
        result = _result("fusion_stages", asked, chosen, unit, _BY_STAGE, rows, own, [one.count for one in told], extra)
        yield result if not told else _with_chart(replace(result, notes=(*result.notes, _ends(told))), told)


def _figures(months: tuple[float | None, float | None] | None, count: Counted) -> tuple[Cell, ...]:
    low, high = months or (None, None)
    fused, fusing, _ = count.sure
    interval = wilson(fused, count.n)
    return (
        low,
        high,
        count.fused,
        count.fusing,
        count.unfused,
        count.loose,
        count.shafts,
        count.n,
        percent(fused, count.n),
        Span(100 * interval[0], 100 * interval[1]) if interval else None,
        percent(fused + fusing, count.n),
    )


def _result(
    key: str, asked: Asked, chosen: ask.Chosen, unit: Unit, columns: tuple[Column, ...], rows: list[Row],
    own: list[Specimen],
    counts: list[Counted], extra: tuple[LeftOut, ...] = (),
) -> Result:  # fmt: skip
    left = asked.left_out(unit)
    notes = [*human_notes(left, own), *chosen.source_notes()]
    few = [one for one in counts if one.n < ask.FEW]
    if few:
        notes.append(Note("ages_few", {"rows": len(few), "least": ask.FEW}))
    if any(one.sure != (one.fused.high, one.fusing.high, one.unfused.high) for one in counts):
        notes.append(Note("ages_disputed_share"))
    if not rows:
        notes.append(Note("ages_nothing_joined"))
    silent = [one for one in own if one.kind != "tally" and not one.fusion]
    return Result(
        key,
        asked.selection,
        unit,
        columns,
        tuple(rows),
        (*left, *ask.outs(("ages_tally", ask.tallies(own)), ("ages_no_end", silent)), *extra),
        tuple(notes),
        (*chosen.fusion_sources(), _WILSON),
    )


def _with_chart(result: Result, told: list[Stage]) -> Result:
    marks = tuple(_mark(one) for one in told)
    series = tuple(
        Series(
            Word("fusion_state", state),
            marks,
            tuple(percent(one.count.sure[at], one.count.n) for one in told),
        )
        for at, state in enumerate(("fused", "fusing", "unfused"))
    )
    return replace(result, charts=(Chart("stacked", "age_stages", "age_percent", series),))


def _mark(one: Stage) -> str:
    return f"{_called(one)}, n = {one.count.n}"


def _called(one: Stage) -> str:
    low, high = one.months
    months = f"{low or 0:g}–" if high is None else f"{low or 0:g}" + (f"–{high:g}" if high != low else "")  # noqa: RUF001
    return f"{one.name} ({months})" if one.name else months


def _ends(told: list[Stage]) -> Note:
    """Which ends were seen in each stage: a stage is no more than they are."""
    stages = (
        Several((_called(one), Several(tuple(
            Several((Word("element", element), Word(f"centre.{element}", centre)), " ") for element, centre in one.ends
        ))), ": ")
        for one in told
    )  # fmt: skip
    return Note("ages_stage_ends", {"stages": Several(tuple(stages), "; ")})


FUSION = Table("fusion", by_end, (ask.TAXON, ask.SOURCE))
STAGES = Table("fusion_stages", by_stage, (ask.TAXON, ask.SOURCE))
