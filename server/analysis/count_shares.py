"""The table of shares: %NISP of each animal with the intervals that chance alone leaves.

Not for: how they are worked out (fieldapp.domain.assemblage.shares), or other figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from fieldapp.domain.assemblage import shares
from fieldapp.domain.assemblage.results import Chart, Column, Result, Row, Series, Span, Word
from server.analysis import taxon_counts
from server.analysis.asking import Asked, Table
from server.analysis.count_common import BY_PROTOCOL
from server.analysis.taxon_counts import NAMES_AS_GIVEN, OVERLAP, Pile

COLUMNS = (
    Column("taxon"),
    Column("nisp", "span"),
    Column("nisp_sure", "count"),
    Column("nisp_percent", "percent"),
    Column("interval_one", "interval"),
    Column("interval_all", "interval"),
)
SOURCES = (
    "Wilson 1927, interval of a share, J. Am. Stat. Assoc. 22: 209-212 (memory)",
    "Goodman 1965, Technometrics 7 (memory)",
)


def make(asked: Asked) -> Iterator[Result]:
    """A table of shares for each unit."""
    found = taxon_counts.piles(asked, asked.option(OVERLAP, shares.AS_NAMED))
    yield from (_of(asked, pile) for pile in found) if found else (taxon_counts.nothing("shares", asked, COLUMNS),)


def _of(asked: Asked, pile: Pile) -> Result:
    whole = pile.whole
    at_once = shares.goodman({taxon: one.low for taxon, one in pile.taxa.items()})
    rows = []
    for taxon, one in pile.taxa.items():
        share, alone = shares.percent(one.low, whole), _percents(shares.wilson(one.low, whole))
        ends = alone, _percents(at_once.get(taxon))
        rows.append(Row((Word("taxon", taxon), Span(one.low, one.high), one.low, share, *ends), one.records))
    # One animal by itself is no picture.
    charts = (_chart(rows),) if whole and len(rows) > 1 else ()
    if rows:
        span = Span(whole, pile.most)
        total = Word("analysis.row", "all_animals"), span, whole, shares.percent(whole, whole), None, None
        rows.append(Row(total, pile.records, total=True))
    notes = tuple(taxon_counts.notes_on([pile]))
    return Result("shares", asked.selection, pile.unit, COLUMNS, tuple(rows), pile.left_out, notes, SOURCES, charts)


def _chart(rows: Iterable[Row]) -> Chart:
    words, _, counts, share, alone, _ = zip(*(row.cells for row in rows), strict=True)
    low, high = (tuple(getattr(ends, end) for ends in alone) for end in ("low", "high"))
    return Chart("bars", "taxon", "nisp_percent", (Series(None, words, share, low, high, n=counts),))


def _percents(ends: tuple[float, float] | None) -> Span | None:
    return Span(100 * ends[0], 100 * ends[1]) if ends else None


TABLE = Table("shares", make, (NAMES_AS_GIVEN, BY_PROTOCOL))
