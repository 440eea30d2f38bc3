"""MNI refined by pairs: what a specialist saw who laid the lefts and the rights of a bone side by side.

For: the figure over comparisons that somebody made and wrote down. Not for: finding pairs (bones are matched by a
specialist, a pair at a time, never by this), minimum numbers of what nobody compared (individuals), or how many animals
there were before bone was lost (likely).

A comparison names its bones, and says that those of one animal are of one body and all others are not. So of one bone
that a skeleton has once a side, with P as in `numbers`:

- *pairs*: those of a body of which a left and a right were compared. They are the larger of P of their lefts and P of
  their rights.
- *alone*: the other lefts and the other rights. No left that is alone is of an animal of any right that was compared,
  so P of these lefts, P of these rights and the pairs are added.

The figure is the larger of MNI and of the largest such sum over bones and comparisons; sums of several bones or several
comparisons are never added, as they may be of the same animals. A docket of several pieces cannot be told apart and is
not among the compared. Where pairs go unseen (worn bone, the two sides of a beast unlike) the figure is too high: it is
as good as the eye that compared. (Common practice, no source.)
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from fieldapp.domain.assemblage.bones import Piece, Pile
from fieldapp.domain.assemblage.individuals import SIDES, Decides, of_all, per_skeleton, pooled
from fieldapp.domain.assemblage.numbers import of_side, p, ranged, under
from fieldapp.domain.knowledge import Knowledge


def mni_compared(
    found: Pile, knowledge: Knowledge, comparisons: Collection[Collection[str]], bodies: Mapping[str, str]
) -> dict[str, tuple[int, int]]:
    """{animal: (low, high)} of those of which bones were compared. `comparisons`: ids of the dockets of each;
    `bodies`: {docket: a word for the body that it is of}."""
    named = {id_ for one in comparisons for id_ in one}
    at = {}
    for taxon in dict.fromkeys(one.taxon for one in found.every if one.id in named):
        low, every = under(found.low, taxon, knowledge), under(found.every, taxon, knowledge)

        def value(pieces: Sequence[Piece], taxon: str = taxon) -> int:
            return individuals(pieces, taxon, knowledge, comparisons, bodies)

        if any(_side_by_side(every, element, taxon, knowledge, named) for element in _elements(every)):
            at[taxon] = ranged(value, low, every, knowledge)
    return at


def individuals(
    pieces: Sequence[Piece],
    taxon: str,
    knowledge: Knowledge,
    comparisons: Collection[Collection[str]],
    bodies: Mapping[str, str],
) -> int:
    """MNI of pieces under an animal, refined by pairs."""

    def of(some: Sequence[Piece], its: str) -> Decides:
        sums = [
            apart(_side_by_side(some, element, its, knowledge, one), bodies)
            for element in _elements(some)
            for one in comparisons
        ]
        return Decides(max(of_all(some, its, knowledge).n, *sums, 0))

    return pooled(pieces, taxon, knowledge, of).n


def apart(compared: Sequence[Piece], bodies: Mapping[str, str]) -> int:
    """The animals that lefts and rights of one bone come from at the least, which were laid side by side."""
    sides: dict[str, set[str | None]] = {}
    for one in compared:
        if one.id in bodies:
            sides.setdefault(bodies[one.id], set()).add(one.side)
    # Of pieces that fit together one is enough to say of which body all are.
    paired = {one.key for one in compared if len(sides.get(bodies.get(one.id, ""), ())) == len(SIDES)}
    pairs = [one for one in compared if one.key in paired]
    alone = [one for one in compared if one.key not in paired]
    return sum(p(of_side(alone, side)).n for side in SIDES) + max(p(of_side(pairs, side)).n for side in SIDES)


def _elements(pieces: Sequence[Piece]) -> list[str]:
    return list(dict.fromkeys(one.element for one in pieces))


def _side_by_side(
    pieces: Sequence[Piece], element: str, taxon: str, knowledge: Knowledge, comparison: Collection[str]
) -> list[Piece]:
    """The pieces of an element that a comparison can tell of."""
    if not knowledge.elements[element].sided or per_skeleton(taxon, element, knowledge) != len(SIDES):
        return []
    return [
        one
        for one in pieces
        if one.element == element and one.id in comparison and one.side in SIDES and one.count == 1 and not one.shed
    ]
