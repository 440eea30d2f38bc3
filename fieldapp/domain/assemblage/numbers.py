"""Minimum numbers of elements (MNE): how many different bones some specimens must come from, at the least.

For: the plain definitions, one animal and one element at a time, slow and obvious; server.analysis.counts computes the
same over columns and is held to this. Not for: individuals (individuals), NISP (domain.counting), or which specimens
are asked for.

Adopted for the project, of a set S of pieces of one element of one animal:

- P(S): the largest number of pieces, over the portions, with over half of the portion; at least 1 if S is not empty.
- One(S): the larger of P(S) and, over the fusion centres, P(fused or fusing) + P(unfused). A loose epiphysis and an
  open shaft are both unfused and have different portions: they pair, and are not added.
- MNE: the larger of One(left) + One(right) and One(all). A bone of a pair that is found whole across the midline stands
  for a left and a right one: twice One(such) is a third figure to compare with.
- The condyles of a cannon bone are two portions of it, so the larger of them counts.
- *Pooled*: a metapodial that may be of fore or hind leg counts with the metacarpals and metatarsals, an animal named as
  a pair or a family (sheep/goat) with what is named more finely: the larger of the figure of all together and the sum
  of the finer ones. The rows of what is pooled are never added to it.
- Of loose teeth there is no MNE: they count by their place in the row (individuals).
- *By ends* (project decision), a figure of its own, for records without portions: an end is there if its state of
  fusion was seen, or over half of one of its portions; ends in several pieces may count more than once, so it may lie
  above.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from fieldapp.domain import counting
from fieldapp.domain.assemblage.bones import (
    FUSED,
    FUSING,
    LOOSE,
    POOLS,
    UNFUSED,
    Countable,
    Piece,
    Pile,
    is_tooth,
    pile,
)
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge


class Best(NamedTuple):
    """A figure and what decides it: a portion, or the centre at which fused and unfused were added; "" for neither."""

    n: int = 0
    portion: str = ""
    centre: str = ""


NONE = Best()


@dataclass(frozen=True, slots=True)
class Counted:
    """An MNE, or an end's figure.

    low, high  the range over disputed readings
    left, right, all  One of each, over what is sure;  whole: One of those found whole across the midline
    by_ends    the figure by ends over what is sure; None where no end was seen
    pieces     how many pieces, over what is sure
    includes   (taxon, element) of what is pooled in it and has a row of its own
    records    of every reading
    """

    low: int
    high: int
    left: Best = NONE
    right: Best = NONE
    all: Best = NONE
    whole: Best = NONE
    by_ends: int | None = None
    pieces: int = 0
    includes: tuple[tuple[str, str], ...] = ()
    records: tuple[str, ...] = ()


def portions_of(pieces: Iterable[Piece]) -> Counter[str]:
    """{portion: how many pieces have over half of it}: each key once, with the most that anybody says."""
    most: dict[tuple[str, str], int] = {}
    for one in pieces:
        for portion in one.most:
            most[one.key, portion] = max(one.count, most.get((one.key, portion), 0))
    found: Counter[str] = Counter()
    for (_, portion), count in most.items():
        found[portion] += count
    return found


def p(pieces: Sequence[Piece]) -> Best:
    """P(S). Of portions that come to the same, the first by name is said to decide."""
    if not pieces:
        return NONE
    found = portions_of(pieces)
    if not found:
        return Best(1)
    portion = min(found, key=lambda one: (-found[one], one))
    return Best(found[portion], portion)


def with_state(pieces: Iterable[Piece], centre: str, *states: str) -> list[Piece]:
    """Those whose centre was seen in one of these states."""
    return [one for one in pieces if one.fusion.get(centre) in states]


def one(pieces: Sequence[Piece]) -> Best:
    """One(S)."""
    best = p(pieces)
    for centre in sorted({centre for piece in pieces for centre in piece.fusion}):
        n = p(with_state(pieces, centre, FUSED, FUSING)).n + p(with_state(pieces, centre, UNFUSED, LOOSE)).n
        if n > best.n:
            best = Best(n, "", centre)
    return best


def of_side(pieces: Iterable[Piece], side: str) -> list[Piece]:
    """Those of a side."""
    return [one for one in pieces if one.side == side]


def is_pair(element: str, knowledge: Knowledge) -> bool:
    """Whether a left and a right one may be found in one piece across the midline."""
    row = knowledge.elements[element]
    return row.sided and row.midline


def plain_mne(pieces: Sequence[Piece], element: str, knowledge: Knowledge) -> int:
    """MNE of pieces of one element, without pooling."""
    across = one(of_side(pieces, "midline")).n if is_pair(element, knowledge) else 0
    return max(one(of_side(pieces, "left")).n + one(of_side(pieces, "right")).n, one(pieces).n, 2 * across)


def by_ends(pieces: Sequence[Piece], taxon: str, element: str, knowledge: Knowledge) -> int | None:
    """The figure by ends; None where no end was seen."""
    best, sides = 0, (of_side(pieces, "left"), of_side(pieces, "right"), pieces)
    for centre in knowledge.centre_keys.get(element, {}):
        epiphysis = knowledge.epiphysis_keys(element, centre, taxon)
        found = [_ends(some, centre, epiphysis) for some in sides]
        best = max(best, found[0] + found[1], found[2])
    return best or None


def _ends(pieces: Sequence[Piece], centre: str, epiphysis: frozenset[str]) -> int:
    by_state: dict[str | None, list[Piece]] = {}
    for one in pieces:
        if centre in one.fusion or not epiphysis.isdisjoint(one.most):
            by_state.setdefault(one.fusion.get(centre), []).append(one)
    fused = number([*by_state.get(FUSED, ()), *by_state.get(FUSING, ())])
    loose, shafts = number(by_state.get(LOOSE, ())), number(by_state.get(UNFUSED, ()))
    # What has the end and does not say its state may have come off any of the shafts.
    return max(fused + loose + number(by_state.get(None, ())), fused + shafts)


def mne(
    specimens: Iterable[Specimen], knowledge: Knowledge, *, refits: bool = True, countable: Countable | None = None
) -> dict[tuple[str, str], Counted]:
    """{(taxon, element): MNE}, in the order of the tables."""
    return mne_of(pile(specimens, knowledge, refits=refits, countable=countable), knowledge)


def mne_of(found: Pile, knowledge: Knowledge) -> dict[tuple[str, str], Counted]:
    """MNE of a pile."""
    at: dict[tuple[str, str], Counted] = {}
    taxa = {one.taxon for one in found.every}
    for taxon in knowledge.taxa:
        if taxon not in taxa:
            continue
        low, every = under(found.low, taxon, knowledge), under(found.every, taxon, knowledge)
        elements = {one.element for one in every}
        for element in knowledge.elements:
            if element in elements and not is_tooth(element, knowledge):
                at[taxon, element] = _counted(low, every, taxon, element, knowledge)
    return at


def _counted(low: Sequence[Piece], every: Sequence[Piece], taxon: str, element: str, knowledge: Knowledge) -> Counted:
    def value(pieces: Sequence[Piece]) -> int:
        return pooled_mne(pieces, taxon, element, knowledge)

    low, every = of_element(low, element), of_element(every, element)
    least, most = ranged(value, low, every, knowledge)
    return Counted(
        least,
        most,
        one(of_side(low, "left")),
        one(of_side(low, "right")),
        one(low),
        one(of_side(low, "midline")) if is_pair(element, knowledge) else NONE,
        by_ends(low, taxon, element, knowledge),
        number(low),
        tuple(sorted({(one.taxon, one.element) for one in every} - {(taxon, element)})),
        tuple(sorted({one.id for one in every})),
    )


def ranged(
    value: Callable[[Sequence[Piece]], int], low: Sequence[Piece], every: Sequence[Piece], knowledge: Knowledge
) -> tuple[int, int]:
    """(low, high) of a figure. High is over every reading, each key once in each place. As a bone is left or right,
    fused or not, and never both, what is not sure adds no more than its pieces to what is (two each, where a piece may
    be a left and a right)."""
    least = value(low)
    open_to: dict[str, int] = {}
    for one in every:
        if not one.sure:
            open_to[one.key] = max(worth(one, knowledge), open_to.get(one.key, 0))
    if not open_to:
        return least, least
    return least, max(least, min(value(every), least + sum(open_to.values())))


def worth(piece: Piece, knowledge: Knowledge) -> int:
    """How many bones a piece is at the most."""
    return piece.count * (2 if piece.side == "midline" and is_pair(piece.element, knowledge) else 1)


def pooled_mne(pieces: Sequence[Piece], taxon: str, element: str, knowledge: Knowledge) -> int:
    """MNE of all pieces under a taxon and an element: the larger of all together and the sum of the finer."""
    if not pieces:
        return 0
    found = [plain_mne(pieces, element, knowledge)]
    finer = POOLS.get(element, ())
    if any(one.element != element for one in pieces):
        found.append(sum(pooled_mne(of_element(pieces, each), taxon, each, knowledge) for each in finer))
    parts = taxa_below(taxon, pieces, knowledge)
    if parts:
        found.append(sum(pooled_mne(under(pieces, each, knowledge), each, element, knowledge) for each in parts))
    return max(found)


def pools(taxon: str, knowledge: Knowledge) -> bool:
    """Whether a taxon takes in what is named more finely: one that names an animal. Size classes and wider groups do
    not: what is a medium mammal's may be anybody's."""
    return knowledge.taxa[taxon].kind in counting.NAMED


def under(pieces: Iterable[Piece], taxon: str, knowledge: Knowledge) -> list[Piece]:
    """The pieces of a taxon, with those named more finely where it takes these in."""
    if not pools(taxon, knowledge):
        return [one for one in pieces if one.taxon == taxon]
    return [one for one in pieces if knowledge.is_a(one.taxon, taxon)]


def taxa_below(taxon: str, pieces: Iterable[Piece], knowledge: Knowledge) -> list[str]:
    """Of the taxa of some pieces, those next below a taxon: under it, and under no other of them that is under it."""
    below = [one for one in {piece.taxon for piece in pieces} if one != taxon]
    return sorted(one for one in below if not any(other != one and knowledge.is_a(one, other) for other in below))


def of_element(pieces: Iterable[Piece], element: str) -> list[Piece]:
    """The pieces of an element, with those that are pooled in it."""
    names = (element, *POOLS.get(element, ()))
    return [one for one in pieces if one.element in names]


def number(pieces: Iterable[Piece]) -> int:
    """How many pieces, each key once."""
    most: dict[str, int] = {}
    for one in pieces:
        most[one.key] = max(one.count, most.get(one.key, 0))
    return sum(most.values())
