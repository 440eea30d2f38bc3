"""What recovery missed: the same bones by hand and by sieve beside each other.

For: shares by animal, size and kind of bone, where both ways were used. Not for: multiplying up what a sorted share
stands for (samples): what is compared are pieces as they were found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from fieldapp.domain import counting
from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.rates import Rate
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Word
from fieldapp.domain.assemblage.selection import HAND, SIEVE, Unit
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.entries import Taxon
from server.analysis.asking import Asked, Option, left_out
from server.analysis.cells import UNIT_COLUMNS
from server.analysis.sizes_asked import ROW, picked
from server.analysis.surface_asked import FEW, INTERVAL, interval

WHAT = Option("compare", lambda asked: ("size", "taxon", "bone_kind", "element"), ROW)
"""By size of animal, by animal, by kind of bone (long, short, teeth ...) or by bone."""
WHERE = Option("contexts", lambda asked: ("both", "all"), ROW)
"""Only contexts from which there is bone of both ways, or all."""

_COLUMNS = (
    Column("compared"), Column("hand", "count"), Column("hand_share", "percent"), Column("hand_interval", "interval"),
    Column("sieve", "count"), Column("sieve_share", "percent"), Column("sieve_interval", "interval"),
    Column("sieve_of_all", "percent"),
)  # fmt: skip


def _named(one: Specimen, asked: Asked, what: str) -> Word | None:
    """What a piece is compared as; None where it has no such name."""
    known = asked.knowledge
    taxon, element = known.taxa.get(one.taxon or ""), known.elements.get(one.element or "")
    if what == "size":
        return _size(taxon, asked)
    if what == "taxon":
        return Word("taxon", taxon.key) if taxon is not None and taxon.kind in counting.NAMED else None
    if element is None or element.kind == "indeterminate":
        return None
    return Word("element", element.key) if what == "element" else Word(ROW, f"bone_{element.kind}")


def _size(taxon: Taxon | None, asked: Asked) -> Word | None:
    """The size class of an animal; of one without, such as a fish, the widest group that it stands in."""
    line = (taxon.key, *taxon.broader) if taxon is not None else ()
    size = asked.knowledge.size_class(line[0]) if line else None
    wide = [one for one in line if one not in ("unknown", "mammal_or_human")]
    return Word("taxon", size or wide[-1]) if wide else None


def _order(asked: Asked, what: str) -> Callable[[Word], tuple[int, str]]:
    known = list(asked.knowledge.elements if what == "element" else asked.knowledge.taxa)
    return lambda word: (known.index(word.key) if word.key in known else len(known), word.key)


def recovery(asked: Asked) -> Iterator[Result]:
    """Hand against sieve, place by place."""
    what, where = picked(asked, WHAT), picked(asked, WHERE)
    found = rates.pieces(asked.animals, asked.selection.refits == "one")
    ways: dict[str, set[str]] = {}
    for one in found.found:
        ways.setdefault(one.context, set()).add(one.recovery or "")
    alike = {context for context, own in ways.items() if {HAND, SIEVE} <= own}
    here = [one for one in found.found if where == "all" or one.context in alike]
    by_way = {way: [one for one in here if one.recovery == way] for way in (HAND, SIEVE)}
    by = asked.selection.by
    places = [""]
    if by != "site":
        there = {getattr(one, by) for own in by_way.values() for one in own}
        places = [one for one in dict.fromkeys(unit.place for unit in asked.units) if one in there]
    rows: list[Row] = []
    totals: list[dict[str, int]] = []
    for place in places:
        parts = {
            way: _parts(asked, what, [one for one in own if by == "site" or getattr(one, by) == place])
            for way, own in by_way.items()
        }
        totals.append({way: sum(rates.number(own) for own in found_.values()) for way, found_ in parts.items()})
        where_cells = () if by == "site" else (Unit(by, place),)
        rows += _rows(parts, totals[-1], _order(asked, what), where_cells)
    out = [left_out("surface_disputed", found.disputed)]
    apart = [one for one in found.found if where != "all" and one.context not in alike]
    out.append(left_out("recovery_one_way", apart))
    unnamed = [one for own in by_way.values() for one in own if _named(one, asked, what) is None]
    out.append(left_out("recovery_unnamed", unnamed))
    out.append(left_out("recovery_unrecorded", [one for one in here if one.recovery not in (HAND, SIEVE)]))
    yield Result(
        "recovery", asked.selection, None, _COLUMNS if by == "site" else (UNIT_COLUMNS[0], *_COLUMNS), tuple(rows),
        (*asked.left_out(), *(one for one in out if one is not None)),
        tuple(_notes(by_way, totals, len(alike), where)), (INTERVAL,), _bars(rows) if by == "site" else (),
    )  # fmt: skip


def _rows(
    parts: Mapping[str, Mapping[Word, list[Specimen]]], totals: Mapping[str, int],
    order: Callable[[Word], tuple[int, str]], where: tuple[Cell, ...],
) -> Iterator[Row]:  # fmt: skip
    for word in sorted({*parts[HAND], *parts[SIEVE]}, key=order):
        hand, sieve = (Rate(rates.number(parts[way].get(word, ())), totals[way]) for way in (HAND, SIEVE))
        cells: tuple[Cell, ...] = (
            *where, word, hand.n, hand.percent, interval(hand), sieve.n, sieve.percent, interval(sieve),
            Rate(sieve.n, hand.n + sieve.n).percent,
        )  # fmt: skip
        yield Row(cells, tuple(one.id for way in parts for one in parts[way].get(word, ())))


def _parts(asked: Asked, what: str, those: Sequence[Specimen]) -> dict[Word, list[Specimen]]:
    parted: dict[Word, list[Specimen]] = {}
    for one in those:
        word = _named(one, asked, what)
        if word is not None:
            parted.setdefault(word, []).append(one)
    return parted


def _notes(
    by_way: dict[str, list[Specimen]], totals: Sequence[dict[str, int]], contexts: int, where: str
) -> Iterator[Note]:
    if not any(all(one.values()) for one in totals):
        yield Note("recovery_none" if where == "both" else "recovery_one")
        return
    if where == "both":
        yield Note("recovery_contexts", {"n": contexts})
    if any(min(one.values()) < FEW for one in totals):
        alone = len(totals) == 1
        fields = {"hand": totals[0][HAND], "sieve": totals[0][SIEVE]} if alone else {"least": FEW}
        yield Note("recovery_few" if alone else "surface_few", fields)
    meshes = sorted({one.mesh_mm for one in by_way[SIEVE] if one.mesh_mm is not None})
    if len(meshes) > 1:
        yield Note("recovery_meshes", {"meshes": ", ".join(f"{mesh:g}" for mesh in meshes)})
    shared = [one for one in by_way[SIEVE] if one.share is not None and one.share < 1]
    if shared:
        yield Note("recovery_shares", {"pieces": rates.number(shared)})


def _bars(rows: Sequence[Row]) -> tuple[Chart, ...]:
    if not rows:
        return ()
    names = tuple(row.cells[0] for row in rows)
    series = []
    for way, at in ((HAND, 2), (SIEVE, 5)):
        spans = [row.cells[at + 1] for row in rows]
        low, high = (tuple(getattr(span, end, None) for span in spans) for end in ("low", "high"))
        heights = tuple(value if isinstance(value := row.cells[at], float) else None for row in rows)
        n = (sum(cell for row in rows if isinstance(cell := row.cells[at - 1], int)),)
        series.append(Series(Word("recovery", way), names, heights, low, high, n=n))
    return (Chart("bars", "", "share", tuple(series)),)
