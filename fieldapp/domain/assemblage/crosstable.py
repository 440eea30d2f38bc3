"""Animals against places: whether one place has more of an animal than the others would lead to expect.

For: expected counts, the chi-square figure, adjusted residuals, Cramer's V, and the exact chance of small tables, of a
table of counts (rows of animals, columns of places). Not for: speed, or judging: a small chance says that the counts
are unlikely if every specimen had been drawn by itself, which bones of one animal never are.

- *Expected* E = row total x column total / all.
- *Chi-square* = sum of (O - E)^2 / E, without a correction; degrees (rows - 1)(columns - 1).
- *Adjusted residual* (Haberman 1973, from memory): (O - E) / sqrt(E (1 - row share)(1 - column share)). Beyond about 2
  either way a cell stands out, were there only that one.
- *Cramer's V* = sqrt(chi-square / (all x (the smaller of rows and columns - 1))), from 0 to 1; it comes out too high
  where counts are small.
- *The exact chance*: of all tables with the same totals, the share (by their likelihood) whose chi-square is as large.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

Table = Sequence[Sequence[int]]

FEW = 5
"""Where any count is expected below this, chi-square's own distribution is not asked (common practice, no source)."""


def expected(table: Table) -> list[list[float]]:
    """What each cell would hold if places did not differ."""
    rows, columns, whole = _totals(table)
    return [[row * column / whole for column in columns] for row in rows]


def statistic(table: Table) -> float:
    """The chi-square figure. Rows and columns must not be empty."""
    cells = zip(table, expected(table), strict=True)
    return math.fsum((o - e) ** 2 / e for row, wanted in cells for o, e in zip(row, wanted, strict=True))


def degrees(table: Table) -> int:
    """How many cells are free once the totals are known."""
    return (len(table) - 1) * (len(table[0]) - 1)


def residuals(table: Table) -> list[list[float | None]]:
    """How far each cell lies from what is expected, in standard deviations; None where it cannot differ."""
    rows, columns, whole = _totals(table)
    found: list[list[float | None]] = []
    for at, wanted in enumerate(expected(table)):
        line: list[float | None] = []
        for to, e in enumerate(wanted):
            spread = e * (1 - rows[at] / whole) * (1 - columns[to] / whole)
            line.append((table[at][to] - e) / math.sqrt(spread) if spread > 0 else None)
        found.append(line)
    return found


def cramers_v(table: Table) -> float | None:
    """How strongly animals and places go together; None of a single row or column."""
    least = min(len(table), len(table[0])) - 1
    return math.sqrt(statistic(table) / (sum(map(sum, table)) * least)) if least else None


def exact_chance(table: Table) -> Fraction:
    """The exact chance, by going through every table with the same totals: only for small ones."""
    rows, columns, whole = _totals(table)
    ways = Fraction(math.prod(map(math.factorial, (*rows, *columns))), math.factorial(whole))
    seen = statistic(table)
    found = Fraction(0)
    for other in _tables(rows, columns):
        if statistic(other) >= seen - 1e-9 * max(1.0, seen):
            found += ways / math.prod(math.factorial(cell) for row in other for cell in row)
    return found


def _totals(table: Table) -> tuple[list[int], list[int], int]:
    rows = [sum(row) for row in table]
    return rows, [sum(column) for column in zip(*table, strict=True)], sum(rows)


def _tables(rows: Sequence[int], columns: Sequence[int]) -> Iterator[list[list[int]]]:
    if not rows:
        if not any(columns):
            yield []
        return
    for line in _lines(rows[0], columns):
        for rest in _tables(rows[1:], [all_ - one for all_, one in zip(columns, line, strict=True)]):
            yield [line, *rest]


def _lines(total: int, columns: Sequence[int]) -> Iterator[list[int]]:
    if len(columns) == 1:
        if total <= columns[0]:
            yield [total]
        return
    for one in range(min(total, columns[0]) + 1):
        for rest in _lines(total - one, columns[1:]):
            yield [one, *rest]
