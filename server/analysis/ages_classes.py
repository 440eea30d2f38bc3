"""Animals by the class of age that was written, with their minimum numbers.

For: the table `age_classes`. What is counted is fieldapp.domain.assemblage.age_classes'. Not for: fusion or teeth.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.assemblage.age_classes import LIST, by_class
from fieldapp.domain.assemblage.results import Chart, Column, Note, Result, Row, Series, Span, Word
from fieldapp.domain.assemblage.shares import percent
from server.analysis import ages_asked as ask
from server.analysis.asking import Asked, Table
from server.analysis.count_common import human_notes
from server.analysis.count_pieces import together

_COLUMNS = (
    Column("age_class"), Column("n", "count"), Column("percent_n", "percent"), Column("class_mni", "span"),
    Column("percent_mni", "percent"),
)  # fmt: skip


def age_classes(asked: Asked) -> Iterator[Result]:
    """One table a unit: a row a class."""
    chosen = ask.chosen(asked)
    for unit, specimens in asked.units.items():
        own = chosen.own(specimens)
        found = by_class(own, chosen.knowledge, together(asked))
        n, animals = sum(one.nisp for one in found), sum(one.mni.low for one in found)
        rows = [
            Row(
                (Word(LIST, one.word), one.nisp, percent(one.nisp, n), one.mni, percent(one.mni.low, animals)),
                one.records,
            )
            for one in found
            if one.records
        ]
        told = {id for row in rows for id in row.records}
        notes = [*human_notes(asked.left_out(unit), own)]
        charts: tuple[Chart, ...] = ()
        if rows:
            most = sum(one.mni.high for one in found)
            cells = (
                Word("analysis.row", "ages_total"),
                n,
                percent(n, n),
                Span(animals, most),
                percent(animals, animals),
            )
            bars = Series(
                None, tuple(row.cells[0] for row in rows), tuple(_share(row) for row in rows), n=(int(animals),)
            )
            charts = (Chart("bars", "age_class", "age_percent_mni", (bars,)),)
            rows.append(Row(cells, tuple(dict.fromkeys(id for row in rows for id in row.records)), total=True))
        else:
            notes.append(Note("ages_no_class"))
        if rows and animals < ask.FEW:
            notes.append(Note("ages_few_animals", {"n": animals}))
        tallies, without = ask.tallies(own), [one for one in own if one.kind != "tally" and one.id not in told]
        left = (*asked.left_out(unit), *ask.outs(("ages_tally", tallies), ("ages_no_class", without)))
        yield Result(
            "age_classes", asked.selection, unit, _COLUMNS, tuple(rows), left, tuple(notes), (), charts
        )  # fmt: skip


def _share(row: Row) -> float | None:
    cell = row.cells[-1]
    return cell if isinstance(cell, float) else None


CLASSES = Table("age_classes", age_classes, (ask.TAXON,))
