"""Minimum numbers of individuals (MNI): how many animals some specimens must come from, at the least.

For: the plain definitions, slow and obvious; server.analysis.counts computes the same over columns and is held to this.
Not for: elements (numbers), how many animals there were (nobody can tell from a minimum), or which specimens are asked
for.

Adopted for the project, with P as in `numbers` and k the number of the element in a skeleton, after the source chosen:

- MNI: the largest, over the elements, of P(left) and P(right), each divided by how many a side has and rounded up, and
  P(all)/k rounded up. Where a pair is found whole across the midline, P of these too. Where k is not known, an element
  tells of one animal and no more. Antlers count only where the base came from a carcass: others are shed each year.
- Teeth, in jaws and loose: the largest number over the places in the row, jaw by jaw and side by side. A tooth found
  loose may be out of an empty socket or crypt: the teeth that are there are one figure, the places in jaws, with a
  tooth or without, another, and they are never added. Where some do
  not say their side or jaw, all are also taken together: sides together are divided by two, jaws and sides by twice the
  jaws that have the place. Place 4: worn P4 + the larger of dP4 and unworn P4 (of which it is not said whether they are
  worn count as unworn). A name for several places (M1/M2, molar, cheek tooth): all teeth that may go by it, divided by
  how many a side of the jaw has, rounded up.
- *Age-refined*: the larger of MNI, of the sum over classes of age that no animal can be in two of, and of the sum of
  what is fused and what is unfused at one centre of one element (fusing fits either, and is in neither sum). A bone is
  of a class if its whole range of age, after the fusion ages chosen for the animal, lies there; the classes are those
  with the largest sum. Fusion alone: teeth have ages of other sources.
- *Refined by pairs*: where somebody has laid lefts and rights side by side (compared).
- A pair or a family (sheep/goat): the larger of all together and the sum of what is named more finely; rows never
  added.
- Size classes and wider groups name no animal and have no MNI.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from fieldapp.domain.assemblage.bones import FUSED, FUSING, LOOSE, UNFUSED, Countable, Piece, Pile, is_tooth, pile
from fieldapp.domain.assemblage.numbers import (
    is_pair,
    number,
    of_element,
    of_side,
    p,
    pools,
    ranged,
    taxa_below,
    under,
    with_state,
)
from fieldapp.domain.assemblage.specimens import Specimen, Tooth
from fieldapp.domain.knowledge import Knowledge

WORN = "in_wear"
SIDES = ("left", "right")


class Decides(NamedTuple):
    """An MNI and what decides it: `what` is "element", "tooth", "finer" (the sum over finer names) or ""."""

    n: int = 0
    what: str = ""
    key: str = ""
    side: str = ""


@dataclass(frozen=True, slots=True)
class Individuals:
    """MNI of an animal.

    low, high          the range over disputed readings
    aged_low, aged_high  age-refined
    decides            over what is sure
    pieces             how many pieces count here, over what is sure
    includes           taxa that are pooled in it and have a row of their own
    records            of every reading
    """

    low: int
    high: int
    aged_low: int
    aged_high: int
    decides: Decides
    pieces: int
    includes: tuple[str, ...] = ()
    records: tuple[str, ...] = ()


def mni(
    specimens: Iterable[Specimen], knowledge: Knowledge, *, refits: bool = True, countable: Countable | None = None
) -> dict[str, Individuals]:
    """{taxon: MNI} of the animals that are named, in the order of the table."""
    return mni_of(pile(specimens, knowledge, refits=refits, countable=countable), knowledge)


def mni_of(found: Pile, knowledge: Knowledge) -> dict[str, Individuals]:
    """MNI of a pile."""
    at: dict[str, Individuals] = {}
    taxa = {one.taxon for one in found.every}
    for taxon in knowledge.taxa:
        if taxon in taxa and pools(taxon, knowledge):
            low, every = under(found.low, taxon, knowledge), under(found.every, taxon, knowledge)

            def plain(pieces: Sequence[Piece], taxon: str = taxon) -> int:
                return individuals(pieces, taxon, knowledge).n

            def aged(pieces: Sequence[Piece], taxon: str = taxon) -> int:
                return age_refined(pieces, taxon, knowledge)

            at[taxon] = Individuals(
                *ranged(plain, low, every, knowledge),
                *ranged(aged, low, every, knowledge),
                individuals(low, taxon, knowledge),
                number(low),
                tuple(one for one in knowledge.taxa if one != taxon and one in {piece.taxon for piece in every}),
                tuple(sorted({one.id for one in every})),
            )
    return at


def individuals(pieces: Sequence[Piece], taxon: str, knowledge: Knowledge) -> Decides:
    """MNI of pieces under a taxon, and what decides it; of several that come to the same, the first of the tables."""
    return pooled(pieces, taxon, knowledge, lambda some, its: of_all(some, its, knowledge))


def pooled(
    pieces: Sequence[Piece], taxon: str, knowledge: Knowledge, of: Callable[[Sequence[Piece], str], Decides]
) -> Decides:
    """MNI by `of` (pieces, animal): of all together, or the sum of what is named more finely if that is more."""
    best = of(pieces, taxon)
    parts = taxa_below(taxon, pieces, knowledge)
    finer = sum(pooled(under(pieces, one, knowledge), one, knowledge, of).n for one in parts)
    return Decides(finer, "finer") if finer > best.n else best


def of_all(pieces: Sequence[Piece], taxon: str, knowledge: Knowledge) -> Decides:
    """MNI of all pieces as of one animal's kind, elements before teeth."""
    if not pieces:
        return Decides()
    best = Decides(1)
    elements = {one.element for one in pieces}
    for element in knowledge.elements:
        if element in elements and not is_tooth(element, knowledge):
            best = _larger(best, of_bone(of_element(pieces, element), taxon, element, knowledge))
    return _larger(best, of_teeth(pieces, taxon, knowledge))


