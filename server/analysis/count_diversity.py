"""The tables of diversity and of rarefaction: units beside each other, and the curves of how many sorts a smaller
sample would hold.

For: rarefaction quickly, over many sizes at once; what it means is fieldapp.domain.assemblage.diversity's, and a test
holds the two together. Not for: which animals are counted apart (taxon_counts, shares).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import gammaln

from fieldapp.domain.assemblage import diversity, shares
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Several
from server.analysis import taxon_counts
from server.analysis.asking import Asked, Option, Table
from server.analysis.cells import UNIT_COLUMNS, unit_cells, way_of
from server.analysis.count_common import BY_PROTOCOL
from server.analysis.taxon_counts import NAMES_APART, OVERLAP, Pile

BASE, LEAST = "base", "least"
STEPS, CURVES = 30, 6
BAND = 1.96
"""Standard deviations to either side of a curve: about 95 in a hundred."""

DIVERSITY = (
    *UNIT_COLUMNS,
    Column("identified", "count"),
    Column("sorts", "count"),
    Column("shannon", "number", 2),
    Column("evenness", "number", 2),
    Column("simpson", "number", 2),
    Column("inverse_simpson", "number", 2),
    Column("simpson_evenness", "number", 2),
)
RAREFACTION = (
    *UNIT_COLUMNS,
    Column("identified", "count"),
    Column("sorts", "count"),
    Column("drawn", "count"),
    Column("sorts_expected", "number", 2),
    Column("sorts_deviation", "number", 2),
)


def rarefied(counts: Sequence[int], sizes: Sequence[int]) -> tuple[list[float], list[float]]:
    """How many sorts draws of these sizes are expected to hold, and the standard deviations."""
    there = np.array([one for one in counts if one > 0], dtype=float)
    whole, size = there.sum(), np.array(sizes, dtype=float)[:, None]

    def missing(gone: np.ndarray) -> np.ndarray:  # for each size, and each of these numbers of others
        left = whole - gone[None, :]
        can = left >= size
        left = np.where(can, left, size)
        log = gammaln(left + 1) - gammaln(left - size + 1) - gammaln(whole + 1) + gammaln(whole - size + 1)
        return np.where(can, np.exp(log), 0.0)

    alone = missing(there)
    variance = (alone * (1 - alone)).sum(axis=1)
    one, other = np.triu_indices(len(there), 1)
    variance += 2 * (missing(there[one] + there[other]) - alone[:, one] * alone[:, other]).sum(axis=1)
    return (1 - alone).sum(axis=1).tolist(), np.sqrt(np.maximum(variance, 0)).tolist()


def diverse(asked: Asked) -> Iterator[Result]:
    """Diversity, a row a unit."""
    found = taxon_counts.piles(asked, asked.option(OVERLAP, shares.APART))
    base = asked.option(BASE, "e")
    rows = []
    for pile in found:
        counts = list(pile.counts.values())
        shannon = diversity.shannon(counts, diversity.BASES.get(base, math.e))
        figures: tuple[Cell, ...] = (
            shannon,
            diversity.evenness(counts),
            diversity.simpson(counts),
            diversity.inverse_simpson(counts),
            diversity.simpson_evenness(counts),
        )
        rows.append(Row((*_beginning(pile, asked), *figures), pile.records))
    notes = [*taxon_counts.notes_on(found), Note("shannon_base", {"base": base if base in diversity.BASES else "e"})]
    left = taxon_counts.all_left_out(pile.left_out for pile in found) if found else asked.left_out()
    sources = ("Shannon 1948 (memory)", "Simpson 1949 (memory)", "Pielou 1966 (memory)")
    yield Result("diversity", asked.selection, None, DIVERSITY, tuple(rows), left, tuple(notes), sources)


def drawn(asked: Asked) -> Iterator[Result]:
    """Rarefaction, a row a unit at the size of the smallest, and the curves."""
    found = taxon_counts.piles(asked, asked.option(OVERLAP, shares.APART))
    word = asked.option(LEAST, "20")
    least = int(word) if word.isdecimal() and len(word) < 10 else 20
    compared = [pile for pile in found if pile.whole >= max(least, 1)]
    size = min((pile.whole for pile in compared), default=0)
    rows = []
    for pile in found:
        expected: tuple[Cell, ...] = (None, None, None)
        if pile in compared:
            (sorts,), (deviation,) = rarefied(list(pile.counts.values()), [size])
            expected = (size, sorts, deviation)
        rows.append(Row((*_beginning(pile, asked), *expected), pile.records))
    notes = taxon_counts.notes_on(found)
    if small := len(found) - len(compared):
        notes.append(Note("too_few_to_draw", {"units": small, "least": least}))
    charts = tuple(_charts(compared, asked))
    shown = sum(len(one.series) for one in charts)
    if shown < len(compared):
        notes.append(Note("curves_shown", {"shown": shown, "units": len(compared)}))
    left = taxon_counts.all_left_out(pile.left_out for pile in found) if found else asked.left_out()
    sources = ("Hurlbert 1971 (memory)", "Heck, van Belle & Simberloff 1975 (memory)")
    yield Result("rarefaction", asked.selection, None, RAREFACTION, tuple(rows), left, tuple(notes), sources, charts)


def _beginning(pile: Pile, asked: Asked) -> tuple[Cell, ...]:
    return *unit_cells(pile.unit), pile.whole, diversity.richness(list(pile.counts.values()))


def _charts(compared: Sequence[Pile], asked: Asked) -> Iterator[Chart]:
    """A picture for each way of recovery, with the curves of its largest units; without places, one of all ways."""
    by_site = asked.selection.by == "site"
    ways: dict[str, list[Pile]] = {}
    for pile in compared:
        ways.setdefault("" if by_site else pile.unit.way, []).append(pile)
    for here in ways.values():
        largest = sorted(here, key=lambda one: -one.whole)[:CURVES]
        curves = tuple(_curve(pile, asked) for pile in here if pile in largest)
        yield Chart("lines", "drawn", "sorts_expected", curves, name=None if by_site else _way(here[0]))


def _way(pile: Pile) -> Cell:
    mesh = pile.unit.way.partition(":")[2]
    return Several((way_of(pile.unit), f"{mesh} mm")) if mesh else way_of(pile.unit)


def _curve(pile: Pile, asked: Asked) -> Series:
    counts = list(pile.counts.values())
    # Close together where a curve rises, and evenly all along.
    evenly, rising = np.linspace(1, pile.whole, STEPS), np.geomspace(1, pile.whole, STEPS)
    sizes = sorted({round(one) for one in (*evenly.tolist(), *rising.tolist())})
    sorts, deviations = rarefied(counts, sizes)
    low = tuple(max(1.0, one - BAND * sd) for one, sd in zip(sorts, deviations, strict=True))
    high = tuple(min(float(len(counts)), one + BAND * sd) for one, sd in zip(sorts, deviations, strict=True))
    name = _way(pile) if asked.selection.by == "site" else pile.unit
    return Series(name, tuple(sizes), tuple(sorts), low, high, n=(pile.whole,))


_NAMES = (NAMES_APART, BY_PROTOCOL)
TABLES = (
    Table("diversity", diverse, (*_NAMES, Option(BASE, lambda _: tuple(diversity.BASES)))),
    Table("rarefaction", drawn, (*_NAMES, Option(LEAST, lambda _: ("20", "50", "100", "1")))),
)
