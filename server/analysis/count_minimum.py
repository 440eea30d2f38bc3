"""The tables of minimum numbers: MNE by animal and element, MNI by animal.

For: the figures with what decides each, what is pooled in it, and what it would be context by context. Not for: the
definitions (fieldapp.domain.assemblage.numbers, .individuals) or the working out (numbers, individuals).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from fieldapp.domain.assemblage import compared
from fieldapp.domain.assemblage import numbers as plain
from fieldapp.domain.assemblage.bones import Piece, Pieces, Pile, is_tooth, root
from fieldapp.domain.assemblage.individuals import Decides, per_skeleton
from fieldapp.domain.assemblage.results import (
    Cell,
    Chart,
    Column,
    LeftOut,
    Note,
    Result,
    Row,
    Series,
    Several,
    Span,
    Word,
)
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked, Table, left_out
from server.analysis.cells import cited
from server.analysis.count_common import BY_PROTOCOL, Countable, Here, countable, not_elements, units
from server.analysis.frames import SIDES, Frame, frame
from server.analysis.individuals import Animals
from server.analysis.numbers import CENTRE_RANK, NONE_RANK, PLACE, RANKS, Numbers

MNE_COLUMNS = (
    Column("taxon"),
    Column("element"),
    Column("count_pieces", "count"),
    Column("count_left", "count"),
    Column("count_left_by"),
    Column("count_right", "count"),
    Column("count_right_by"),
    Column("count_all", "count"),
    Column("count_all_by"),
    Column("mne", "span"),
    Column("count_ends", "count"),
    Column("count_pooled"),
)
MNI_COLUMNS = (
    Column("taxon"),
    Column("count_mni", "span"),
    Column("count_decided_by"),
    Column("count_side"),
    Column("count_aged", "span"),
    Column("count_paired", "span"),
    Column("count_by_context", "count"),
    Column("count_contexts", "count"),
    Column("count_pooled"),
)
PAIRED, SUMMED = ([one.key for one in MNI_COLUMNS].index(key) for key in ("count_paired", "count_by_context"))
FEW = 5
"""An MNI below this is told of in a note (project decision): one animal more or less is a large part of it."""


@dataclass(frozen=True)
class Piles:
    """The units of a question as piles and as a frame."""

    here: list[Here]
    pieces: Pieces
    piles: list[Pile]
    frame: Frame

    @classmethod
    def of(cls, asked: Asked) -> Piles:
        """Those of a question."""
        here = [*units(asked)]
        pieces = Pieces(asked.knowledge, refits=asked.selection.refits == "one", countable=countable(asked))
        piles = [pieces.pile(one.specimens) for one in here]
        return cls(here, pieces, piles, frame(piles, asked.knowledge))


# MNE


def mne(asked: Asked) -> Iterator[Result]:
    """MNE of each unit."""
    found = Piles.of(asked)
    rows: list[list[Row]] = [[] for _ in found.here]
    there = [_places(one, asked.knowledge) for one in found.piles]
    for one in Numbers(found.frame).mne.sort(PLACE).iter_rows(named=True):
        taxon, element = found.frame.taxa[one["taxon"]], found.frame.elements[one["element"]]
        pieces = there[one["unit"]][taxon, element]
        rows[one["unit"]].append(
            Row(
                (
                    Word("taxon", taxon), Word("element", element), one["pieces"],
                    *_best(one["left"], element, found.frame), *_best(one["right"], element, found.frame),
                    *_best(one["all"], element, found.frame), Span(one["low"], one["high"]),
                    plain.by_ends(pieces.low, taxon, element, asked.knowledge),
                    Word("analysis.row", "count_takes_in") if pieces.pooled else None,
                ),
                pieces.records,
            )
        )  # fmt: skip
    for at, here in enumerate(found.here):
        yield _mne(asked, here, rows[at], found.piles[at])
    if not found.here:
        yield Result("mne", asked.selection, None, MNE_COLUMNS, (), asked.left_out(), (Note("count_nothing"),))


def _mne(asked: Asked, here: Here, rows: list[Row], of: Pile) -> Result:
    known = asked.knowledge
    teeth = {one.id for one in of.every if is_tooth(one.element, known)}
    left = [*here.left_out, *not_elements(here, asked), *_left("count_loose_teeth", here.specimens, teeth)]
    notes = [*here.notes]
    only = countable(asked)
    if only is not None:
        rows = _with_noughts(rows, only, known)
    if any(row.cells[-1] for row in rows):
        notes.append(Note("count_never_added"))
    if any(one.side == "midline" and plain.is_pair(one.element, known) for one in of.low):
        notes.append(Note("count_across"))
    if unsided := sum(one.count for one in of.low if one.side not in SIDES and known.elements[one.element].sided):
        notes.append(Note("count_unsided", {"pieces": unsided}))
    if unseen := sum(one.count for one in of.low if not one.examined):
        notes.append(Note("count_no_portions", {"pieces": unseen}))
    if not rows:
        notes.append(Note("count_nothing"))
    return Result("mne", asked.selection, here.unit, MNE_COLUMNS, tuple(rows), tuple(left), tuple(notes))


def _with_noughts(rows: Sequence[Row], only: Countable, known: Knowledge) -> list[Row]:
    """Rows with those of countable elements of the named animals here, of which there is none: for that a site agrees
    on what it counts."""
    countable_elements = {
        known.place(element, portion)[0] for element, portions in only.items() for portion in portions
    }
    there = {(row.cells[0], row.cells[1]): row for row in rows}
    found = []
    for taxon in dict.fromkeys(row.cells[0] for row in rows):
        for element in known.elements:
            place = taxon, Word("element", element)
            if place in there:
                found.append(there[place])
            elif isinstance(taxon, Word) and element in countable_elements and _may_have(taxon.key, element, known):
                found.append(Row((*place, 0, 0, None, 0, None, 0, None, Span(0, 0), None, None)))
    return found


def _may_have(taxon: str, element: str, known: Knowledge) -> bool:
    return plain.pools(taxon, known) and known.occurs(element, taxon) and not is_tooth(element, known)


@dataclass(frozen=True)
class _Place:
    low: Sequence[Piece]
    records: tuple[str, ...]
    pooled: bool


def _places(of: Pile, known: Knowledge) -> dict[tuple[str, str], _Place]:
    """What counts at each place, with what is pooled in it."""
    low, every = _by_place(of.low), _by_place(of.every)
    wider = _wider({taxon for taxon, _ in every}, known)
    within: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for own in every:
        for taxon in wider[own[0]]:
            for element in dict.fromkeys((own[1], root(own[1]))):
                within.setdefault((taxon, element), []).append(own)
    return {
        place: _Place(
            [one for own in some for one in low.get(own, ())],
            _ids(every[own] for own in some),
            some != [place],
        )
        for place, some in within.items()
    }


def _by_place(pieces: Iterable[Piece]) -> dict[tuple[str, str], list[Piece]]:
    """{(animal, element): its own}, without what is pooled in it."""
    found: dict[tuple[str, str], list[Piece]] = {}
    for one in pieces:
        found.setdefault((one.taxon, one.element), []).append(one)
    return found


def _wider(taxa: Collection[str], known: Knowledge) -> dict[str, list[str]]:
    """{animal: those of them in whose figures it counts, itself among them}."""
    return {
        taxon: [one for one in taxa if one == taxon or (plain.pools(one, known) and known.is_a(taxon, one))]
        for taxon in taxa
    }


def _ids(pieces: Iterable[Iterable[Piece]]) -> tuple[str, ...]:
    return tuple(sorted({one.id for some in pieces for one in some}))


def _best(code: int, element: str, of: Frame) -> tuple[Cell, Cell]:
    """One, and the portion or the centre that decides it."""
    n, rank = divmod(code, RANKS)
    if not n or rank == NONE_RANK:
        return n, None
    if rank > NONE_RANK:
        return n, Word(f"portion.{element}", of.portions[root(element)][RANKS - 1 - rank])
    return n, Word(f"centre.{element}", of.centres[root(element)][CENTRE_RANK - rank])


# MNI


def mni(asked: Asked) -> Iterator[Result]:
    """MNI of each unit."""
    found = Piles.of(asked)
    animals = Animals(Numbers(found.frame))
    aged = {(one["unit"], one["taxon"]): Span(one["low"], one["high"]) for one in animals.aged.iter_rows(named=True)}
    paired = _paired(asked, found)
    summed = _by_context(asked, found) if asked.selection.by != "context" else {}
    there = [_by_place(one.every) for one in found.piles]
    wider = [_wider({taxon for taxon, _ in one}, asked.knowledge) for one in there]
    rows: list[list[Row]] = [[] for _ in found.here]
    for one in animals.mni.sort("unit", "taxon").iter_rows(named=True):
        unit, taxon = one["unit"], found.frame.taxa[one["taxon"]]
        within = [own for own in there[unit] if taxon in wider[unit][own[0]]]
        n, contexts = summed.get((unit, one["taxon"]), (None, None))
        what, side = _decided(animals.decides(one["decides"]), asked.knowledge)
        pooled = any(own[0] != taxon for own in within)
        rows[unit].append(
            Row(
                (
                    Word("taxon", taxon), Span(one["low"], one["high"]), what, side, aged[unit, one["taxon"]],
                    paired.get((unit, taxon)), n, contexts, Word("analysis.row", "count_takes_in") if pooled else None,
                ),
                _ids(there[unit][own] for own in within),
            )
        )  # fmt: skip
    for at, here in enumerate(found.here):
        yield _mni(asked, here, rows[at], found.piles[at])
    if not found.here:
        yield Result("mni", asked.selection, None, MNI_COLUMNS, (), asked.left_out(), (Note("count_nothing"),))


def _paired(asked: Asked, found: Piles) -> dict[tuple[int, str], Span]:
    """{(unit, animal): MNI refined by pairs} where bones were laid side by side: few, so they need no columns."""
    comparisons = asked.gathered.compared
    at: dict[tuple[int, str], Span] = {}
    for unit, (here, pile) in enumerate(zip(found.here, found.piles, strict=True) if comparisons else ()):
        bodies = {one.id: one.group for one in here.specimens if one.group}
        figures = compared.mni_compared(pile, asked.knowledge, comparisons, bodies)
        at.update({(unit, taxon): Span(*ends) for taxon, ends in figures.items()})
    return at


def _decided(by: Decides, known: Knowledge) -> tuple[Cell, Cell]:
    """(what the largest figure is of, of which side): of a bone of two sides that may be both, divided."""
    if not by.n:
        return None, None
    if by.what in ("element", "tooth"):
        row = known.elements.get(by.key)
        both = by.what == "tooth" or (row is not None and row.sided)
        return Word(by.what, by.key), (
            Word("side", by.side) if by.side else Word("analysis.row", "count_both_sides") if both else None
        )
    return Word("analysis.row", "count_finer" if by.what else "count_there"), None


def _mni(asked: Asked, here: Here, rows: Sequence[Row], of: Pile) -> Result:
    known = asked.knowledge
    wide = {one.id for one in of.every if not plain.pools(one.taxon, known)}
    shed = {one.id for one in of.every if one.shed}
    left = [
        *here.left_out, *not_elements(here, asked), *_left("count_size_class", here.specimens, wide),
        *_left("count_shed", here.specimens, shed - wide),
    ]  # fmt: skip
    notes = [*here.notes] if rows else [*here.notes, Note("count_nothing")]
    if rows and not any(row.cells[PAIRED] for row in rows):
        notes.append(Note("count_no_pairs"))
    if any(row.cells[-1] for row in rows):
        notes.append(Note("count_never_added"))
    lows = [row.cells[1].low for row in rows if isinstance(row.cells[1], Span)]
    if small := sum(n < FEW for n in lows):
        notes.append(Note("count_few_animals", {"animals": small, "few": FEW}))
    return Result(
        "mni", asked.selection, here.unit, MNI_COLUMNS, tuple(rows), tuple(left), tuple(notes), _sources(of, known),
        _charts(rows),
    )  # fmt: skip


def _charts(rows: Sequence[Row]) -> tuple[Chart, ...]:
    """MNI over the whole unit beside the sum of its contexts: how far the figure hangs on what is put together."""
    known = [(row.cells[0], row.cells[1], row.cells[SUMMED]) for row in rows if isinstance(row.cells[1], Span)]
    # What takes in finer rows says so: nobody adds its bar to theirs.
    x = tuple(Several((row.cells[0], row.cells[-1])) if row.cells[-1] else row.cells[0]
              for row in rows if isinstance(row.cells[1], Span))  # fmt: skip
    spans = [one for _, one, _ in known if isinstance(one, Span)]
    whole = Series(
        Word("analysis.row", "count_over_whole"), x, tuple(one.low for one in spans), tuple(one.low for one in spans),
        tuple(one.high for one in spans),
    )  # fmt: skip
    sums = tuple(float(n) if isinstance(n, int) else None for _, _, n in known)
    summed = Series(Word("analysis.row", "count_by_contexts"), x, sums)
    if not rows:
        return ()
    return (Chart("bars", "count_animal", "count_mni", (whole, summed) if any(sums) else (whole,)),)


def _sources(of: Pile, known: Knowledge) -> tuple[str, ...]:
    """Whose numbers of a skeleton were used, and whose ages of fusion."""
    places = {(one.taxon, one.element) for one in of.every if per_skeleton(one.taxon, one.element, known)}
    skeletons = [
        (row.source, row.seen) for row in known.skeleton_counts if row.chosen and (row.taxon, row.element) in places
    ]
    centres = {(one.taxon, one.element, centre) for one in of.every for centre in one.fusion}
    ages = [
        (row.source, row.seen)
        for row in known.fusion_ages
        if row.chosen and (row.taxon, row.element, row.centre) in centres
    ]
    return cited([*skeletons, *ages])


def _left(why: str, specimens: Iterable[Specimen], ids: set[str]) -> list[LeftOut]:
    found = left_out(why, [one for one in specimens if one.id in ids])
    return [found] if found else []


def _by_context(asked: Asked, whole: Piles) -> dict[tuple[int, int], tuple[int, int]]:
    """{(unit, taxon): (MNI of each context by itself, summed; how many contexts)}. Animals are pooled in every context
    as they are over the whole unit."""
    piles, of_unit = [], []
    for unit, here in enumerate(whole.here):
        contexts: dict[str, list[Specimen]] = {}
        for one in here.specimens:
            contexts.setdefault(one.context, []).append(one)
        # The sum is of the low ends alone.
        low = [whole.pieces.pile(some).low for some in contexts.values()]
        piles += [Pile(some, some) for some in low]
        of_unit += [unit] * len(contexts)
    parts = frame(piles, asked.knowledge)
    schema = {"unit": pl.UInt32, "whole": pl.UInt32}
    units_of = pl.DataFrame([*enumerate(of_unit)], schema=schema, orient="row")
    found = Animals(Numbers(parts, Numbers(whole.frame).tree.parted(units_of))).mni
    summed = (
        found.filter(pl.col("low") > 0)
        .join(units_of, on="unit")
        .group_by("whole", "taxon")
        .agg(pl.col("low").sum(), contexts=pl.len())
    )
    return {(one["whole"], one["taxon"]): (one["low"], one["contexts"]) for one in summed.iter_rows(named=True)}


MNE = Table("mne", mne, (BY_PROTOCOL,))
MNI = Table("mni", mni, (BY_PROTOCOL,))
