"""MNE over columns, of many piles at once: the same figures as fieldapp.domain.assemblage.numbers, fast.

For: speed. What the figures mean, and every rule, is in domain.assemblage.numbers and .individuals; tests hold the two
together over random piles. Not for: tables as they are shown (counts).

How: pieces are summed once by unit, animal and element, with a column for each side and several portions packed into
each whole number (`Sums`). All else is worked out from these few rows. Where something counts once though it stands in
several rows (readings of one docket, pieces that fit under two names), those rows alone are summed by key first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce

import polars as pl

from fieldapp.domain import counting
from fieldapp.domain.assemblage.numbers import POOLS, is_pair
from server.analysis.frames import Frame

LEFT, RIGHT, MIDLINE, ALL = 1, 2, 3, 9
UNSIDED = 0
PLACE = ["unit", "taxon", "element"]

RANKS = 64
"""A figure and what decides it are one number, n * RANKS + rank, so that the largest says both. Of portions the first
by name ranks highest (63, 62 ...), then none of them (31), then the centres (30, 29 ...)."""
NONE_RANK, CENTRE_RANK = 31, 30
_PACKED_BITS = 21


@dataclass(frozen=True)
class Sums:
    """How many pieces have over half of each portion: columns `<side>_<n>`, each with `per` portions of `bits` bits.
    After the last portion comes the number of pieces itself."""

    width: int
    bits: int

    @classmethod
    def of(cls, width: int, largest: int) -> Sums:
        """Sums for so many portions, none of which comes to more than `largest`."""
        return cls(width, _PACKED_BITS if largest < 1 << _PACKED_BITS else 63)

    @property
    def per(self) -> int:
        return 63 // self.bits

    @property
    def columns(self) -> int:
        return -(-(self.width + 1) // self.per)

    def names(self, sides: Iterable[int] = (LEFT, RIGHT, MIDLINE, ALL)) -> list[str]:
        return [f"{side}_{n}" for side in sides for n in range(self.columns)]

    def packed(self, count: str = "count") -> list[pl.Expr]:
        """`n`: the pieces of a row, as they are summed."""
        found = []
        for n in range(self.columns):
            slots = [self._slot(n * self.per + at, count) * (1 << self.bits * at) for at in range(self.per)]
            found.append(reduce(lambda one, other: one + other, slots).alias(str(n)))
        return found

    def _slot(self, portion: int, count: str) -> pl.Expr:
        if portion == self.width:
            return pl.col(count)
        if portion > self.width:
            return pl.lit(0, pl.Int64)
        return (pl.col("most") & (1 << portion)).ne(0).cast(pl.Int64) * pl.col(count)

    def packed_of(self, columns: Sequence[str], side: int) -> list[pl.Expr]:
        """`<side>_<n>` of one column a portion, and of the pieces."""
        found = []
        for n in range(self.columns):
            slots = [
                pl.col(columns[n * self.per + at]) * (1 << self.bits * at)
                for at in range(self.per)
                if n * self.per + at <= self.width
            ]
            found.append(reduce(lambda one, other: one + other, slots).alias(f"{side}_{n}"))
        return found

    def unpacked(self, side: int, portion: int) -> pl.Expr:
        n, at = divmod(portion, self.per)
        return pl.col(f"{side}_{n}") // (1 << self.bits * at) & ((1 << self.bits) - 1)

    def pieces(self, side: int) -> pl.Expr:
        """How many pieces of a side."""
        return self.unpacked(side, self.width)

    def p(self, side: int) -> pl.Expr:
        """P of a side, with the portion that decides; 0 where there are none."""
        ranked = [self.unpacked(side, one) * RANKS + (RANKS - 1 - one) for one in range(self.width)]
        floor = pl.when(self.pieces(side) > 0).then(RANKS + NONE_RANK).otherwise(0)
        best = pl.max_horizontal(floor, *ranked)
        return pl.when(best < RANKS).then(0).otherwise(best)

    def n(self, side: int) -> pl.Expr:
        """P of a side, the number alone."""
        some = pl.when(self.pieces(side) > 0).then(1).otherwise(0)
        return pl.max_horizontal(some, *(self.unpacked(side, one) for one in range(self.width)))

    # Summing rows

    def by(self, rows: pl.DataFrame, by: Sequence[str], *, once: bool) -> pl.DataFrame:
        """The sums of rows by some columns. `once`: a key counts once in each, with the most that any row says."""
        return self._once(rows, by) if once else self._plain(rows, by)

    def _plain(self, rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        own = [str(n) for n in range(self.columns)]
        there = set(rows["side"].unique().to_list()) - {UNSIDED}
        sided = [
            (pl.col(n) * (pl.col("side") == side).cast(pl.Int64)).alias(f"{side}_{n}") for side in there for n in own
        ]
        summed = [pl.col(f"{side}_{n}").sum() for side in there for n in own]
        nothing = [pl.lit(0, pl.Int64).alias(f"{side}_{n}") for side in {LEFT, RIGHT, MIDLINE} - there for n in own]
        return (
            rows.lazy()
            .with_columns(self.packed())
            .with_columns(sided)
            .group_by(by)
            .agg(*summed, *(pl.col(n).sum().alias(f"{ALL}_{n}") for n in own))
            .with_columns(nothing)
            .select(*by, *self.names())
            .collect()
        )

    def _once(self, rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        slots = [f"slot{n}" for n in range(self.width + 1)]
        most = [self._slot(n, "count").max().alias(slot) for n, slot in enumerate(slots)]
        found = rows.select(by).unique()
        for side in (LEFT, RIGHT, MIDLINE, ALL):
            its = rows if side == ALL else rows.filter(pl.col("side") == side)
            summed = its.group_by(*by, "key").agg(most).group_by(by).agg(pl.col(slots).sum())
            found = found.join(summed.select(*by, *self.packed_of(slots, side)), on=by, how="left")
        return found.with_columns(pl.col(self.names()).fill_null(0)).select(*by, *self.names())

    def added(self, sums: pl.DataFrame, more: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
        """Sums with others added to the rows of the same place."""
        if more.is_empty():
            return sums
        places = more.select(by).unique()
        touched = pl.concat([sums.join(places, on=by, how="semi"), more.select(sums.columns)])
        return pl.concat(
            [sums.join(places, on=by, how="anti"), touched.group_by(by).agg(pl.col(self.names()).sum())]
        ).select(sums.columns)


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


def tree(frame: Frame) -> Tree:
    """The tree of a frame."""
    some = [one.select("unit", "taxon").unique() for one in (frame.low, frame.twice, frame.every)]
    present = pl.concat(some).unique()
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
        some = (self.frame.low, self.frame.twice, self.frame.every)
        return Sums.of(self.frame.width, max(int(one["count"].sum()) for one in some))

    @cached_property
    def tree(self) -> Tree:
        return self.given or tree(self.frame)

    # Rows under wider names

    def lifted(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Rows also under the wider names in which they are pooled."""
        more = rows.join(self.tree.lifts, on=["unit", "taxon"]).with_columns(taxon=pl.col("wider")).select(rows.columns)
        return self._pooled(pl.concat([rows, more]))

    def _pooled(self, rows: pl.DataFrame) -> pl.DataFrame:
        return pl.concat([rows, *self._finer_elements(rows)])

    def _finer_elements(self, rows: pl.DataFrame) -> list[pl.DataFrame]:
        found = []
        for wide, finer in self._pools:
            units = self._units_with(wide)
            if units:
                its = rows.filter(pl.col("element").is_in(finer), pl.col("unit").is_in(units))
                found.append(its.with_columns(element=pl.lit(wide, pl.UInt16)).select(rows.columns))
        return found

    @cached_property
    def _pools(self) -> list[tuple[int, list[int]]]:
        elements = self.frame.elements
        return [(elements.index(wide), [elements.index(one) for one in finer]) for wide, finer in POOLS.items()]

    def _units_with(self, element: int) -> list[int]:
        some = (self.frame.low, self.frame.twice, self.frame.every)
        return sorted({unit for one in some for unit in one.filter(pl.col("element") == element)["unit"].unique()})

    def summed(self, plain: pl.DataFrame, once: pl.DataFrame, more: Sequence[str] = ()) -> pl.DataFrame:
        """Sums by place, under all names, of rows that count as they stand and of such as count once a key."""
        by = [*PLACE, *more]
        found = []
        if not plain.is_empty():
            sums = self.sums.by(plain, by, once=False)
            lifts = sums.join(self.tree.lifts, on=["unit", "taxon"]).with_columns(taxon=pl.col("wider"))
            sums = self.sums.added(sums, lifts.select(sums.columns), by)
            for finer in self._finer_elements(sums):
                sums = self.sums.added(sums, finer, by)
            found.append(sums)
        if not once.is_empty():
            found.append(self.sums.by(self.lifted(once), by, once=True))
        if not found:
            return self.sums.by(plain, by, once=True)
        return pl.concat(found)

    def at_centres(self, plain: pl.DataFrame, once: pl.DataFrame, *, fusing: bool) -> pl.DataFrame:
        """Sums by place, centre and `state` ("fused", "unfused"). `fusing`: whether it counts as fused, or nowhere."""
        found = []
        for rows in (plain, once):
            parts = []
            for centre in range(self.frame.depth):
                bit = 1 << centre
                for state in ("fused", "unfused"):
                    has = (pl.col(state) & bit).ne(0)
                    if state == "fused" and not fusing:
                        has &= (pl.col("fusing") & bit).eq(0)
                    seen = pl.lit(centre, pl.UInt8).alias("centre"), pl.lit(state == "fused").alias("is_fused")
                    parts.append(rows.filter(has).with_columns(seen))
            empty = rows.clear().with_columns(pl.lit(0, pl.UInt8).alias("centre"), pl.lit(True).alias("is_fused"))
            found.append(pl.concat([empty, *parts]))
        return self.summed(found[0], found[1], ("centre", "is_fused"))

    # MNE

    @cached_property
    def places(self) -> pl.DataFrame:
        """Sums by place of what is sure."""
        return self.summed(self.frame.low, self.frame.twice)

    @cached_property
    def places_every(self) -> pl.DataFrame:
        return self.summed(self.frame.every.clear(), self.frame.every)

    @cached_property
    def pairs(self) -> list[int]:
        """Elements of which a left and a right may be found in one piece."""
        return [code for code, key in enumerate(self.frame.elements) if is_pair(key, self.frame.knowledge)]

    def _ones(self, places: pl.DataFrame, centres: pl.DataFrame) -> pl.DataFrame:
        """(place, left, right, whole, all): One of each, with what decides it."""
        sides = {"left": LEFT, "right": RIGHT, "whole": MIDLINE, "all": ALL}
        ones = places.select(
            *PLACE, pieces=self.sums.pieces(ALL), **{name: self.sums.p(of) for name, of in sides.items()}
        )
        if not centres.is_empty():
            numbers = centres.select(*PLACE, "centre", **{name: self.sums.n(of) for name, of in sides.items()})
            added = (
                numbers.group_by(*PLACE, "centre")
                .agg(pl.col(list(sides)).sum())
                .with_columns(pl.col(list(sides)) * RANKS + CENTRE_RANK - pl.col("centre").cast(pl.Int64))
                .group_by(PLACE)
                .agg(pl.col(list(sides)).max())
            )
            joined = ones.join(added, on=PLACE, how="left", suffix="_centre")
            larger = {
                name: pl.max_horizontal(name, pl.when(pl.col(f"{name}_centre") >= RANKS).then(f"{name}_centre"))
                for name in sides
            }
            ones = joined.with_columns(**larger).select(ones.columns)
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
            some = (self.frame.low, self.frame.twice, self.frame.every)
            own = pl.concat([one.filter(pl.col("element") == wide).select("unit", "taxon").unique() for one in some])
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
