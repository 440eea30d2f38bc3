"""The tables of pieces, NSP, NISP and weight by animal, and of what a sieved fraction stands for.

For: how much there is. Not for: the definitions (fieldapp.domain.counting, .assemblage.quantities), minimum numbers or
shares. An estimate of a whole sample stands beside what was counted, named so, and is never added to anything.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.assemblage.quantities import Quantity, Range, Together, by_taxon
from fieldapp.domain.assemblage.results import Cell, Column, Note, Result, Row, Span, Word
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from server.analysis.asking import Asked, Table
from server.analysis.count_common import BY_PROTOCOL, Here, units
from server.ledger.lines import sort_key

COLUMNS = (
    Column("taxon"),
    Column("count_pieces", "span"),
    Column("count_nsp", "span"),
    Column("count_nisp", "span"),
    Column("count_weight", "interval"),
)
FRACTIONS = (
    Column("count_sample"),
    Column("count_fraction", "count"),
    Column("count_sorted", "percent"),
    Column("taxon"),
    Column("count_nisp", "span"),
    Column("count_multiplier", "number", 2),
    Column("count_estimate", "interval"),
)


def make(asked: Asked) -> Iterator[Result]:
    """How much there is in each unit, and of sieved bone once more by fraction."""
    empty = True
    for here in units(asked):
        empty = False
        yield _pieces(asked, here)
        if any(one.sample for one in here.specimens):
            yield _fractions(asked, here)
    if empty:
        yield Result("pieces", asked.selection, None, COLUMNS, (), asked.left_out(), (Note("count_nothing"),))


def together(asked: Asked) -> Together:
    """What counts as one specimen, as it is asked for."""
    return Together(asked.selection.groups == "one", asked.selection.refits == "one")


def _pieces(asked: Asked, here: Here) -> Result:
    taxa, whole = by_taxon(here.specimens, asked.knowledge, together(asked))
    rows = [_row(Word("taxon", taxon), one) for taxon, one in taxa.items()]
    if rows:
        rows.append(_row(Word("analysis.row", "count_total"), whole, total=True))
    notes = [*here.notes]
    if tallied := sum(one.count for one in here.specimens if one.kind == TALLY):
        notes.append(Note("count_tallied_too", {"pieces": tallied}))
    if unsure := len({one.id for one in here.specimens if not one.sure}):
        notes.append(Note("count_disputed", {"dockets": unsure}))
    weightless = {one.id: one.count for one in here.specimens if one.weight_g is None}
    if rows and weightless:
        notes.append(Note("count_unweighed", {"pieces": sum(weightless.values()), "of": sum(_counts(here).values())}))
    if not rows:
        notes.append(Note("count_nothing"))
    return Result("pieces", asked.selection, here.unit, COLUMNS, tuple(rows), here.left_out, tuple(notes))


def _counts(here: Here) -> dict[str, int]:
    return {one.id: one.count for one in here.specimens}


def _row(name: Cell, one: Quantity, *, total: bool = False) -> Row:
    figures = (one.pieces, one.nsp, one.nisp, one.weight)
    return Row((name, *(_span(each) for each in figures)), one.records, total)


def _span(one: Range | None) -> Span | None:
    if one is None or one.high is None:
        return None
    return Span(one.low if one.low is not None else 0.0, one.high)


def _fractions(asked: Asked, here: Here) -> Result:
    parts: dict[tuple[str, str], list[Specimen]] = {}
    for one in here.specimens:
        if one.sample:
            parts.setdefault((one.sample, one.fraction), []).append(one)
    rows, unknown, number = [], 0, dict[str, int]()
    labels = asked.gathered.labels
    for (sample, _), some in sorted(parts.items(), key=lambda each: (sort_key(labels.get(each[0][0], "")), each[0])):
        number[sample] = number.get(sample, 0) + 1
        # Of one fraction there is one share; where none is recorded nothing is said about the whole.
        share = some[0].share
        unknown += share is None
        taxa, _ = by_taxon(some, asked.knowledge, together(asked))
        for taxon, found in taxa.items():
            nisp = _span(found.nisp)
            of_whole = None if nisp is None or not share else Span(nisp.low / share, nisp.high / share)
            where = labels.get(sample, ""), number[sample], share * 100 if share else None
            figures = nisp, 1 / share if share else None, of_whole
            rows.append(Row((*where, Word("taxon", taxon), *figures), found.records))
    notes = [Note("count_estimates")]
    if unknown:
        notes.append(Note("count_share_unknown", {"fractions": unknown}))
    return Result("fractions", asked.selection, here.unit, FRACTIONS, tuple(rows), (), tuple(notes))


TABLE = Table("pieces", make, (BY_PROTOCOL,))
