"""Marks on bone: rates by kind, tools, gnawing, and where on the bone butchery lies.

For: the tables marks, gnawing and butchery, with plates. Not for: definitions (domain.assemblage.rates), states of the
surface (surface_states).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from fieldapp.domain.assemblage import rates
from fieldapp.domain.assemblage.rates import Seen
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Word
from fieldapp.domain.assemblage.specimens import Mark, Specimen
from server.analysis.asking import Asked, Option
from server.analysis.cells import cite
from server.analysis.sizes_asked import ROW, picked
from server.analysis.surface_asked import (
    BY,
    FEW,
    INTERVAL,
    RATE,
    UNRECORDED,
    Look,
    looks,
    of_cells,
    of_columns,
    of_word,
    rate_cells,
)

GROUPS = ("butchery", "working", "gnawing", "natural", "new", "unclear")
GROUP = Option("mark_group", lambda asked: ("any_group", *GROUPS), ROW)
_KIND = (Column("mark_group"), Column("mark_kind"))
_MORE = (Column("marks", "count"), Column("elsewhere", "count"))


def _kinds(asked: Asked, those: Collection[Specimen], groups: Collection[str]) -> list[str]:
    """The kinds of mark on some pieces, in the order of the table."""
    there = {mark.kind for one in those for mark in one.marks if rates.group_of(mark.kind, asked.knowledge) in groups}
    known = asked.knowledge.surface.kinds
    return [kind for kind in known if kind in there] + sorted(there - known.keys())


def _rows(look: Look, groups: Sequence[str], by: str, recorded_only: bool) -> Iterator[tuple[Row, Cell, str, Seen]]:
    """(row, what it is of, kind or "" for a whole group, what was seen)."""
    knowledge = look.asked.knowledge
    kinds = _kinds(look.asked, look.hard, groups)
    for cells, those in look.groups(look.hard, by):
        able = _able(those, recorded_only)
        for group in groups:
            own = [kind for kind in kinds if rates.group_of(kind, knowledge) == group]
            wanted: list[tuple[str, ...]] = [(kind,) for kind in own]
            if len(own) > 1:
                wanted.append(tuple(own))
            for some in wanted:
                fine = any(rates.is_fine(kind, knowledge) for kind in some)
                found = rates.seen(those, able[fine], frozenset(some))
                whole = len(some) > 1
                kind = Word(ROW, "any_kind") if whole else Word("mark_kind", some[0])
                told = (Word(ROW, group), kind, *rate_cells(found.rate), found.marks, found.elsewhere)
                row = Row((*of_cells(cells), *told), found.records, total=whole)
                yield row, of_word(cells), "" if whole else some[0], found


def _able(those: Sequence[Specimen], recorded_only: bool) -> dict[bool, list[Specimen]]:
    """{whether a mark is fine: the pieces that can show such a one}."""
    return {fine: [one for one in those if rates.can_show(one, fine, recorded_only)] for fine in (True, False)}


def _of_kinds(look: Look, key: str, groups: Sequence[str], by: str) -> Result:
    asked, recorded_only = look.asked, picked(look.asked, UNRECORDED) == "left_out"
    told = list(_rows(look, groups, by, recorded_only))
    marked = [
        one for one in look.hard if any(rates.group_of(mark.kind, asked.knowledge) in groups for mark in one.marks)
    ]
    notes = [*look.alike(marked), *look.protocol("mark"), *_unsaid(look, recorded_only)]
    if not told:
        notes.insert(0, Note("marks_none", {"n": rates.number(look.hard)}))
    if any(0 < found.rate.of < FEW for *_, found in told):
        notes.append(Note("surface_few", {"least": FEW}))
    known = asked.knowledge.surface.kinds
    rows = (known[kind] for kind in dict.fromkeys(kind for _, _, kind, _ in told) if kind in known)
    sources = (INTERVAL, *dict.fromkeys(cite(row.source, row.seen) for row in rows))
    columns = (*of_columns(by), *_KIND, *RATE, *_MORE)
    return Result(
        key, asked.selection, look.unit, columns, tuple(row for row, *_ in told), look.left(), tuple(notes), sources,
        _bars(told) if by != "taxon_element" else (),
    )  # fmt: skip


def _unsaid(look: Look, recorded_only: bool) -> list[Note]:
    unsaid = [one for one in look.hard if one.surface.get("preservation") is None]
    key = "surface_unsaid_out" if recorded_only else "surface_unsaid"
    return [Note(key, {"pieces": rates.number(unsaid), "of": rates.number(look.hard)})] if unsaid else []


def _bars(told: Sequence[tuple[Row, Cell, str, Seen]]) -> tuple[Chart, ...]:
    """The rate of each kind, with its interval: a colour each animal or bone."""
    series = []
    kinds = list(dict.fromkeys(kind for _, _, kind, _ in told if kind))
    for of in dict.fromkeys(of for _, of, *_ in told):
        own = {kind: found.rate for _, whose, kind, found in told if whose == of and kind}
        ranges = [(own[kind].interval if kind in own else None) or (None, None) for kind in kinds]
        heights = tuple(own[kind].percent if kind in own else None for kind in kinds)
        words = tuple(Word("mark_kind", kind) for kind in kinds)
        lows, highs = tuple(low for low, _ in ranges), tuple(high for _, high in ranges)
        n = tuple(own[kind].of if kind in own else 0 for kind in kinds)
        series.append(Series(None if of == Word(ROW, "all") else of, words, heights, lows, highs, n=n))
    return (Chart("bars", "", "rate", tuple(series)),) if kinds else ()


def marks(asked: Asked) -> Iterator[Result]:
    """Rates of all kinds of mark, then what made those of people."""
    by, group = picked(asked, BY), picked(asked, GROUP)
    for look in looks(asked):
        yield _of_kinds(look, "marks", GROUPS if group == "any_group" else (group,), by)
        yield _tools(look)


def _tools(look: Look) -> Result:
    """How many pieces and marks of each kind of people's marks each tool is said to have made."""
    known = look.asked.knowledge
    found: dict[tuple[str, str, str], dict[str, tuple[int, int]]] = {}
    for one in look.hard:
        for mark in one.marks:
            if rates.group_of(mark.kind, known) in ("butchery", "working"):
                key = (mark.kind, mark.tool or "", mark.direction or "")
                pieces, marks_ = found.setdefault(key, {}).get(one.id, (one.count, 0))
                found[key][one.id] = (pieces, marks_ + one.count * (mark.number or 1))
    lists = [*known.surface.kinds], known.words.get("tool", ()), known.words.get("mark_direction", ())

    def place(key: tuple[str, str, str]) -> tuple[Any, ...]:
        at = zip(key, lists, strict=True)
        return *(listed.index(word) if word in listed else len(listed) for word, listed in at), key

    rows = tuple(
        Row((Word("mark_kind", kind), Word("tool", tool), Word("mark_direction", direction),
             sum(pieces for pieces, _ in own.values()), sum(n for _, n in own.values())), tuple(own))
        for (kind, tool, direction), own in sorted(found.items(), key=lambda one: place(one[0]))
    )  # fmt: skip
    columns = (
        Column("mark_kind"),
        Column("tool"),
        Column("direction"),
        Column("pieces", "count"),
        Column("marks", "count"),
    )
    notes = () if rows else (Note("mark_tools_none"),)
    return Result("mark_tools", look.asked.selection, look.unit, columns, rows, look.left(), notes)


