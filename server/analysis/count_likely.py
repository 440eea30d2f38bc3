"""The table of likely numbers of individuals: lefts, rights, the pairs that a specialist has matched, and estimates.

Not for: what the estimates mean (fieldapp.domain.assemblage.likely), finding pairs, or minimum numbers.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.assemblage import likely
from fieldapp.domain.assemblage.results import Cell, Column, Note, Result, Row, Span, Word
from server.analysis.asking import Asked, Table
from server.analysis.count_common import BY_PROTOCOL, Here, not_elements
from server.analysis.count_elements import Elements, elements

COLUMNS = (
    Column("taxon"),
    Column("element"),
    Column("left", "count"),
    Column("right", "count"),
    Column("pairs", "count"),
    Column("lincoln_petersen", "number"),
    Column("chapman", "number"),
    Column("deviation", "number"),
    Column("likely_number", "count"),
    Column("interval_animals", "interval", 0),
)
SOURCES = (
    "Adams & Konigsberg 2004, American Journal of Physical Anthropology 125: 138 (abstract seen, rounding memory)",
    "Chapman 1951 (memory)",
    "Seber 1970 (memory)",
)


def make(asked: Asked) -> Iterator[Result]:
    """Estimates for each unit."""
    for here, found in elements(asked):
        yield _of(asked, here, found)
    if not asked.units:
        yield Result("individuals", asked.selection, None, COLUMNS, (), asked.left_out(), (Note("no_sides"),))


def _of(asked: Asked, here: Here, found: Elements) -> Result:
    known, matched = asked.knowledge, likely.matched(here.specimens)
    rows, unmatched, too_many = [], 0, 0
    for (taxon, element), one in found.items():
        # Of a bone that a side has several of, a left and a right need not be a pair.
        if not (known.taxa[taxon].named and known.count(taxon, element) == 2 and one.left and one.right):
            continue
        pairs = [
            pair for (named, of), own in matched.items() for pair in own if of == element and known.is_a(named, taxon)
        ]
        impossible = len(pairs) > min(one.left, one.right)
        too_many += impossible
        unmatched += not pairs
        figures = (None,) * 5 if impossible or not pairs else _figures(one.left, one.right, len(pairs))
        cells = Word("taxon", taxon), Word("element", element), one.left, one.right, len(pairs) or None, *figures
        rows.append(Row(cells, tuple(dict.fromkeys((*one.records, *(id_ for pair in pairs for id_ in pair))))))
    notes = [*here.notes, Note("matching_assumed" if rows else "no_sides")]
    notes += [Note("pairs_not_recorded", {"rows": unmatched})] if unmatched else []
    notes += [Note("pairs_too_many", {"rows": too_many})] if too_many else []
    left = (*here.left_out, *not_elements(here, asked))
    return Result("individuals", asked.selection, here.unit, COLUMNS, tuple(rows), left, tuple(notes), SOURCES)


def _figures(left: int, right: int, pairs: int) -> tuple[Cell, ...]:
    ends = likely.interval(left, right, pairs)
    return (
        likely.lincoln_petersen(left, right, pairs),
        likely.chapman(left, right, pairs),
        likely.deviation(left, right, pairs),
        likely.mlni(left, right, pairs),
        Span(*ends) if ends else None,
    )


TABLE = Table("individuals", make, (BY_PROTOCOL,))
