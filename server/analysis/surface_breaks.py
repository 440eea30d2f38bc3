"""How bones were broken: freshness of the break, how whole they are, and in how many pieces.

For: the tables freshness and completeness. Not for: definitions (domain.assemblage.rates, .numbers).
"""

from __future__ import annotations

import statistics
from collections.abc import Collection, Iterator, Mapping, Sequence

from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.bones import POOLS, pile
from fieldapp.domain.assemblage.numbers import pools
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Span, Word
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked
from server.analysis.frames import frame
from server.analysis.numbers import PLACE, Numbers
from server.analysis.sizes_asked import ROW
from server.analysis.surface_asked import FEW, Look, looks
from server.analysis.surface_states import breaks, lengths

_SCORES = range(7)
_OUTRAM = "Outram 2001, fracture freshness index, Journal of Archaeological Science 28 (memory)"
_MARROW = "Outram 2001: scored on marrow-bearing shafts; which bones those are: table marrow (memory)"
_FRESH = (
    Column("taxon"), Column("element"), Column("scored", "count"), Column("mean_freshness", "number", 2),
    *(Column(f"freshness_{score}", "count") for score in _SCORES),
)  # fmt: skip
_WHOLE = (
    Column("taxon"), Column("element"), Column("examined", "count"), Column("whole_bones", "count"),
    Column("mean_completeness", "percent"), Column("mean_portions", "percent"), Column("nisp", "count"),
    Column("mne", "span"), Column("nisp_mne", "interval", 2),
)  # fmt: skip


def freshness(asked: Asked) -> Iterator[Result]:
    """Fracture freshness by animal and bone, then old and new breaks."""
    for look in looks(asked):
        every = [one for one in look.hard if rates.freshness(one) is not None]
        unmeant = [one for one in every if not rates.has_marrow(one, asked.knowledge)]
        meant = [one for one in every if rates.has_marrow(one, asked.knowledge)]
        new = [one for one in meant if one.surface.get("breaks") == "fresh"]
        scored = [one for one in meant if one.surface.get("breaks") != "fresh"]
        rows = [_fresh(*cells, scored=own) for cells, own in look.groups(scored, "taxon_element")]
        if len(rows) > 1:
            rows.append(_fresh(Word(ROW, "all"), None, scored, total=True))
        n = rates.number(scored)
        notes = [Note("surface_few", {"least": FEW})] if 0 < n < FEW else [] if n else [Note("state_none")]
        notes += look.alike(scored)
        broken = [one for one in look.hard if rates.freshness(one) is None and "fracture" in one.surface]
        left = look.left(freshness_in_part=broken, freshness_no_marrow=unmeant, freshness_new=new)
        yield Result(
            "freshness", asked.selection, look.unit, _FRESH, tuple(rows), left, tuple(notes), (_OUTRAM, _MARROW),
            _bars(scored),
        )  # fmt: skip
        yield breaks(look)


def _counted(those: Sequence[Specimen]) -> list[int]:
    return [score for one in those if (score := rates.freshness(one)) is not None for _ in range(min(one.count, 1000))]


def _fresh(taxon: Cell, element: Cell, scored: Sequence[Specimen], total: bool = False) -> Row:
    scores = _counted(scored)
    cells: tuple[Cell, ...] = (
        taxon, element, len(scores), statistics.fmean(scores),
        *(scores.count(score) for score in _SCORES),
    )  # fmt: skip
    return Row(cells, tuple(one.id for one in scored), total)


def _bars(those: Sequence[Specimen]) -> tuple[Chart, ...]:
    scores = _counted(those)
    if not scores:
        return ()
    heights = tuple(100 * scores.count(score) / len(scores) for score in _SCORES)
    return (Chart("bars", "freshness", "share", (Series(None, tuple(map(str, _SCORES)), heights, n=(len(scores),)),)),)


def completeness(asked: Asked) -> Iterator[Result]:
    """How whole the pieces of each bone are and how many it takes to make one, then lengths of fragments."""
    here = list(looks(asked))
    refits = asked.selection.refits == "one"
    piles = [pile(look.specimens, asked.knowledge, refits=refits) for look in here]
    counted = frame(piles, asked.knowledge)
    places: dict[int, list[Mapping[str, int]]] = {}
    for row in Numbers(counted).mne.sort(PLACE).iter_rows(named=True):
        places.setdefault(row["unit"], []).append(row)
    for at, look in enumerate(here):
        own: dict[tuple[str, str], list[Specimen]] = {}
        for one in look.hard:
            own.setdefault((one.taxon or "", one.element or ""), []).append(one)
        ids: dict[tuple[str, str], set[str]] = {}
        for piece in piles[at].every:
            ids.setdefault((piece.taxon, piece.element), set()).add(piece.id)
        rows, pooled = [], False
        for place in places.get(at, ()):
            key = counted.taxa[place["taxon"]], counted.elements[place["element"]]
            includes = _includes(key, ids, asked.knowledge)
            pooled |= any(one != key for one in includes)
            records = tuple(sorted(set[str]().union(*(ids[one] for one in includes))))
            rows.append(_whole(look, key, own.get(key, ()), place, records))
        notes = [] if rows else [Note("completeness_none")]
        notes += [Note("completeness_pooled")] if pooled else []
        sources = ("nominal shares of portions: project decision",)
        left = look.left()
        yield Result("completeness", asked.selection, look.unit, _WHOLE, tuple(rows), left, tuple(notes), sources)
        yield lengths(look)


def _includes(key: tuple[str, str], there: Collection[tuple[str, str]], known: Knowledge) -> list[tuple[str, str]]:
    """(taxon, element) of all that is pooled in a place, itself among them."""
    taxon, element = key
    elements = (element, *POOLS.get(element, ()))
    return [
        (one, bone) for one, bone in there
        if bone in elements and (one == taxon or (pools(taxon, known) and known.is_a(one, taxon)))
    ]  # fmt: skip


def _whole(
    look: Look, key: tuple[str, str], own: Sequence[Specimen], place: Mapping[str, int], records: tuple[str, ...]
) -> Row:
    known = look.asked.knowledge
    told = [(one, whole) for one in own if (whole := rates.wholeness(one, known)) is not None]
    n, pieces, low, high = rates.number(one for one, _ in told), place["pieces"], place["low"], place["high"]
    cells = (
        Word("taxon", key[0]), Word("element", key[1]), n,
        rates.number(one for one, whole in told if whole.whole),
        100 * sum(one.count * whole.share for one, whole in told) / n if n else None,
        100 * sum(one.count * whole.most / whole.portions for one, whole in told) / n if n else None,
        pieces, Span(low, high), Span(pieces / high, pieces / low) if low and pieces else None,
    )  # fmt: skip
    return Row(cells, records)
