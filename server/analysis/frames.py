"""Pieces of bone as columns: one frame of many piles, for counting them all at once.

For: what server.analysis.counts computes over. A portion is a bit of its element's `most`, a centre a bit of `fused`,
`unfused` and `fusing`; which bits, the frame says (`portions`, `centres`). Not for: what a piece is
(fieldapp.domain.assemblage.bones), or any figure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from typing import Any

import polars as pl

from fieldapp.domain.assemblage.bones import FUSED, FUSING, LOOSE, UNFUSED, Piece, Pile, root
from fieldapp.domain.assemblage.individuals import is_place, is_there, is_worn, months, row_of
from fieldapp.domain.knowledge import Knowledge

SIDES = {"left": 1, "right": 2, "midline": 3}
ALL = 9
JAWS = ("", "lower", "upper")

PIECES: Mapping[str, Any] = {
    "unit": pl.UInt32, "key": pl.UInt32, "taxon": pl.UInt16, "element": pl.UInt16, "side": pl.UInt8,
    "count": pl.Int64, "sure": pl.Boolean, "most": pl.UInt32, "fused": pl.UInt32, "unfused": pl.UInt32,
    "fusing": pl.UInt32, "shed": pl.Boolean, "least": pl.Float64, "upto": pl.Float64,
}  # fmt: skip
"""Columns of pieces. `fused` has those that are fused or fusing, `fusing` the latter; `least` and `upto` are months."""
TEETH: Mapping[str, Any] = {
    "unit": pl.UInt32, "key": pl.UInt32, "taxon": pl.UInt16, "jaw": pl.UInt8, "side": pl.UInt8, "tooth": pl.UInt8,
    "worn": pl.Boolean, "there": pl.Boolean, "place": pl.Boolean, "count": pl.Int64, "sure": pl.Boolean,
    "least": pl.Float64, "upto": pl.Float64,
}  # fmt: skip
"""Columns of teeth, one row a tooth in a piece: whether it is `there`, and whether its `place` in a jaw is."""


@dataclass(frozen=True)
class Frame:
    """Piles as columns. Units are numbers from 0; taxa, elements and teeth the places in their tables.

    low, low_teeth      what is sure, where each key counts once wherever it stands
    twice, twice_teeth  what is sure of the units where some key stands more than once in one place
    every, every_teeth  each reading, of the units where any is not sure
    portions, centres   {element that others are pooled in, or itself: its portions or centres by bit}
    """

    knowledge: Knowledge
    low: pl.DataFrame
    low_teeth: pl.DataFrame
    twice: pl.DataFrame
    twice_teeth: pl.DataFrame
    every: pl.DataFrame
    every_teeth: pl.DataFrame
    portions: Mapping[str, tuple[str, ...]]
    centres: Mapping[str, tuple[str, ...]]

    @cached_property
    def taxa(self) -> tuple[str, ...]:
        return tuple(self.knowledge.taxa)

    @cached_property
    def elements(self) -> tuple[str, ...]:
        return tuple(self.knowledge.elements)

    @cached_property
    def width(self) -> int:
        """How many portions an element has at most."""
        return max((len(portions) for portions in self.portions.values()), default=0)

    @cached_property
    def depth(self) -> int:
        """How many centres an element has at most."""
        return max((len(centres) for centres in self.centres.values()), default=0)


def frame(piles: Sequence[Pile], knowledge: Knowledge) -> Frame:
    """The frame of piles; the unit of each is its place among them."""
    portions, centres = _names(piles)
    code = _Codes(knowledge, portions, centres)
    low, twice, every = _Rows(code), _Rows(code), _Rows(code)
    for unit, pile in enumerate(piles):
        places = {(one.key, "" if one.teeth else root(one.element)) for one in pile.low}
        (twice if len(places) < len(pile.low) else low).add(unit, pile.low)
        if any(not one.sure for one in pile.every):
            every.add(unit, pile.every)
    return Frame(knowledge, *low.frames(), *twice.frames(), *every.frames(), portions, centres)


_Names = dict[str, tuple[str, ...]]


def _names(piles: Sequence[Pile]) -> tuple[_Names, _Names]:
    """The portions and the centres of each element. What is low has none that no reading has."""
    portions = {(one.element, one.most) for pile in piles for one in pile.every}
    centres = {(one.element, frozenset(one.fusion)) for pile in piles for one in pile.every if one.fusion}
    return _by_root(portions), _by_root(centres)


def _by_root(found: Iterable[tuple[str, frozenset[str]]]) -> _Names:
    names: dict[str, set[str]] = {}
    for element, some in found:
        if some:
            names.setdefault(root(element), set()).update(some)
    return {element: tuple(sorted(some)) for element, some in names.items()}


class _Codes:
    def __init__(
        self, knowledge: Knowledge, portions: Mapping[str, tuple[str, ...]], centres: Mapping[str, tuple[str, ...]]
    ) -> None:
        self.knowledge = knowledge
        self.taxa = {key: n for n, key in enumerate(knowledge.taxa)}
        self.elements = {key: n for n, key in enumerate(knowledge.elements)}
        self.teeth = {key: n for n, key in enumerate(knowledge.teeth.teeth)}
        self.portions = {(element, key): 1 << n for element, keys in portions.items() for n, key in enumerate(keys)}
        self.centres = {(element, key): 1 << n for element, keys in centres.items() for n, key in enumerate(keys)}
        self._fusion: dict[tuple[Any, ...], tuple[int, int, int, float, float]] = {}
        self._most: dict[tuple[str, frozenset[str]], int] = {}

    def most(self, one: Piece) -> int:
        """The portions of a piece as bits."""
        place = one.element, one.most
        found = self._most.get(place)
        if found is None:
            of = root(one.element)
            self._most[place] = found = sum(self.portions[of, portion] for portion in one.most)
        return found

    def fusion(self, one: Piece) -> tuple[int, int, int, float, float]:
        """(fused, unfused, fusing, least, upto) of a piece."""
        place = one.taxon, one.element, *one.fusion.items()
        found = self._fusion.get(place)
        if found is None:
            of, states = root(one.element), {FUSED: 0, FUSING: 0, UNFUSED: 0}
            for centre, state in one.fusion.items():
                states[UNFUSED if state == LOOSE else state] |= self.centres[of, centre]
            fusing = states[FUSING]
            found = states[FUSED] | fusing, states[UNFUSED], fusing, *months(one, self.knowledge)
            self._fusion[place] = found
        return found


_UNSEEN = (0, 0, 0, -inf, inf)


class _Rows:
    """Rows of pieces and of teeth, gathered one by one."""

    def __init__(self, code: _Codes) -> None:
        self._code = code
        self._pieces: list[tuple[Any, ...]] = []
        self._teeth: list[tuple[Any, ...]] = []
        self._keys: dict[str, int] = {}

    def add(self, unit: int, pieces: Iterable[Piece]) -> None:
        code = self._code
        for one in pieces:
            key = self._keys.setdefault(one.key, len(self._keys))
            taxon, side = code.taxa[one.taxon], SIDES.get(one.side or "", 0)
            fused, unfused, fusing, least, upto = code.fusion(one) if one.fusion else _UNSEEN
            self._pieces.append(
                (
                    unit, key, taxon, code.elements[one.element], side, one.count, one.sure, code.most(one),
                    fused, unfused, fusing, one.shed, least, upto,
                )
            )  # fmt: skip
            if not one.teeth:
                continue
            teeth = {
                (
                    row_of(one, tooth, code.knowledge), code.teeth[tooth.tooth], is_worn(tooth, code.knowledge),
                    is_there(one, tooth, code.knowledge), is_place(one, tooth, code.knowledge),
                )
                for tooth in one.teeth
                if tooth.tooth in code.teeth
            }  # fmt: skip
            for (jaw, its_side), *more in sorted(teeth):
                place = (JAWS.index(jaw), SIDES.get(its_side, 0), *more)
                self._teeth.append((unit, key, taxon, *place, one.count, one.sure, least, upto))

    def frames(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        return (
            pl.DataFrame(self._pieces, schema=dict(PIECES), orient="row"),
            pl.DataFrame(self._teeth, schema=dict(TEETH), orient="row"),
        )
