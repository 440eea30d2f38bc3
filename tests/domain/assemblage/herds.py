"""Small herds whose truth is known: animals of some age, their bones broken and lost at random, and recorded.

And the fewest bones, and animals, that fit a record, found by trying: what a minimum number can reach at best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from random import Random

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.specimens import Specimen

K = knowledge()
ELEMENTS = ("humerus", "tibia", "femur", "metacarpal", "radius")


@dataclass(frozen=True)
class Herd:
    """What was recorded, and of which bone each piece truly is: (animal, element, side)."""

    specimens: tuple[Specimen, ...]
    bones: tuple[tuple[int, str, str], ...]


def herd(seed: int, taxon: str = "sheep", most: int = 9) -> Herd:
    """A herd of one to four animals, of which at most so many pieces are found."""
    rng = Random(seed)
    elements = rng.sample(ELEMENTS, rng.randint(1, 3))
    found: list[tuple[dict, tuple[int, str, str]]] = []
    for animal in range(rng.randint(1, 4)):
        months = rng.choice((4, 10, 14, 20, 30, 45, 80))
        for element in elements:
            fusion = {one.key: _state(rng, taxon, element, one.key, months) for one in K.centres_of(element, taxon)}
            for side in ("left", "right"):
                if rng.random() < 0.75:
                    found += [(piece, (animal, element, side)) for piece in _broken(rng, taxon, element, fusion)]
    rng.shuffle(found)
    specimens = []
    for n, (piece, (_, element, side)) in enumerate(found[:most]):
        seen = side if rng.random() < 0.7 else None
        specimens.append(Specimen(f"{n:03}", taxon=taxon, element=element, side=seen, **piece))
    return Herd(tuple(specimens), tuple(bone for _, bone in found[:most]))


def _state(rng: Random, taxon: str, element: str, centre: str, months: float) -> str | None:
    """As it is at an age: it joins somewhere in the range that is published for it."""
    limits = K.fusion_range(taxon, element, centre)
    if limits is None:
        return None
    least, upto = limits[0] or 0, limits[1] if limits[1] is not None else (limits[0] or 0) + 6
    joins = rng.uniform(least, upto)
    if least <= months <= upto and abs(months - joins) < 2:
        return "fusing"
    return "fused" if months > joins else "unfused"


def _broken(rng: Random, taxon: str, element: str, fusion: dict[str, str | None]) -> list[dict]:
    """The pieces that are found of a bone: portions and the fusion that can be seen on each."""
    rows = sorted(K.portions_of(element, taxon), key=lambda one: one.step)
    loose = {centre for centre, state in fusion.items() if state == "unfused"}
    runs: list[list[str]] = [[one.key for one in rows if one.centre == centre] for centre in sorted(loose)]
    shaft = [one.key for one in rows if one.centre not in loose]
    cuts = sorted(rng.sample(range(1, len(shaft)), min(rng.choice((0, 1, 1, 2)), len(shaft) - 1)))
    runs += [shaft[at:upto] for at, upto in zip([0, *cuts], [*cuts, len(shaft)], strict=True)]
    pieces = [dict.fromkeys(run, "most") for run in runs if run]
    for one, other in pairwise(pieces):
        # A break seldom runs along a border: a portion is shared, and perhaps neither piece has over half of it.
        if rng.random() < 0.5 and not (set(one) | set(other)) & {row.key for row in rows if row.centre in loose}:
            shared = rng.choice(sorted(one))
            other[shared] = "part"
            if rng.random() < 0.3:
                one[shared] = "part"
    found = []
    for piece in pieces:
        if rng.random() < 0.6:
            seen = {
                c.key: fusion[c.key] for c in K.centres_of(element, taxon) if fusion[c.key] and _shows(c, piece, rows)
            }
            states = {
                centre: "loose_epiphysis" if state == "unfused" and _is_end(piece, centre, rows) else state
                for centre, state in seen.items()
            }
            found.append({"portions": piece, "fusion": states})
    return found


def _shows(centre, piece, rows) -> bool:
    return centre.metaphysis in piece or _is_end(piece, centre.key, rows)


def _is_end(piece, centre, rows) -> bool:
    return any(one.centre == centre and one.key in piece for one in rows)


# The fewest that fit


def are_of_different_bones(one: Specimen, other: Specimen) -> bool:
    """By the project's text: a portion both have over half of, opposite sides, fusion that contradicts, ages apart."""
    if one.most & other.most or {one.side, other.side} == {"left", "right"}:
        return True
    for centre in one.fusion.keys() & other.fusion.keys():
        if ("unf" in _plain(one.fusion[centre])) != ("unf" in _plain(other.fusion[centre])):
            return True
    return _ages_apart(one, other)


def _plain(state: str) -> str:
    return "unfused" if state == "loose_epiphysis" else state


def _ages_apart(one: Specimen, other: Specimen) -> bool:
    (least, upto), (its_least, its_upto) = _ages(one), _ages(other)
    return upto < its_least or its_upto < least


def _ages(one: Specimen) -> tuple[float, float]:
    least, upto = -inf, inf
    for centre, state in one.fusion.items():
        limits = K.fusion_range(one.taxon, one.element, centre) or (None, None)
        if state in ("fused", "fusing") and limits[0] is not None:
            least = max(least, limits[0])
        if state != "fused" and limits[1] is not None:
            upto = min(upto, limits[1])
    return least, upto


def fewest_bones(specimens: Sequence[Specimen]) -> int:
    """The fewest bones that specimens of one element can be of: a colouring with as few colours as can be."""
    apart = [[are_of_different_bones(one, other) for other in specimens] for one in specimens]

    def fits(n: int, bones: list[list[int]], at: int) -> bool:
        if at == len(specimens):
            return True
        for bone in bones:
            if not any(apart[at][one] for one in bone):
                bone.append(at)
                if fits(n, bones, at + 1):
                    return True
                bone.pop()
        if len(bones) < n:
            bones.append([at])
            if fits(n, bones, at + 1):
                return True
            bones.pop()
        return False

    return next(n for n in range(len(specimens) + 1) if fits(n, [], 0))


def fewest_animals(specimens: Sequence[Specimen]) -> int:
    """The fewest animals that specimens of paired elements can be of: each is given an animal and a side of it."""
    order = sorted(specimens, key=lambda one: (one.element, one.side is None, one.side or ""))

    def fits(n: int, placed: list[tuple[Specimen, int, str]], at: int, begun: int) -> bool:
        if at == len(order):
            return True
        one = order[at]
        for animal in range(min(begun + 1, n)):
            its = [(other, side) for other, of, side in placed if of == animal]
            if any(_are_of_different_animals(one, other) for other, _ in its):
                continue
            for side in (one.side,) if one.side else ("left", "right"):
                of_bone = [other for other, on in its if on == side and other.element == one.element]
                if not any(are_of_different_bones(one, other) for other in of_bone):
                    if fits(n, [*placed, (one, animal, side)], at + 1, max(begun, animal + 1)):
                        return True
        return False

    return next(n for n in range(len(order) + 1) if fits(n, [], 0, 0))


def _are_of_different_animals(one: Specimen, other: Specimen) -> bool:
    """Ages apart, or a centre that is fused in one and open in the other, whichever the side; fusing fits either."""
    if one.element == other.element:
        for centre in one.fusion.keys() & other.fusion.keys():
            if {_plain(one.fusion[centre]), _plain(other.fusion[centre])} == {"fused", "unfused"}:
                return True
    return _ages_apart(one, other)
