"""The tables of animals against places: what was found, what would be expected, and how unlikely the difference is.

For: chi-square with scipy, and where counts are small a test that asks no distribution: Fisher's exact one of two by
two, else tables drawn at random with the same totals, from a fixed seed. Not for: what the figures mean
(fieldapp.domain.assemblage.crosstable; a test holds the two together).

Places are compared within one way of recovery; without places (by site) the ways of recovery are compared themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from fieldapp.domain.assemblage import crosstable, shares
from fieldapp.domain.assemblage.results import Cell, Column, Note, Result, Row, Word
from fieldapp.domain.assemblage.selection import Unit
from server.analysis import taxon_counts
from server.analysis.asking import Asked, Table
from server.analysis.cells import UNIT_COLUMNS, unit_cells
from server.analysis.count_common import BY_PROTOCOL
from server.analysis.taxon_counts import NAMES_APART, OVERLAP, Pile

SEED, ROUNDS = 1871, 9999
MOST_CELLS = 400
"""A wider table is shown without a test drawn at random: it would have to be read cell by cell, which nobody does."""
MOST_BONES = 10_000_000
"""Nor is one with more bones, which is a mistyped count: what draws the tables cannot hold the sums of such figures."""
BATCH = 200_000
LEAST_CHANCE = 0.0001

WHERE, HOW = slice(0, 1), slice(1, 3)
"""Which of UNIT_COLUMNS tell the places of one way of recovery apart, and the ways of one place."""


def columns(telling: slice) -> tuple[Column, ...]:
    """The columns of the cells."""
    return (
        Column("taxon"),
        *UNIT_COLUMNS[telling],
        Column("nisp_sure", "count"),
        Column("nisp_percent", "percent"),
        Column("expected", "number", 1),
        Column("residual", "number", 1),
    )


TESTS = (
    Column("test"),
    Column("identified", "count"),
    Column("taxa_compared", "count"),
    Column("places_compared", "count"),
    Column("chi_square", "number", 2),
    Column("degrees", "count"),
    Column("expected_least", "number", 1),
    Column("chance", "number", 4),
    Column("rounds", "count"),
    Column("cramers_v", "number", 2),
)
SOURCES = ("Pearson 1900 (memory)", "Haberman 1973 (memory)", "Cramer 1946 (memory)", "Fisher 1922 (memory)")


@dataclass(frozen=True)
class Tested:
    """One test: `how` it was done, the chance of a difference as large, and how many tables were drawn for it."""

    how: str
    chance: float | None
    rounds: int | None = None


def chances(table: Sequence[Sequence[int]], seed: int = SEED, rounds: int = ROUNDS) -> list[Tested]:
    """The tests that the counts bear. Chi-square says its chance only where no count is expected below five."""
    usual = stats.chi2_contingency(table, correction=False)
    small = usual.expected_freq.min() < crosstable.FEW
    found = [Tested("chi_square", None if small else float(usual.pvalue))]
    if sum(map(sum, table)) > MOST_BONES:
        return found
    if small and len(table) == len(table[0]) == 2:
        found.append(Tested("fisher_exact", float(stats.fisher_exact(table).pvalue)))
    elif small and usual.expected_freq.size <= MOST_CELLS:
        found.append(Tested("drawn_tables", drawn(table, seed, rounds), rounds))
    return found


def drawn(table: Sequence[Sequence[int]], seed: int, rounds: int) -> float:
    """The share of tables drawn with the same totals whose chi-square is as large, with the one that was found among
    them: (as large + 1) / (rounds + 1)."""
    found = np.asarray(table, dtype=float)
    wanted = np.outer(found.sum(axis=1), found.sum(axis=0)) / found.sum()
    seen = ((found - wanted) ** 2 / wanted).sum()
    law = stats.random_table(found.sum(axis=1).astype(int), found.sum(axis=0).astype(int))
    source, large, left = np.random.default_rng(seed), 0, rounds
    while left:
        now = min(left, max(1, BATCH // found.size))
        figures = ((law.rvs(size=now, random_state=source) - wanted) ** 2 / wanted).sum(axis=(1, 2))
        large += int((figures >= seen * (1 - 1e-9)).sum())
        left -= now
    return (large + 1) / (rounds + 1)


def make(asked: Asked) -> Iterator[Result]:
    """For each way of recovery the cells, and the tests."""
    found = taxon_counts.piles(asked, asked.option(OVERLAP, shares.APART))
    ways: dict[Unit | None, list[Pile]] = {}
    for pile in found:
        by_way = None if asked.selection.by == "site" else Unit("site", "", pile.unit.way)
        ways.setdefault(by_way, []).append(pile)
    for unit, here in ways.items():
        yield from _of(asked, unit, here)
    if not found:
        yield taxon_counts.nothing("crosstable", asked, columns(WHERE))


def _of(asked: Asked, unit: Unit | None, here: list[Pile]) -> Iterator[Result]:
    compared = [pile for pile in here if pile.whole]
    taxa = [taxon for taxon in asked.knowledge.taxa if any(taxon in pile.counts for pile in compared)]
    table = [[pile.counts.get(taxon, 0) for pile in compared] for taxon in taxa]
    apart = replace(asked, selection=replace(asked.selection, by="site"))
    of_way = {one.why: one for one in (apart.left_out(unit) if unit else asked.left_out())}
    left = {one.why: one for one in taxon_counts.all_left_out(pile.left_out for pile in here)} | of_way
    notes = taxon_counts.notes_on(compared or here, here)
    can = len(taxa) > 1 and len(compared) > 1
    if compared and not can:
        notes.append(Note("nothing_to_compare"))
    telling = WHERE if unit else HOW
    # What cannot be compared is no table of comparisons: the shares stand in a table of their own.
    rows = tuple(_rows(asked, compared, taxa, table, telling)) if can else ()
    told = tuple(left.values()), tuple(notes), SOURCES
    shown = Result("crosstable", asked.selection, unit, columns(telling), rows, *told)
    yield shown
    if can:
        yield _tests(shown, table, [id_ for pile in compared for id_ in pile.records])


def _rows(asked: Asked, here: list[Pile], taxa: list[str], table: list[list[int]], telling: slice) -> Iterator[Row]:
    expected, residuals = crosstable.expected(table), crosstable.residuals(table)
    for at, taxon in enumerate(taxa):
        for to, pile in enumerate(here):
            count = pile.counts.get(taxon, 0)
            cells: tuple[Cell, ...] = (
                Word("taxon", taxon),
                *unit_cells(pile.unit)[telling],
                count,
                shares.percent(count, pile.whole),
                expected[at][to],
                residuals[at][to],
            )
            yield Row(cells, pile.taxa[taxon].records if taxon in pile.taxa else ())
    for pile in here:
        where = unit_cells(pile.unit)[telling]
        yield Row(
            (Word("analysis.row", "all_animals"), *where, pile.whole, 100.0, None, None), pile.records, total=True
        )


def _tests(shown: Result, table: list[list[int]], records: list[str]) -> Result:
    wanted = [one for row in crosstable.expected(table) for one in row]
    of_table: Mapping[str, Cell] = {
        "identified": sum(map(sum, table)),
        "taxa_compared": len(table),
        "places_compared": len(table[0]),
        "chi_square": crosstable.statistic(table),
        "degrees": crosstable.degrees(table),
        "expected_least": min(wanted),
        "cramers_v": crosstable.cramers_v(table),
    }
    tests, notes = chances(table), [Note("not_independent_test")]
    if few := sum(one < crosstable.FEW for one in wanted):
        notes.append(Note("expected_small", {"cells": few, "of": len(wanted), "few": crosstable.FEW}))
    if any(one.how == "drawn_tables" for one in tests):
        notes.append(Note("drawn_at_random", {"rounds": ROUNDS, "seed": SEED}))
    elif few and len(tests) == 1:
        notes.append(Note("table_too_wide", {"cells": len(wanted), "most": MOST_CELLS, "bones": MOST_BONES}))
    rows = []
    for one in tests:
        # A chance that rounds to nought is no nought, and bones of one animal make nothing of its smallness.
        chance = f"< {LEAST_CHANCE}" if one.chance is not None and one.chance < LEAST_CHANCE else one.chance
        cells = {**of_table, "test": Word("analysis.row", one.how), "chance": chance, "rounds": one.rounds}
        rows.append(Row(tuple(cells[column.key] for column in TESTS), tuple(dict.fromkeys(records))))
    return replace(shown, key="crosstable_test", columns=TESTS, rows=tuple(rows), notes=tuple(notes), charts=())


TABLE = Table("crosstable", make, (NAMES_APART, BY_PROTOCOL))