def gnawing(look: Look) -> Result:
    """Gnawing by whose teeth did it."""
    return _of_kinds(look, "gnawing", ("gnawing",), picked(look.asked, BY))


# -- Where on the bone --


def _butchered(asked: Asked) -> Sequence[str]:
    """The animals with butchery marks, the most first; all others after them."""
    counts: Counter[str] = Counter()
    for one in asked.animals:
        if one.taxon in asked.knowledge.taxa and not rates.is_tooth(one):
            there = any(rates.group_of(mark.kind, asked.knowledge) == "butchery" for mark in one.marks)
            counts[one.taxon or ""] += 1_000_000 * there + 1
    return sorted(counts, key=lambda taxon: (-counts[taxon], taxon))


ANIMAL = Option("taxon", _butchered, "taxon")
KIND = Option("mark_kind", lambda asked: ("any_butchery", *_butchery_kinds(asked)), "mark_kind")
MOST_PLATES = 6
"""Plates of so many bones, those with most marked pieces; a bone that is asked for by itself has its own."""
_PLACES = (
    Column("element"), Column("portion"), *RATE, Column("cut", "count"), Column("chop", "count"),
    Column("other_marks", "count"), Column("elsewhere", "count"),
)  # fmt: skip


def _butchery_kinds(asked: Asked) -> list[str]:
    return [kind for kind, row in asked.knowledge.surface.kinds.items() if row.group == "butchery"]


