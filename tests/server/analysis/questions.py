"""Questions put to specimens that were made by hand, without a ledger."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldapp.assets import knowledge, texts
from fieldapp.domain.assemblage.results import Result, Word
from fieldapp.domain.assemblage.selection import parse
from fieldapp.domain.assemblage.specimens import Specimen
from server.analysis import topics
from server.analysis.asking import Asked
from server.analysis.gathering import Gathered
from server.analysis.wording import Wording


def answers(
    topic: str, table: str, specimens: Iterable[Specimen], line: str = "", site: Mapping[str, Any] | None = None,
    **options: str,
) -> list[Result]:  # fmt: skip
    """The results of a table. `line` is a selection."""
    gathered = Gathered(tuple(specimens), {}, {}, knowledge(), site or {}, (), 0)
    found = topics.table(topic, table)
    assert found is not None
    return list(found.make(Asked(gathered, parse(line, knowledge()), options)))


def unsaid(topic: str, results: Iterable[Result]) -> set[str]:
    """What a result says in words that have no text: titles, columns, notes, reasons, words, axes, options."""
    said, missing = texts(), set()
    wording = Wording(said, {})

    def want(key: str) -> None:
        if key not in said:
            missing.add(key)

    for result in results:
        for ending in ("title", "how"):
            want(f"analysis.{result.key}.{ending}")
        for column in result.columns:
            want(f"analysis.column.{column.key}")
        for note in result.notes:
            want(f"analysis.note.{note.key}")
            wording.note(note)
        for out in result.left_out:
            want(f"analysis.left_out.{out.why}")
        for chart in result.charts:
            for axis in (chart.x, chart.y):
                want(f"analysis.axis.{axis}" if axis else "analysis.nothing")
        for row in result.rows:
            assert len(row.cells) == len(result.columns)
            for cell in row.cells:
                if isinstance(cell, Word) and cell.key:
                    want(f"{cell.of}.{cell.key}")
    for table in topics.tables(topic):
        for option in table.options:
            want(f"analysis.option.{option.key}")
    return missing
