"""Pieces of bone as minimum numbers take them: which specimens count, as which element, and which of them are one.

For: what comes before any minimum number (numbers, individuals), said once for the slow definitions and for the frames
of server.analysis. Not for: any figure.

Adopted here (project decisions where nothing else is said):

- Counted are dockets whose animal and element are in the tables. Tallies are no single readings and count nowhere here.
- A radius and ulna grown together are one specimen and two elements: each portion lies in the bone it belongs to. A
  bone of the two is there if anything of it is, or if nothing is said to be there of either.
- Dockets said to be one bone count once, with what the first that names both says. Pieces that fit together are one
  piece, with all that any of them has; what they say against each other of side or fusion, none of them says.
- Of an element that has no sides, none is taken: half a skull that is called left is of a skull like any other.
- Where an animal or element is unknown, or a portion is none of the element's, nothing is made of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from fieldapp.domain import teeth as dentition
from fieldapp.domain.assemblage.specimens import DOCKET, Specimen, Tooth
from fieldapp.domain.knowledge import Knowledge

FUSED, FUSING, UNFUSED, LOOSE = "fused", "fusing", "unfused", "loose_epiphysis"
NOT_COUNTED = frozenset({"eggshell", "not_bone"})
"""Materials of which there are no elements. Shell has: a valve is one."""

POOLS = {"metapodial": ("metacarpal", "metatarsal")}
"""{element that may be either of several: these}."""
_ROOT = {finer: wide for wide, parts in POOLS.items() for finer in parts}
_SIDES = ("left", "right", "midline")

Countable = Mapping[str, Collection[str]]
"""{element: portions that the site counts by}."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One reading of `count` pieces of one element of one animal.

    key     what counts once: the bone, or those that fit together
    id      of the docket
    sure    whether it is in the low end of a range
    most    portions over half there
    teeth   in a jaw, or a loose one;  shed: an antler that did not come from a carcass, or may not have
    examined  whether any portion was looked at
    """

    key: str
    id: str
    sure: bool
    count: int
    taxon: str
    element: str
    side: str | None
    most: frozenset[str] = frozenset()
    fusion: Mapping[str, str] = field(default_factory=dict)
    teeth: tuple[Tooth, ...] = ()
    shed: bool = False
    examined: bool = False


class Pile(NamedTuple):
    """`low`: pieces that everybody reads so, those that fit together as one. `every`: each reading of each piece."""

    low: list[Piece]
    every: list[Piece]


def pile(
    specimens: Iterable[Specimen], knowledge: Knowledge, *, refits: bool = True, countable: Countable | None = None
) -> Pile:
    """The pieces of some specimens. `refits`: whether those that fit together are one. `countable`: only those with
    over half of one of these portions, and nothing but these portions of them."""
    return Pieces(knowledge, refits=refits, countable=countable).pile(specimens)


class Pieces:
    """For several piles, which may have specimens in common: what each of them says is worked out once.

    Specimens read from records have most of their mappings in common, so these are told apart by which they are and not
    by what they hold. What was looked up is kept, so that nothing else can come to be at its place.
    """

    def __init__(self, knowledge: Knowledge, *, refits: bool = True, countable: Countable | None = None) -> None:
        self._knowledge, self._refits = knowledge, refits
        self._allowed = None if countable is None else _by_place(countable, knowledge)
        self._bones: dict[tuple[str | None, int, int], tuple[Specimen, list[_Bone]]] = {}
        self._pieces: dict[int, tuple[Specimen, list[Piece]]] = {}

    def pile(self, specimens: Iterable[Specimen]) -> Pile:
        """The pieces of some specimens."""
        every = []
        for one in _first_of_each_bone(one for one in specimens if is_counted(one, self._knowledge)):
            kept = self._pieces.get(id(one))
            if kept is None:
                self._pieces[id(one)] = kept = one, _pieces(one, self._bones_of(one), self._refits)
            every += kept[1]
        return Pile(_together([one for one in every if one.sure]), every)

    def _bones_of(self, one: Specimen) -> list[_Bone]:
        place = one.element, id(one.portions), id(one.fusion)
        kept = self._bones.get(place)
        if kept is None:
            self._bones[place] = kept = one, [*self._allowed_of(_bones(one, self._knowledge))]
        return kept[1]

    def _allowed_of(self, bones: Iterable[_Bone]) -> Iterator[_Bone]:
        for one in bones:
            if self._allowed is None:
                yield one
            elif most := one.most & frozenset(self._allowed.get(one.element, ())):
                yield one._replace(most=most)


def is_counted(one: Specimen, knowledge: Knowledge) -> bool:
    """Whether a specimen can be among minimum numbers at all."""
    element = knowledge.elements.get(one.element or "")
    return (
        one.kind == DOCKET
        and not one.apart
        and one.material not in NOT_COUNTED
        and one.taxon in knowledge.taxa
        and element is not None
        and element.kind != "indeterminate"
    )


def root(element: str) -> str:
    """The element in which it is pooled, or itself."""
    return _ROOT.get(element, element)


def is_tooth(element: str, knowledge: Knowledge) -> bool:
    """Whether the element is a loose tooth: it counts by its place in the row and not by portions."""
    return knowledge.elements[element].kind == "tooth"


def _first_of_each_bone(specimens: Iterable[Specimen]) -> list[Specimen]:
    """In the order of their ids; of dockets said to be one bone, only what the first says is sure."""
    ordered = sorted(specimens, key=lambda one: (one.id, not one.sure))
    first: dict[str, str] = {}
    for one in ordered:
        if one.bone and one.sure:
            first.setdefault(one.bone, one.id)
    return [
        replace(one, sure=False) if one.sure and one.bone and first.get(one.bone, one.id) != one.id else one
        for one in ordered
    ]


def _pieces(one: Specimen, bones: Iterable[_Bone], refits: bool) -> list[Piece]:
    key, taxon, found = one.bone or one.id, one.taxon or "", []
    teeth = tuple(_of_jaw(tooth, one) for tooth in one.teeth if tooth.stage not in dentition.GONE)
    for element, sided, most, fusion in bones:
        piece = Piece(
            key, one.id, one.sure, one.count, taxon, element, one.side if sided else None, most, fusion, teeth,
            element == "antler" and one.surface.get("antler_base") != "attached", bool(one.portions),
        )  # fmt: skip
        if refits and one.fitted:
            # Of several pieces alike, one is among those that fit.
            found.append(replace(piece, key=f"fit {one.fitted}", count=1))
            if one.count > 1:
                found.append(replace(piece, count=one.count - 1))
        else:
            found.append(piece)
    return found


def _of_jaw(tooth: Tooth, one: Specimen) -> Tooth:
    side = tooth.side or one.side
    return tooth if side == tooth.side else replace(tooth, side=side)


class _Bone(NamedTuple):
    """A bone in a specimen, whether it has sides, its portions over half there, and its fusion."""

    element: str
    sided: bool
    most: frozenset[str]
    fusion: Mapping[str, str]


def _bones(one: Specimen, knowledge: Knowledge) -> Iterator[_Bone]:
    recorded = one.element or ""
    known = knowledge.portion_keys.get(recorded, {})
    most = [portion for portion in one.most if portion in known]
    centres = knowledge.centre_keys.get(recorded, {})
    fusion = {centre: state for centre, state in one.fusion.items() if centre in centres}
    parts = [row for row in knowledge.element_parts if row.element == recorded]
    if not parts:
        yield _Bone(recorded, knowledge.elements[recorded].sided, frozenset(most), fusion)
        return
    place = {(row.what, row.key): (row.part_element, row.part_key) for row in parts}
    there = {part for (what, portion), (part, _) in place.items() if what == "portion" and portion in one.there}
    for part in dict.fromkeys(row.part_element for row in parts):
        if there and part not in there:
            continue
        its_most = {place[("portion", portion)][1] for portion in most if place[("portion", portion)][0] == part}
        its_fusion = {
            place[("centre", centre)][1]: state
            for centre, state in fusion.items()
            if place.get(("centre", centre), ("", ""))[0] == part
        }
        yield _Bone(part, knowledge.elements[part].sided, frozenset(its_most), its_fusion)


def _by_place(countable: Countable, knowledge: Knowledge) -> Countable:
    """What a site counts, with bones grown together taken apart."""
    found: dict[str, set[str]] = {}
    for element, portions in countable.items():
        for portion in portions:
            part, key = knowledge.place(element, portion)
            found.setdefault(part, set()).add(key)
    return found


def _together(pieces: list[Piece]) -> list[Piece]:
    """Those that fit together as one piece, bone by bone."""
    fits: dict[tuple[str, str, str], list[Piece]] = {}
    # One bone has one side, whatever animal and whichever of several bones each of its pieces was taken for.
    told: dict[tuple[str, str], set[str]] = {}
    found = []
    for one in pieces:
        if one.key.startswith("fit "):
            fits.setdefault((one.key, one.taxon, one.element), []).append(one)
            if one.side in _SIDES:
                told.setdefault((one.key, root(one.element)), set()).add(one.side)
        else:
            found.append(one)
    for (key, _, element), of_one in fits.items():
        sides = {one.side for one in of_one if one.side in _SIDES}
        is_told = len(sides) == len(told.get((key, root(element)), ())) == 1
        states: dict[str, set[str]] = {}
        for one in of_one:
            for centre, state in one.fusion.items():
                states.setdefault(centre, set()).add(UNFUSED if state == LOOSE else state)
        found.append(
            replace(
                of_one[0],
                side=sides.pop() if is_told else None,
                most=frozenset().union(*(one.most for one in of_one)),
                fusion={centre: told.pop() for centre, told in states.items() if len(told) == 1},
                teeth=tuple(tooth for one in of_one for tooth in one.teeth),
                shed=all(one.shed for one in of_one),
                examined=any(one.examined for one in of_one),
            )
        )
    return found