def butchery(asked: Asked) -> Iterator[Result]:
    """Of one animal: how often each portion of each bone has marks of butchery, and a plate of each bone."""
    animal, kind = picked(asked, ANIMAL), picked(asked, KIND)
    kinds = _butchery_kinds(asked) if kind == "any_butchery" else [kind]
    fine = any(rates.is_fine(one, asked.knowledge) for one in kinds)
    recorded_only = picked(asked, UNRECORDED) == "left_out"
    for look in looks(asked):
        those = [one for one in look.hard if asked.knowledge.is_a(one.taxon or "", animal)]
        rows: list[Row] = []
        plates: list[Chart] = []
        for (_, element), own in look.groups(those, "element"):
            if isinstance(element, Word) and element.key in asked.knowledge.elements:
                found = list(_portions(look, element.key, own, kinds, fine, recorded_only))
                rows += found
                plates += _plate(look, animal, element.key, own, kinds)
        plates.sort(key=lambda one: -one.more["marked"])
        charts = [*_skeleton(look, animal, rows), *plates[:MOST_PLATES]]
        marked = [one for one in those if any(mark.kind in kinds for mark in one.marks)]
        notes = [Note("butchery_what", {"animal": Word("taxon", animal), "n": rates.number(those)})] if animal else []
        notes += [*look.alike(marked), *look.protocol("mark"), *_unsaid(look, recorded_only)]
        notes += [] if rows else [Note("butchery_none")]
        if len(plates) > MOST_PLATES:
            notes.append(Note("butchery_plates", {"shown": MOST_PLATES, "more": len(plates) - MOST_PLATES}))
        yield Result(
            "butchery", asked.selection, look.unit, _PLACES, tuple(rows), look.left(), tuple(notes), (INTERVAL,),
            tuple(charts),
        )  # fmt: skip


def _portions(
    look: Look, element: str, own: Sequence[Specimen], kinds: Collection[str], fine: bool, recorded_only: bool
) -> Iterator[Row]:
    """The bone as a whole, then each portion; nothing of a bone without a mark."""
    known = look.asked.knowledge
    able = _able(own, recorded_only)[fine]
    whole = rates.seen(own, able, kinds)
    if not whole.records:
        return
    yield Row(
        (Word("element", element), Word(ROW, "whole_bone"), *_cells(whole, able, kinds)), whole.records, total=True
    )
    keys = [portion.key for portion in known.portions_of(element)]
    keys += sorted({key for one in own for key in one.portions} - {*keys})
    for key in keys:
        seen = rates.seen(own, able, kinds, key)
        if seen.rate.of or seen.elsewhere:
            cells = _cells(seen, able, kinds, key)
            yield Row((Word("element", element), Word(f"portion.{element}", key), *cells), seen.records)


def _cells(seen: Seen, able: Sequence[Specimen], kinds: Collection[str], portion: str = "") -> tuple[Cell, ...]:
    """What was seen, and of the pieces in the rate those cut, chopped and marked otherwise."""

    def having(*some: str) -> int:
        return rates.seen(able, able, some, portion).rate.n

    others = [kind for kind in kinds if kind not in ("cut", "chop")]
    return *rate_cells(seen.rate), having("cut"), having("chop"), having(*others), seen.elsewhere


def _skeleton(look: Look, animal: str, rows: Sequence[Row]) -> Iterator[Chart]:
    """The rate of each bone on the skeleton of the animal."""
    taxon = look.asked.knowledge.taxa.get(animal)
    found = {bone.key: rate for row in rows if row.total for bone, rate in [(row.cells[0], row.cells[4])]
             if isinstance(bone, Word) and isinstance(rate, float)}  # fmt: skip
    if taxon is not None and found:
        shares = {bone: rate / 100 for bone, rate in found.items()}
        able = sum(row.cells[3] for row in rows if row.total and isinstance(row.cells[3], int))
        more, name = {"n": able}, Word("taxon", animal)
        yield Chart("skeleton", y="rate", form=taxon.form, shares=shares, more=more, name=name)


def _plate(look: Look, animal: str, element: str, own: Sequence[Specimen], kinds: Collection[str]) -> Iterator[Chart]:
    """How many pieces are marked on each portion, and each mark where it was put; right bones turned to left ones."""
    taxon = look.asked.knowledge.taxa.get(animal)
    counts: Counter[str] = Counter()
    placed: list[tuple[str | None, float, float, str]] = []
    for one in own:
        own_marks = [mark for mark in one.marks if mark.kind in kinds]
        for portion in {mark.portion for mark in own_marks if mark.portion}:
            counts[portion] += one.count
        placed += [found for mark in own_marks if (found := _at(mark, one.side)) is not None]
    if taxon is not None and (counts or placed):
        marked = rates.number(one for one in own if any(mark.kind in kinds for mark in one.marks))
        more = {"element": element, "counts": dict(counts), "marks": tuple(placed), "marked": marked}
        yield Chart("plate", form=taxon.form, more=more, name=Word("element", element))


def _at(mark: Mark, side: str | None) -> tuple[str | None, float, float, str] | None:
    if mark.x is None or mark.y is None or not (mark.x <= 1 and mark.y <= 1):
        return None
    return mark.view, 1 - mark.x if side == "right" else mark.x, mark.y, mark.kind
