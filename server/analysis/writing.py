"""Tables as files and lines: CSV, JSON and plain text.

CSV and JSON hold keys and bare figures, the same in every language, for other programs; the text is for people. No word
that came from a record can begin a formula in a spreadsheet. Not for: pages, paper, pictures.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from fieldapp.domain.assemblage.results import Cell, Column, Result, Several, Span, Word
from fieldapp.domain.assemblage.selection import Unit, quoted
from server.analysis.wording import Wording
from server.spreadsheet import plain

SPANS = ("span", "interval")


def as_csv(results: Sequence[Result], wording: Wording) -> str:
    """The rows of tables below each other, each with the table and the pile it is of; a range in two columns, and a
    column that another table has too in one. `records` counts what stands behind a row."""
    heads = [head for result in results for column in result.columns for head in _heads(column)]
    out = io.StringIO()
    names = ("table", "by", "place", "way", *dict.fromkeys(heads), "records", "selection", "options")
    writer = csv.DictWriter(out, names, lineterminator="\r\n")
    writer.writeheader()
    for result in results:
        unit = result.unit
        options = ",".join(f"{key}={quoted(str(_bare(word, wording)))}" for key, word in result.options.items())
        told = {"table": result.key, "selection": plain(result.selection.text()), "options": plain(options)}
        if unit:
            told |= {"by": unit.by, "place": plain(wording.place(unit)) if unit.by != "site" else "", "way": unit.way}
        for row in result.rows:
            cells = [
                pair
                for column, cell in zip(result.columns, row.cells, strict=True)
                for pair in zip(_heads(column), _cells(column, cell, wording), strict=True)
            ]
            writer.writerow({**dict(cells), **told, "records": len(row.records)})
    return out.getvalue()


def _heads(column: Column) -> list[str]:
    return [f"{column.key}_low", f"{column.key}_high"] if column.kind in SPANS else [column.key]


def _cells(column: Column, cell: Cell, wording: Wording) -> list[Any]:
    if column.kind in SPANS:
        both = (cell.low, cell.high) if isinstance(cell, Span) else (cell, cell)
        return [_bare(one, wording) for one in both]
    return [_bare(cell, wording)]


def _bare(cell: Any, wording: Wording) -> Any:
    if isinstance(cell, Word):
        return plain(cell.key)
    if isinstance(cell, Span):
        return f"{cell.low:.12g}-{cell.high:.12g}"
    if isinstance(cell, Unit | Several):
        return plain(_called(cell, wording))
    if isinstance(cell, float):
        return f"{cell:.12g}"
    return "" if cell is None else plain(cell) if isinstance(cell, str) else cell


def _called(cell: Unit | Several, wording: Wording) -> str:
    """A unit by its bare name, as whoever recorded it wrote it."""
    return wording.name(cell) if isinstance(cell, Unit) else wording.cell(Column(""), cell)


def as_json(results: Iterable[Result], wording: Wording) -> str:
    """All there is to tables: figures, records behind each row, what was left out, definitions, sources."""
    return json.dumps([_told(one, wording) for one in results], ensure_ascii=False, indent=1)


def _told(result: Result, wording: Wording) -> dict[str, Any]:
    unit = result.unit
    return {
        "table": result.key,
        "title": wording.title(result),
        "definition": wording.how(result),
        "selection": result.selection.text(),
        "options": {key: _plain(word, wording) for key, word in result.options.items()},
        "unit": {"by": unit.by, "place": wording.place(unit), "way": unit.way} if unit else None,
        "columns": [{"key": one.key, "kind": one.kind} for one in result.columns],
        "rows": [
            {"cells": [_plain(cell, wording) for cell in row.cells], "records": list(row.records), "total": row.total}
            for row in result.rows
        ],
        "left_out": [{"why": one.why, "records": list(one.records), "pieces": one.pieces} for one in result.left_out],
        "notes": [wording.note(one) for one in result.notes],
        "sources": list(result.sources),
    }


def _plain(cell: Cell, wording: Wording) -> Any:
    if isinstance(cell, Word):
        return cell.key
    if isinstance(cell, Span):
        return [cell.low, cell.high]
    if isinstance(cell, Unit | Several):
        return _called(cell, wording)
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell


def as_text(results: Iterable[Result], wording: Wording) -> str:
    """Tables for a terminal, each under its unit, with its definition, what was left out and its sources once."""
    lines: list[str] = []
    last = ""
    for result in results:
        if result.key != last:
            lines += [wording.title(result), f"  {wording.how(result)}"]
            lines += [f"  {wording.options(result.options)}"] if result.options else []
            lines.append("")
            last = result.key
        if result.unit is not None or result.rows:
            lines.append(f"{wording.unit(result.unit)}")
        lines += [f"  {line}" for line in _grid(result, wording)]
        lines += [f"  ! {wording.note(one)}" for one in result.notes]
        lines += [f"  - {words}" for words, _ in wording.left_out(result)]
        lines += [f"  * {wording.source(one)}" for one in result.sources]
        lines.append("")
    return "\n".join(lines).rstrip()


def _grid(result: Result, wording: Wording) -> Iterator[str]:
    if not result.rows:
        if not result.notes:
            yield wording.say("nothing")
        return
    heads = [wording.heading(one) for one in result.columns]
    body = [[wording.cell(*pair) for pair in zip(result.columns, row.cells, strict=True)] for row in result.rows]
    wide = [max(len(line[n]) for line in [heads, *body]) for n in range(len(heads))]
    for line in [heads, *body]:
        cells = [
            cell.ljust(width) if column.kind == "word" else cell.rjust(width)
            for column, cell, width in zip(result.columns, line, wide, strict=True)
        ]
        yield "  ".join(cells).rstrip()
