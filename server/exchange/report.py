"""What was not understood of a table, as a table: row, line, column, value, why. And the same counted, for the screen.

Written as the rows go by, so that a million need no memory. Cells that a spreadsheet would take for a formula get an
apostrophe before them. Not here: what is odd about a row (mapping).
"""

from __future__ import annotations

import csv
import io
import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from fieldapp.assets import texts
from fieldapp.durable import PART
from server.exchange.mapping import Mapped, Miss
from server.spreadsheet import plain

HEADINGS = ("row", "line", "column", "value", "why", "what_it_means")
LISTED = 500
"""Different words of a column that are counted; more of them are a column of something else."""


class NotOurs(ValueError):
    """A file of somebody else's stands where the report is to be."""


def _cell(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; figures stay as they are."""
    try:
        float(cell)
    except ValueError:
        return plain(cell.replace("\0", ""))
    return cell


def sentence(miss: Miss) -> str:
    """Why, and what was done, in words."""
    return texts()[f"import.why.{miss.why}"].format(**miss.fields)


class Report:
    """A report that is being written, to a file or to none; it has its name once it is closed, so that half a report is
    never taken for a whole one. Raises NotOurs, OSError."""

    def __init__(self, path: Path | None) -> None:
        if path is not None and path.exists() and not (path.is_file() and _is_ours(path)):
            raise NotOurs(str(path))
        self._path, self._beside = path, path.with_name(path.name + PART) if path is not None else None
        self._text = self._beside.open("w", encoding="utf-8-sig", newline="") if self._beside else io.StringIO()
        self._writes = path is not None
        self._table = csv.writer(self._text)
        if self._writes:
            self._table.writerow(HEADINGS)

    def add(self, row: Mapped, misses: Iterable[Miss]) -> None:
        """What was missed of a row."""
        if self._writes:
            for one in misses:
                cells = (str(row.row.number), str(row.row.line), one.column, one.value, one.why, sentence(one))
                self._table.writerow([_cell(cell) for cell in cells])

    def close(self) -> None:
        """Ends it."""
        self._text.close()
        if self._beside is not None and self._path is not None:
            os.replace(self._beside, self._path)


@dataclass
class Sums:
    """What was missed, counted: {(column, why): times}, and of a column's words the most frequent."""

    rows: int = 0
    odd_rows: int = 0
    counted: float = 0.0
    whole: int = 0
    halves: int = 0
    human: int = 0
    human_left: int = 0
    times: Counter[tuple[str, str]] = field(default_factory=Counter)
    words: dict[tuple[str, str], Counter[str]] = field(default_factory=dict)

    def add(self, row: Mapped) -> None:
        """A row."""
        self.rows += 1
        self.odd_rows += bool(row.misses)
        self.counted += row.counted or 0.0
        self.human += row.human and not row.left
        self.human_left += row.human and bool(row.left)
        self.whole += row.values.get("count") or 0
        for one in row.misses:
            self.halves += one.why in ("half", "broken_count")
            key = (one.column, one.why)
            self.times[key] += 1
            words = self.words.setdefault(key, Counter())
            if one.value in words or len(words) < LISTED:
                words[one.value[:80]] += 1


def _is_ours(path: Path) -> bool:
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as text:
        begins = text.readline(200)
    return not begins or tuple(begins.strip().split(",")) == HEADINGS
