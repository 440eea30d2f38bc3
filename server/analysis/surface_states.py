"""States of the surface and of breaks: burning, weathering, roots, preservation, digestion, breaks, and lengths.

For: shares of each state among the pieces of which it was recorded. Not for: marks (surface_marks), or how fresh and
whole bones were (surface_breaks).
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator, Sequence

from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.rates import Rate
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Word
from fieldapp.domain.assemblage.specimens import DOCKET, Specimen
from fieldapp.domain.samples import amount
from server.analysis.asking import Asked
from server.analysis.cells import cite
from server.analysis.sizes_asked import picked
from server.analysis.surface_asked import BY, FEW, INTERVAL, Look, interval, looks, of_cells, of_columns, of_word

_SHARE = (Column("pieces", "count"), Column("share", "percent"), Column("share_interval", "interval"))


def _word_at(path: str) -> Callable[[Specimen], str | None]:
    def value(one: Specimen) -> str | None:
        found = one.surface.get(path)
        return found if isinstance(found, str) and found else None

    return value


def weathering_of(one: Specimen) -> str | None:
    """The stage as a word; None where none was recorded."""
    stage = one.surface.get("weathering")
    return f"stage_{stage}" if type(stage) is int else None


def profile(
    look: Look, key: str, path: str, of: str, those: Sequence[Specimen],
    value: Callable[[Specimen], str | None] | None = None, notes: Sequence[Note] = (), sources: Sequence[str] = (),
    tallies: bool = True, teeth: bool = True,
) -> Result:  # fmt: skip
    """Shares of the words of one list among the pieces that say one. `path`: of the field; `of`: the list."""
    asked, by = look.asked, picked(look.asked, BY)
    value = value or _word_at(path)
    order = list(asked.knowledge.words.get(of, ()))
    rows: list[Row] = []
    told: list[tuple[Cell, dict[str, float]]] = []
    whole: list[int] = []
    few = False
    for cells, own in look.groups(those, by):
        words, n = rates.shares(own, value)
        few |= 0 < n < FEW
        for word in sorted(words, key=lambda one: (order.index(one) if one in order else len(order), one)):
            rate = Rate(rates.number(words[word]), n)
            ids = tuple(one.id for one in words[word])
            rows.append(Row((*of_cells(cells), Word(of, word), rate.n, rate.percent, interval(rate)), ids))
        if n:
            whole.append(n)
            told.append((of_word(cells), {word: 100 * rates.number(own) / n for word, own in words.items()}))
    unsaid = [one for one in those if value(one) is None]
    found = [] if rows else [Note("state_none")]
    found += [Note("surface_few", {"least": FEW})] if few else []
    found += [*notes, *(look.protocol(path) if rows else [])]
    columns = (*of_columns(by), Column(of), *_SHARE)
    left = look.left(tallies=tallies, teeth=teeth, surface_unrecorded=unsaid)
    charts = _stacked(told, whole, order, of)
    return Result(
        key, asked.selection, look.unit, columns, tuple(rows), left, tuple(found), (INTERVAL, *sources), charts
    )


def _stacked(
    told: Sequence[tuple[Cell, dict[str, float]]], whole: Sequence[int], order: Sequence[str], of: str
) -> tuple[Chart, ...]:
    words = [word for word in order if any(word in own for _, own in told)]
    words += sorted({word for _, own in told for word in own} - {*words})
    along = tuple(cell for cell, _ in told)
    series = tuple(
        Series(Word(of, word), along, tuple(own.get(word, 0.0) for _, own in told), n=tuple(whole)) for word in words
    )
    alone = len({repr(cell) for cell in along}) == len(along)
    return (Chart("stacked", "", "share", series),) if series and alone else ()


def _sources(asked: Asked, *lists: str) -> tuple[str, ...]:
    return tuple(
        dict.fromkeys(
            cite(one.source, one.seen)
            for one in asked.knowledge.glossary
            if one.of in lists and one.source not in ("project decision", "common practice, no source")
        )
    )


def burning(asked: Asked) -> Iterator[Result]:
    """Degrees of burning, tallies and teeth among them, then colours."""
    for look in looks(asked):
        sources = _sources(asked, "burning", "burn_colour")
        those = look.pieces.found
        yield profile(look, "burning", "burning", "burning", those, sources=sources, tallies=False, teeth=False)
        burnt = [one for one in those if one.surface.get("burning") not in (None, "unburnt")]
        yield profile(
            look, "burn_colours", "burn_colour", "burn_colour", burnt, sources=sources, tallies=False, teeth=False
        )


def weathering(asked: Asked) -> Iterator[Result]:
    """Weathering, roots, stain and preservation."""
    for look in looks(asked):
        those = look.hard
        sources = _sources(asked, "weathering")
        trench = [one for one in those if one.stage == "trench" and weathering_of(one) is not None]
        notes = [Note("weathering_unwashed", {"pieces": rates.number(trench)})] if trench else []
        yield profile(look, "weathering", "weathering", "weathering", those, weathering_of, notes, sources)
        for path in ("roots", "staining", "preservation"):
            yield profile(look, path, path, path, those, sources=_sources(asked, path))


def digestion(look: Look) -> Result:
    """Degrees of digestion, of loose teeth too."""
    those = [one for one in look.pieces.found if one.kind == DOCKET]
    sources = _sources(look.asked, "digestion")
    return profile(look, "digestion", "digestion", "digestion", those, sources=sources, teeth=False)


def breaks(look: Look) -> Result:
    """Old breaks and new ones."""
    return profile(look, "breaks", "breaks", "break", look.hard)


def lengths(look: Look) -> Result:
    """Fragments by length, in classes."""
    asked, by = look.asked, picked(look.asked, BY)
    rows: list[Row] = []
    series = []
    for cells, own in look.groups(look.hard, by):
        sized = [(one, mm) for one in own if (mm := amount(one.surface.get("longest_mm")))]
        n = rates.number(one for one, _ in sized)
        classes: dict[tuple[int, int | None], list[Specimen]] = {}
        for one, mm in sized:
            classes.setdefault(rates.size_of(mm), []).append(one)
        shares = []
        for size in sorted(classes, key=lambda one: one[0]):
            rate = Rate(rates.number(classes[size]), n)
            ids = tuple(one.id for one in classes[size])
            rows.append(Row((*of_cells(cells), class_text(size), rate.n, rate.percent, interval(rate)), ids))
            shares.append((class_text(size), rate.percent))
        if shares:
            name = None if by == "all" else of_word(cells)
            texts, heights = zip(*shares, strict=True)
            series.append(Series(name, texts, heights, n=(n,)))
    unsaid = [one for one in look.hard if not amount(one.surface.get("longest_mm"))]
    known = [
        mm for one in look.hard if (mm := amount(one.surface.get("longest_mm"))) for _ in range(min(one.count, 1000))
    ]
    notes = [Note("lengths_median", {"n": len(known), "median": f"{statistics.median(known):.1f}"})] if known else []
    new = [one for one in look.hard if one.surface.get("breaks") in ("fresh", "both")]
    notes += [Note("lengths_new_breaks", {"pieces": rates.number(new)})] if new and known else []
    notes += [] if rows else [Note("state_none")]
    columns = (*of_columns(by), Column("length_class"), *_SHARE)
    drawn = series and by != "taxon_element"  # a bone of each animal has no name of its own in a legend
    charts = (Chart("bars", "length", "share", tuple(series)),) if drawn else ()
    left = look.left(surface_unrecorded=unsaid)
    return Result("lengths", asked.selection, look.unit, columns, tuple(rows), left, tuple(notes), (INTERVAL,), charts)


def class_text(size: tuple[int, int | None]) -> str:
    """A class of lengths in millimetres."""
    low, below = size
    return f"{low} – <{below}" if below is not None else f"≥ {low}"  # noqa: RUF001
