"""MNE over columns, of many piles at once: the same figures as fieldapp.domain.assemblage.numbers, fast.

For: speed. What the figures mean, and every rule, is in domain.assemblage.numbers and .individuals; tests hold the two
together over random piles. Not for: tables as they are shown (counts).

How: pieces are summed once by unit, animal, element and side, with several portions packed into each whole number
(`Sums`). All else is worked out from these few rows. Where something counts once though it stands in
several rows (readings of one docket, pieces that fit under two names), those rows alone are summed by key first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from typing import Any

import polars as pl

from fieldapp.domain import counting
from fieldapp.domain.assemblage.bones import POOLS
from fieldapp.domain.assemblage.numbers import is_pair
from server.analysis.frames import PIECES, Frame

LEFT, RIGHT, MIDLINE, ALL = 1, 2, 3, 9
UNSIDED = 0
PLACE = ["unit", "taxon", "element"]

RANKS = 64
"""A figure and what decides it are one number, n * RANKS + rank, so that the largest says both. Of portions the first
by name ranks highest (63, 62 ...), then none of them (31), then the centres (30, 29 ...)."""
NONE_RANK, CENTRE_RANK = 31, 30
_PACKED_BITS = 21
ANIMAL = PLACE[:2]
_SIDED = ("left", "right", "whole")


@dataclass(frozen=True)
class Sums:
    """How many pieces have over half of each portion, by some columns and `side` (ALL for all of them together):
    columns "0", "1" ... with `per` portions of `bits` bits in each. After the last portion comes how many pieces."""

    width: int
    bits: int
    sizes: Mapping[str, int]

    @classmethod
    def of(cls, frame: Frame, largest: int) -> Sums:
        """Sums for the portions of a frame, none of which comes to more than `largest`."""
        sizes = {"taxon": len(frame.taxa), "element": len(frame.elements), "centre": 32, "is_fused": 2, "side": 16}
        return cls(frame.width, _PACKED_BITS if largest < 1 << _PACKED_BITS else 63, sizes)

    @property
    def per(self) -> int:
        return 63 // self.bits

    @property
    def names(self) -> list[str]:
        return [str(n) for n in range(-(-(self.width + 1) // self.per))]

    def _packed(self) -> list[pl.Expr]:
        slots = [self._slot(portion) for portion in range(self.width + 1)]
        return self._in_columns(slots)

    def _in_columns(self, slots: Sequence[pl.Expr]) -> list[pl.Expr]:
        found = []
        for n, name in enumerate(self.names):
            of_it = [one * (1 << self.bits * at) for at, one in enumerate(slots[n * self.per : (n + 1) * self.per])]
            found.append(reduce(lambda one, other: one + other, of_it).alias(name))
        return found

    def _slot(self, portion: int) -> pl.Expr:
        if portion == self.width:
            return pl.col("count")
        return (pl.col("most") & (1 << portion)).ne(0).cast(pl.Int64) * pl.col("count")

    def _unpacked(self, portion: int) -> pl.Expr:
        n, at = divmod(portion, self.per)
        return pl.col(str(n)) // (1 << self.bits * at) & ((1 << self.bits) - 1)

    @property
    def pieces(self) -> pl.Expr:
        """How many pieces."""
        return self._unpacked(self.width)

    @property
    def p(self) -> pl.Expr:
        """P, with the portion that decides."""
        ranked = [self._unpacked(one) * RANKS + (RANKS - 1 - one) for one in range(self.width)]
        return pl.max_horizontal(pl.lit(RANKS + NONE_RANK, pl.Int64), *ranked)

    @property
    def n(self) -> pl.Expr:
        """P, the number alone."""
        return pl.max_horizontal(pl.lit(1, pl.Int64), *(self._unpacked(one) for one in range(self.width)))

    # Summing rows. Several columns are put into one whole number to be grouped by: one is grouped by much sooner.

    def key(self, by: Sequence[str]) -> pl.Expr:
        """The columns as one number; the first may be as large as it will."""
        return reduce(lambda one, name: one * self.sizes[name] + pl.col(name), by[1:], pl.col(by[0]).cast(pl.UInt64))

    def parted(self, by: Sequence[str], key: str = "at") -> list[pl.Expr]:
        """The columns of such a number."""
        found, rest = [], pl.col(key)
        for name in reversed(by[1:]):
            found.append((rest % self.sizes[name]).cast(_TYPES[name]).alias(name))
            rest = rest // self.sizes[name]
        return [rest.cast(_TYPES[by[0]]).alias(by[0]), *reversed(found)]

    def plain(self, rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """Sums of rows by some columns and side, as they stand; without ALL."""
        by = [*by, "side"]
        summed = (
            rows.lazy().select(self.key(by).alias("at"), *self._packed()).group_by("at").agg(pl.col(self.names).sum())
        )
        return summed.select(*self.parted(by), *self.names).collect()

    def again(self, sums: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """Sums summed once more, where several rows are of one place."""
        by = [*by, "side"]
        summed = sums.lazy().select(self.key(by).alias("at"), *self.names).group_by("at").agg(pl.col(self.names).sum())
        return summed.select(*self.parted(by), *self.names).collect()

    def with_all(self, sums: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """Sums with those of all sides together, and without what has no side by itself."""
        together = self.again(sums.with_columns(side=pl.lit(ALL, pl.UInt8)), by)
        return pl.concat([sums.filter(pl.col("side") != UNSIDED), together])

    def once(self, rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """Sums of rows where a key counts once in each place, with the most that any row says; with ALL."""
        slots = [f"slot{n}" for n in range(self.width + 1)]
        most = [self._slot(n).max().alias(slot) for n, slot in enumerate(slots)]
        rows = pl.concat([rows.filter(pl.col("side") != UNSIDED), rows.with_columns(side=pl.lit(ALL, pl.UInt8))])
        places = [*by, "side"]
        summed = rows.group_by(*places, "key").agg(most).group_by(places).agg(pl.col(slots).sum())
        return summed.select(*places, *self._in_columns([pl.col(one) for one in slots]))


_TYPES: Mapping[str, Any] = {
    **{name: PIECES[name] for name in (*PLACE, "side")},
    "centre": pl.UInt8,
    "is_fused": pl.UInt8,
}


@dataclass(frozen=True)
class Tree:
    """Which animals take in which, unit by unit.

    lifts  (unit, taxon, wider): strictly wider ones in whose figures a taxon is pooled
    steps  (unit, taxon, wider) of those next above each other, a frame a depth, the finest first
    """

    lifts: pl.DataFrame
    steps: tuple[pl.DataFrame, ...]

    def parted(self, units: pl.DataFrame) -> Tree:
        """The same tree for parts of its units: (unit, whole)."""

        def of(rows: pl.DataFrame) -> pl.DataFrame:
            return units.join(rows.rename({"unit": "whole"}), on="whole").select("unit", "taxon", "wider")

        return Tree(of(self.lifts), tuple(of(step) for step in self.steps))

    def raised(self, values: pl.DataFrame, by: Sequence[str], rank: int) -> pl.DataFrame:
        """`value` (n * rank + what decides): the larger of a taxon's own and the sum of what is named more finely."""
        for step in self.steps:
            sums = (
                values.join(step, on=["unit", "taxon"])
                .group_by("unit", "wider", *by)
                .agg((pl.col("value") // rank).sum().alias("finer") * rank)
                .rename({"wider": "taxon"})
            )
            values = (
                values.join(sums, on=["unit", "taxon", *by], how="left")
                .with_columns(
                    pl.when(pl.col("finer") // rank > pl.col("value") // rank)
                    .then(pl.col("finer"))
                    .otherwise(pl.col("value"))
                    .alias("value")
                )
                .drop("finer")
            )
        return values


def _tree(frame: Frame, present: pl.DataFrame) -> Tree:
    """The tree of the animals (unit, taxon) of a frame."""
    knowledge, taxa = frame.knowledge, frame.taxa
    codes = present["taxon"].unique().to_list()
    pairs = [
        (code, wide, len(knowledge.taxa[taxa[wide]].broader))
        for code in codes
        for wide in codes
        if code != wide and knowledge.taxa[taxa[wide]].kind in counting.NAMED and knowledge.is_a(taxa[code], taxa[wide])
    ]
    schema = {"taxon": pl.UInt16, "wider": pl.UInt16, "depth": pl.UInt32}
    lifts = present.join(pl.DataFrame(pairs, schema=schema, orient="row"), on="taxon").join(
        present.rename({"taxon": "wider"}), on=["unit", "wider"], how="semi"
    )
    # Those above an animal lie above each other, so the one with the most above it is the next.
    nearest = lifts.sort("depth").group_by("unit", "taxon").last()
    steps = [
        nearest.filter(pl.col("depth") == depth).drop("depth") for depth in sorted(set(nearest["depth"]), reverse=True)
    ]
    return Tree(lifts.drop("depth"), tuple(steps))


@dataclass(frozen=True)
class Numbers:
    """The figures of a frame. `given`: its tree, where that is not what its own units tell."""

    frame: Frame
    given: Tree | None = None

    @cached_property
    def sums(self) -> Sums:
        """How sums of the frame are packed."""
        some = (self.frame.low, self.frame.twice, self.frame.every)
        return Sums.of(self.frame, max(int(one["count"].sum()) for one in some))

    @cached_property
    def _low(self) -> pl.DataFrame:
        """Sums of what counts as it stands, under its own names."""
        return self.sums.plain(self.frame.low, PLACE)

    @cached_property
    def _there(self) -> pl.DataFrame:
        """(unit, taxon, element) of all that is there, under its own names."""
        some = (self._low, self.frame.twice, self.frame.every)
        at = pl.concat([one.select(self.sums.key(PLACE).alias("at")).unique() for one in some]).unique()
        return at.select(self.sums.parted(PLACE))

    @cached_property
    def tree(self) -> Tree:
        return self.given or _tree(self.frame, self._there.select(ANIMAL).unique())

    # Rows under wider names

    def lifted(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Rows also under the wider names in which they are pooled."""
        more = rows.join(self.tree.lifts, on=["unit", "taxon"]).with_columns(taxon=pl.col("wider"))
        rows = pl.concat([rows, more.select(rows.columns)])
        found = [rows]
        for wide, finer in self._pools:
            if units := self._units_with(wide):
                its = rows.filter(pl.col("element").is_in(finer), pl.col("unit").is_in(units))
                found.append(its.with_columns(element=pl.lit(wide, pl.UInt16)))
        return pl.concat(found)

    @cached_property
    def _pools(self) -> list[tuple[int, list[int]]]:
        elements = self.frame.elements
        return [(elements.index(wide), [elements.index(one) for one in finer]) for wide, finer in POOLS.items()]

    def _units_with(self, element: int) -> list[int]:
        return self._there.filter(pl.col("element") == element)["unit"].unique().to_list()

    def summed(self, plain: pl.DataFrame, once: pl.DataFrame, more: Sequence[str] = ()) -> pl.DataFrame:
        """(place, side, p, pieces), under all names, of rows that count as they stand and of such as count once a key.
        `p`: P as n * RANKS + the rank of the portion that decides, where nothing `more` is summed by."""
        by = [*PLACE, *more]
        return self._summed(self.sums.plain(plain, by), once, by)

    def _summed(self, sums: pl.DataFrame, once: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        sums = self.lifted(sums)
        # Only what takes others in has several rows now.
        taxa, elements = self.tree.lifts["wider"].unique().implode(), [wide for wide, _ in self._pools]
        takes_in = pl.col("taxon").is_in(taxa) | pl.col("element").is_in(elements)
        sums = pl.concat([sums.filter(~takes_in), self.sums.again(sums.filter(takes_in), by)])
        found = pl.concat([self.sums.with_all(sums, by), self.sums.once(self.lifted(once), by)])
        p = self.sums.p if by == PLACE else self.sums.n * RANKS
        return found.select(*by, "side", p=p, pieces=self.sums.pieces)

    def at_centres(self, plain: pl.DataFrame, once: pl.DataFrame, *, fusing: bool) -> pl.DataFrame:
        """Sums by place, centre and `state` ("fused", "unfused"). `fusing`: whether it counts as fused, or nowhere."""
        found = []
        # Only what is summed is carried along: the rows are gone through once for each centre and state.
        wanted = [*PLACE, "side", "key", "count", "most"]
        for rows in (plain, once):
            parts = []
            for centre in range(self.frame.depth):
                bit = 1 << centre
                for state in ("fused", "unfused"):
                    has = (pl.col(state) & bit).ne(0)
                    if state == "fused" and not fusing:
                        has &= (pl.col("fusing") & bit).eq(0)
                    seen = (
                        pl.lit(centre, pl.UInt8).alias("centre"),
                        pl.lit(int(state == "fused"), pl.UInt8).alias("is_fused"),
                    )
                    parts.append(rows.lazy().filter(has).select(*wanted, *seen))
            empty = rows.clear().lazy().select(*wanted, centre=pl.lit(0, pl.UInt8), is_fused=pl.lit(0, pl.UInt8))
            found.append(pl.concat([empty, *parts]).collect())
        return self.summed(found[0], found[1], ("centre", "is_fused"))

    # MNE

    @cached_property
    def places(self) -> pl.DataFrame:
        """Sums by place of what is sure."""
        return self._summed(self._low, self.frame.twice, PLACE)

    @cached_property
    def places_every(self) -> pl.DataFrame:
        return self.summed(self.frame.every.clear(), self.frame.every)

    @cached_property
    def pairs(self) -> list[int]:
        """Elements of which a left and a right may be found in one piece."""
        return [code for code, key in enumerate(self.frame.elements) if is_pair(key, self.frame.knowledge)]

    def _ones(self, places: pl.DataFrame, centres: pl.DataFrame) -> pl.DataFrame:
        """(place, left, right, whole, all): One of each, with what decides it."""
        sums, by = self.sums, [*PLACE, "side"]
        found = [places.lazy().select(sums.key(by).alias("at"), "pieces", code="p")]
        if not centres.is_empty():
            by_centre = [*by, "centre"]
            added = (
                centres.lazy()
                .select(sums.key(by_centre).alias("at"), code=pl.col("p") // RANKS)
                .group_by("at")
                .agg(pl.col("code").sum())
                .select(
                    at=pl.col("at") // sums.sizes["centre"],
                    pieces=pl.lit(0, pl.Int64),
                    code=pl.col("code") * RANKS + CENTRE_RANK - (pl.col("at") % sums.sizes["centre"]).cast(pl.Int64),
                )
            )
            found.append(added)
        side = pl.col("at") % sums.sizes["side"]

        def of(which: int, what: str = "code") -> pl.Expr:
            return pl.when(side == which).then(what).otherwise(0)

        ones = (
            pl.concat(found)
            .select(
                at=pl.col("at") // sums.sizes["side"], pieces=of(ALL, "pieces"), all=of(ALL),
                left=of(LEFT), right=of(RIGHT), whole=of(MIDLINE),
            )
            .group_by("at")
            .agg(pl.all().max())
            .select(*sums.parted(PLACE), "pieces", "all", *_SIDED)
            .collect()
        )  # fmt: skip
        whole = pl.when(pl.col("element").is_in(self.pairs)).then("whole").otherwise(0)
        return ones.with_columns(whole=whole).with_columns(
            value=pl.max_horizontal(
                pl.col("left") // RANKS + pl.col("right") // RANKS, pl.col("all") // RANKS, pl.col("whole") // RANKS * 2
            )
        )

    def _mne(self, ones: pl.DataFrame) -> pl.DataFrame:
        values = ones.select(*PLACE, "value")
        teeth = [
            code for code, key in enumerate(self.frame.elements) if self.frame.knowledge.elements[key].kind == "tooth"
        ]
        values = values.filter(~pl.col("element").is_in(teeth))
        for step in (*self.tree.steps, None):
            for wide, finer in self._pools:
                sums = (
                    values.filter(pl.col("element").is_in(finer))
                    .group_by("unit", "taxon")
                    .agg(pl.col("value").sum().alias("finer"))
                    .with_columns(element=pl.lit(wide, pl.UInt16))
                )
                values = (
                    values.join(sums, on=PLACE, how="left")
                    .with_columns(value=pl.max_horizontal("value", "finer"))
                    .drop("finer")
                )
            if step is not None:
                values = Tree(step, (step,)).raised(values, ["element"], 1)
        return values

    @cached_property
    def mne(self) -> pl.DataFrame:
        """(unit, taxon, element, low, high, left, right, whole, all, pieces), with One as n * RANKS + rank, of every
        place where any reading is."""
        frame = self.frame
        ones = self._ones(self.places, self.at_centres(frame.low, frame.twice, fusing=True))
        found = self._mne(ones).rename({"value": "low"}).join(ones.drop("value"), on=PLACE)
        if frame.every.is_empty():
            return self._recorded(found.with_columns(high="low"))
        every = frame.every
        high = self._mne(self._ones(self.places_every, self.at_centres(every.clear(), every, fusing=True)))
        pairs = pl.col("element").is_in(self.pairs) & (pl.col("side") == MIDLINE)
        worth = every.with_columns(count=pl.col("count") * pl.when(pairs).then(2).otherwise(1))
        open_to = self.open_to(self.lifted(worth), PLACE)
        return self._recorded(ranged(found, high.rename({"value": "naive"}), open_to, PLACE))

    def _recorded(self, found: pl.DataFrame) -> pl.DataFrame:
        """Without places that are only there to be pooled further."""
        for wide, _ in self._pools:
            own = self._there.filter(pl.col("element") == wide).select(ANIMAL)
            more = own.join(self.tree.lifts, on=["unit", "taxon"]).select("unit", taxon="wider")
            there = pl.concat([own, more]).unique().with_columns(element=pl.lit(wide, pl.UInt16))
            is_wide = pl.col("element") == wide
            found = pl.concat([found.filter(~is_wide), found.filter(is_wide).join(there, on=PLACE, how="semi")])
        return found

    @staticmethod
    def open_to(rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """How many pieces are not sure, by place, each key once."""
        unsure = rows.filter(~pl.col("sure")).group_by(*by, "key").agg(pl.col("count").max())
        return unsure.group_by(by).agg(pl.col("count").sum().alias("open"))


def ranged(low: pl.DataFrame, naive: pl.DataFrame, open_to: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """`low` with `high`: as fieldapp.domain.assemblage.numbers.ranged."""
    found = low.join(naive, on=by, how="full", coalesce=True).join(open_to, on=by, how="left")
    numbers = [name for name in (*low.columns, "naive", "open") if name not in by]
    found = found.with_columns(pl.col(numbers).fill_null(0))
    high = pl.max_horizontal("low", pl.min_horizontal("naive", pl.col("low") + pl.col("open")))
    return found.with_columns(high=high).drop("naive", "open")