def _larger(one: Decides, other: Decides) -> Decides:
    return other if other.n > one.n or (other.n == one.n and not one.what) else one


def per_skeleton(taxon: str, element: str, knowledge: Knowledge) -> int | None:
    """k: how many a skeleton has; of a group whose animals differ, the most that any of them has."""
    return knowledge.count(taxon, element) or knowledge.largest_count(taxon, element) or None


def of_bone(pieces: Sequence[Piece], taxon: str, element: str, knowledge: Knowledge) -> Decides:
    """MNI of pieces of one element."""
    pieces = [one for one in pieces if not one.shed]
    if not pieces:
        return Decides()
    k = per_skeleton(taxon, element, knowledge)
    if k is None:
        return Decides(1, "element", element)
    a_side = _up(k, 2)
    best = Decides(_up(p(pieces).n, k), "element", element)
    row = knowledge.elements[element]
    sides = (*SIDES, "midline") if is_pair(element, knowledge) else SIDES if row.sided else ()
    for side in sides:
        n = _up(p(of_side(pieces, side)).n, a_side)
        if n > best.n:
            best = Decides(n, "element", element, side)
    return best


def _up(n: int, by: int) -> int:
    return -(-n // by)


# Teeth


class Found(NamedTuple):
    """A tooth of a piece, and how many such; `jaw` and `side` are "" where not known."""

    key: str
    jaw: str
    side: str
    tooth: str
    worn: bool
    pieces: int


def of_teeth(pieces: Iterable[Piece], taxon: str, knowledge: Knowledge) -> Decides:
    """MNI of the teeth among the pieces: of those that are there, or of their places in jaws, whichever is more."""
    pieces = list(pieces)
    return _larger(*(_of_rows(teeth_of(pieces, knowledge, which), taxon, knowledge) for which in (is_there, is_place)))


def is_there(piece: Piece, tooth: Tooth, knowledge: Knowledge) -> bool:
    """Whether the tooth itself is there, in a jaw or loose."""
    return not tooth.empty


def is_place(piece: Piece, tooth: Tooth, knowledge: Knowledge) -> bool:
    """Whether its place in a jaw is there, with or without it."""
    return tooth.seat != "loose" and not is_tooth(piece.element, knowledge)


def _of_rows(teeth: Sequence[Found], taxon: str, knowledge: Knowledge) -> Decides:
    best = Decides()
    for jaw in ("lower", "upper", ""):
        # What does not say its jaw or side counts where all are taken together, and only then are they.
        of_jaw = [one for one in teeth if jaw in ("", one.jaw)]
        if jaw or any(not one.jaw for one in teeth):
            for side in (*SIDES, ""):
                row = [one for one in of_jaw if side in ("", one.side)]
                if side or any(not one.side for one in of_jaw):
                    best = _larger(best, of_row(row, taxon, jaw, side, knowledge))
    return best


def teeth_of(
    pieces: Iterable[Piece], knowledge: Knowledge, which: Callable[[Piece, Tooth, Knowledge], bool]
) -> list[Found]:
    """Such teeth of pieces: each once in a place of a piece, each key once, with the most that anybody says."""
    most: dict[tuple[str, str, str, str, bool], int] = {}
    for one in pieces:
        for tooth in one.teeth:
            if tooth.tooth in knowledge.teeth.teeth and which(one, tooth, knowledge):
                place = (one.key, *row_of(one, tooth, knowledge), tooth.tooth, is_worn(tooth, knowledge))
                most[place] = max(one.count, most.get(place, 0))
    return [Found(*place, count) for place, count in most.items()]


def row_of(piece: Piece, tooth: Tooth, knowledge: Knowledge) -> tuple[str, str]:
    """(jaw, side) in which a tooth stands: its own words, or those of the bone it stands in."""
    jaw = tooth.jaw or knowledge.teeth.bearers.get(piece.element, "")
    side = tooth.side or piece.side or ""
    return (jaw if jaw in ("lower", "upper") else ""), (side if side in SIDES else "")


def is_worn(tooth: Tooth, knowledge: Knowledge) -> bool:
    """Whether a tooth is said to be worn."""
    stage = knowledge.teeth.stage(tooth.scheme, tooth.wear)
    by_stage = stage is not None and (stage.state == WORN or (stage.kind == "wear" and not stage.state))
    return tooth.stage == WORN or by_stage


def of_row(teeth: Sequence[Found], taxon: str, jaw: str, side: str, knowledge: Knowledge) -> Decides:
    """MNI of the teeth of a row, or of several rows together where `jaw` or `side` is ""."""
    called = {one.tooth for one in teeth}
    best = Decides()
    for key, row in knowledge.teeth.teeth.items():
        names = {"P4", "dP4"} if key == "P4" else {key}
        if row.place is None:
            names = {one for one in called if knowledge.teeth.is_a(one, key)} if key in called else set()
        if key == "dP4" or not called & names:
            continue
        room = in_rows(taxon, key, jaw, side, knowledge)
        of_names: dict[str, list[Found]] = {}
        for one in teeth:
            if one.tooth in names:
                of_names.setdefault(one.key, []).append(one)
        n = _fourth(of_names, room) if key == "P4" else sum(_at_most(some, room) for some in of_names.values())
        best = _larger(best, Decides(_up(n, room), "tooth", key, side))
    return best


def _at_most(teeth: Sequence[Found], room: int) -> int:
    """How many teeth of a piece: no more than an animal has room for, whatever is written."""
    return min(sum(one.pieces for one in teeth), room * max((one.pieces for one in teeth), default=0))


def _fourth(of_pieces: Mapping[str, Sequence[Found]], room: int) -> int:
    worn, milk, unworn = 0, 0, 0
    for teeth in of_pieces.values():
        its_milk = [one for one in teeth if one.tooth == "dP4"]
        its_worn = [one for one in teeth if one.tooth == "P4" and one.worn]
        if its_worn and not its_milk:
            worn += _at_most(its_worn, room)
        else:
            milk += _at_most(its_milk, room)
            unworn += _at_most([one for one in teeth if one.tooth == "P4"], room)
    return worn + max(milk, unworn)


def in_rows(taxon: str, tooth: str, jaw: str, side: str, knowledge: Knowledge) -> int:
    """How many teeth of a name an animal has in a row, or in all of them where `jaw` or `side` is "". Where no formula
    of the animal is known, or it has none of that name: those that have it by their name, in each jaw."""
    known = knowledge.teeth
    row = known.teeth[tooth]
    bare = (
        1
        if row.place is not None
        else sum(one.place is not None and known.is_a(key, tooth) for key, one in known.teeth.items())
    )
    found = known.per_side(taxon, tooth, jaw or None) or bare * (1 if jaw else 2)
    return found * (1 if side else 2)


# Age

Range = tuple[float, float]


def months(piece: Piece, knowledge: Knowledge) -> Range:
    """The age at death that the fusion of a piece allows, in months; open where nothing is known, or what is said
    cannot be."""
    least, most = -inf, inf
    for centre, state in piece.fusion.items():
        limits = knowledge.fusion_range(piece.taxon, piece.element, centre)
        if limits is not None:
            if state in (FUSED, FUSING) and limits[0] is not None:
                least = max(least, limits[0])
            if state in (UNFUSED, LOOSE, FUSING) and limits[1] is not None:
                most = min(most, limits[1])
    return (least, most) if least <= most else (-inf, inf)


def age_refined(pieces: Sequence[Piece], taxon: str, knowledge: Knowledge) -> int:
    """Age-refined MNI of pieces under a taxon."""

    def of(some: Sequence[Piece], its: str) -> Decides:
        return Decides(max(by_age(some, its, knowledge), by_centre(some, its, knowledge)))

    return pooled(pieces, taxon, knowledge, of).n


def by_age(pieces: Sequence[Piece], taxon: str, knowledge: Knowledge) -> int:
    """The largest sum of MNI over classes of age one after the other. Every piece older than a cut began after it."""
    ages = [(one, *months(one, knowledge)) for one in pieces]
    cuts = [-inf, *sorted({most for _, _, most in ages if most < inf}), inf]
    best = [0] * len(cuts)
    for j in range(1, len(cuts)):
        for i in range(j):
            within = [one for one, least, most in ages if (least > cuts[i] or i == 0) and most <= cuts[j]]
            best[j] = max(best[j], best[i] + of_all(within, taxon, knowledge).n)
    return best[-1]


def by_centre(pieces: Sequence[Piece], taxon: str, knowledge: Knowledge) -> int:
    """The largest sum, over the centres, of what is fused and what is unfused there."""
    best = 0
    for element in {one.element for one in pieces}:
        of_it = of_element(pieces, element)
        for centre in {centre for one in of_it for centre in one.fusion}:
            states = (with_state(of_it, centre, FUSED), with_state(of_it, centre, UNFUSED, LOOSE))
            best = max(best, sum(of_bone(some, taxon, element, knowledge).n for some in states))
    return best
