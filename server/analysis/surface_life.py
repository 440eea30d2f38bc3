"""What life and sickness left on bone: how many pieces have such a change, and where.

For: the table pathology. Not for: a diagnosis: the words say what is to be seen, and one sickness can leave several
signs, or none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.rates import Rate
from fieldapp.domain.assemblage.results import Cell, Column, Note, Result, Row, Word
from fieldapp.domain.assemblage.specimens import DOCKET, Change, Specimen
from server.analysis.asking import Asked
from server.analysis.sizes_asked import ROW, picked
from server.analysis.surface_asked import BY, FEW, INTERVAL, RATE, Look, looks, of_cells, of_columns, rate_cells

_WHERE = (Column("pathology"), Column("element"), Column("portion"), Column("taxon"), Column("pieces", "count"))


def pathology(asked: Asked) -> Iterator[Result]:
    """Rates by kind of change, then which bones and portions have them."""
    for look in looks(asked):
        those = [one for one in look.pieces.found if one.kind == DOCKET]
        changed = [one for one in those if one.changes]
        yield _rates(look, those, changed)
        yield _where(look, changed)


def _rates(look: Look, those: Sequence[Specimen], changed: Sequence[Specimen]) -> Result:
    by, order = picked(look.asked, BY), list(look.asked.knowledge.words.get("pathology", ()))
    rows = []
    few = False
    for cells, own in look.groups(those, by):
        n = rates.number(own)
        kinds = {change.kind for one in own for change in one.changes}
        for kind in sorted(kinds, key=lambda one: (order.index(one) if one in order else len(order), one)):
            having = [one for one in own if any(change.kind == kind for change in one.changes)]
            rows.append(_row(of_cells(cells), Word("pathology", kind), having, n))
        if kinds:
            having = [one for one in own if one.changes]
            rows.append(_row(of_cells(cells), Word(ROW, "any_kind"), having, n, total=True))
            few |= n < FEW
    notes = [*look.alike(changed), *look.protocol("pathology")]
    notes += [] if rows else [Note("pathology_none", {"n": rates.number(those)})]
    notes += [Note("surface_few", {"least": FEW})] if few else []
    columns = (*of_columns(by), Column("pathology"), *RATE)
    left = look.left(teeth=False)
    return Result("pathology", look.asked.selection, look.unit, columns, tuple(rows), left, tuple(notes), (INTERVAL,))


def _row(of: tuple[Cell, ...], kind: Word, having: Sequence[Specimen], n: int, total: bool = False) -> Row:
    cells = (*of, kind, *rate_cells(Rate(rates.number(having), n)))
    return Row(cells, tuple(one.id for one in having), total)


def _where(look: Look, changed: Sequence[Specimen]) -> Result:
    found: dict[tuple[Change, str, str], list[Specimen]] = {}
    for one in changed:
        for change in set(one.changes):
            found.setdefault((change, one.element or "", one.taxon or ""), []).append(one)
    order = list(look.asked.knowledge.words.get("pathology", ()))

    def place(key: tuple[Change, str, str]) -> tuple[int, str, str, str, str]:
        change, element, taxon = key
        at = order.index(change.kind) if change.kind in order else len(order)
        return at, change.kind, element, change.portion or "", taxon

    rows = tuple(
        Row(
            (
                Word("pathology", change.kind), Word("element", element),
                Word(f"portion.{element}", change.portion) if change.portion else None, Word("taxon", taxon),
                rates.number(found[change, element, taxon]),
            ),
            tuple(one.id for one in found[change, element, taxon]),
        )
        for change, element, taxon in sorted(found, key=place)
    )  # fmt: skip
    notes = () if rows else (Note("state_none"),)
    left = look.left(teeth=False)
    return Result("pathology_where", look.asked.selection, look.unit, _WHERE, rows, left, notes)
