"""MNI over columns: what server.analysis.numbers is to elements, to individuals.

For: speed. What the figures mean, and every rule, is in fieldapp.domain.assemblage.individuals; tests hold the two
together over random piles. Not for: tables as they are shown (counts).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

import polars as pl

from fieldapp.domain.assemblage import individuals as plain
from fieldapp.domain.assemblage.numbers import is_pair, pools
from server.analysis.frames import JAWS, Frame
from server.analysis.numbers import ALL, ANIMAL, LEFT, MIDLINE, PLACE, RANKS, RIGHT, Numbers, ranged

MNI_RANKS = 1 << 20
"""An MNI and what decides it are one number, n * MNI_RANKS + rank: elements before teeth, in the order of their tables;
0 where nothing does, or the sum of finer names (then n is over 1)."""
_ROWS = [(jaw, side) for jaw in ("lower", "upper", "") for side in (*plain.SIDES, "")]
_SIDE_NAMES = {ALL: "", LEFT: "left", RIGHT: "right", MIDLINE: "midline"}


@dataclass(frozen=True)
class Animals:
    """The MNI of a frame."""

    numbers: Numbers

    @property
    def frame(self) -> Frame:
        return self.numbers.frame

    @cached_property
    def _teeth_first(self) -> int:
        """The rank of the first tooth: below every element."""
        return len(_ROWS) * len(self.frame.knowledge.teeth.teeth)

    def decides(self, code: int) -> plain.Decides:
        """What a figure says."""
        n, rank = divmod(code, MNI_RANKS)
        if not rank:
            return plain.Decides(n, "finer") if n > 1 else plain.Decides(n)
        if rank > self._teeth_first:
            element, side = divmod(rank - self._teeth_first - 1, 4)
            return plain.Decides(n, "element", self.frame.elements[-1 - element], [*_SIDE_NAMES.values()][3 - side])
        row, tooth = divmod(self._teeth_first - rank, len(self.frame.knowledge.teeth.teeth))
        return plain.Decides(n, "tooth", [*self.frame.knowledge.teeth.teeth][tooth], _ROWS[row][1])

    # Bones

    def _per_skeleton(self, places: pl.DataFrame) -> pl.DataFrame:
        """(taxon, element, k, sided, paired) of the places of named animals, as far as they can tell of animals."""
        frame, found = self.frame, []
        for code, at in places.select("taxon", "element").unique().iter_rows():
            taxon, element = frame.taxa[code], frame.elements[at]
            row = frame.knowledge.elements[element]
            if pools(taxon, frame.knowledge) and row.kind != "tooth":
                k = plain.per_skeleton(taxon, element, frame.knowledge)
                found.append((code, at, k, row.sided and k is not None, is_pair(element, frame.knowledge)))
        schema = {"taxon": pl.UInt16, "element": pl.UInt16, "k": pl.Int64, "sided": pl.Boolean, "paired": pl.Boolean}
        return pl.DataFrame(found, schema=schema, orient="row")

    def of_bones(self, places: pl.DataFrame, more: Sequence[str] = ()) -> pl.DataFrame:
        """(place, value): MNI of each element and side, and of all sides together."""
        n, last = pl.col("p") // RANKS, len(self.frame.elements) - 1
        side, k = pl.col("side"), pl.col("k")
        a_row = pl.when(side == ALL).then(k).otherwise((k + 1) // 2)
        counts = (side == ALL) | (pl.col("sided") & (pl.col("paired") | (side != MIDLINE)))
        animals = pl.when(k.is_null()).then(1).otherwise((n + a_row - 1) // a_row)
        order = pl.when(side == ALL).then(3).otherwise(3 - side.cast(pl.Int64))
        rank = self._teeth_first + 1 + (last - pl.col("element").cast(pl.Int64)) * 4 + order
        return (
            places.join(self._per_skeleton(places), on=["taxon", "element"])
            .filter(counts)
            .select(*PLACE, *more, value=animals * MNI_RANKS + rank)
        )

    def _carcasses(self, places: pl.DataFrame, low: pl.DataFrame, once: pl.DataFrame) -> pl.DataFrame:
        """Sums by place without antlers that may have been shed."""
        antler = pl.col("element") == self.frame.elements.index("antler")
        if low.filter("shed").is_empty() and once.filter("shed").is_empty():
            return places
        kept = antler & ~pl.col("shed")
        return pl.concat([places.filter(~antler), self.numbers.summed(low.filter(kept), once.filter(kept))])

    # Teeth

    def of_teeth(self, teeth: pl.DataFrame) -> pl.DataFrame:
        """(unit, taxon, value): MNI of teeth: of those that are there, or of their places in jaws."""
        # Where no place is empty, places in jaws are some of the teeth, and never more.
        bare = teeth.filter(~pl.col("there")).select("unit").unique()
        places = teeth.filter("place").join(bare, on="unit", how="semi")
        found = pl.concat([self._of_rows(teeth.filter("there")), self._of_rows(places)])
        return found.group_by("unit", "taxon").agg(pl.col("value").max())

    def _of_rows(self, teeth: pl.DataFrame) -> pl.DataFrame:
        if teeth.is_empty():
            return teeth.select("unit", "taxon", value=pl.lit(0, pl.Int64))
        place = ["unit", "taxon", "key", "jaw", "side", "tooth", "worn"]
        more = teeth.join(self.numbers.tree.lifts, on=["unit", "taxon"]).with_columns(taxon=pl.col("wider"))
        found = pl.concat([teeth, more.select(teeth.columns)]).group_by(place).agg(pl.col("count").max())
        found = self._together(self._together(found, "jaw", []), "side", ["jaw"])
        # A row of teeth, and a name in it, as one number: one column is grouped by much sooner than five.
        of, many = self.numbers.sums, len(self.frame.knowledge.teeth.teeth)
        at = ((of.key(ANIMAL) * 3 + pl.col("jaw")) * 4 + pl.col("side")) * many
        found = found.select("key", "tooth", "worn", "count", at=at)
        named = found.join(self._names, on="tooth").with_columns(row=pl.col("at") + pl.col("name"))
        named = named.join(self._called(found), on="row", how="semi")
        milk, fourth = pl.col("tooth") == self._tooth("dP4"), pl.col("tooth") == self._tooth("P4")

        counted = ("all", "milk", "worn", "fourth")
        count = pl.col("count")
        each = (
            named.select(
                "row", "key", all=count, milk=count * milk, worn=count * (fourth & pl.col("worn")),
                fourth=count * fourth,
            )
            .group_by("row", "key")
            # How many teeth of a piece, no more than an animal has room for.
            .agg(pl.col(counted).sum(), pl.col(counted).max().name.suffix("_most"))
            .with_columns(kind=pl.col("row") % (len(self.frame.taxa) * 12 * many))
        )  # fmt: skip
        each = each.join(self._in_rows(each), on="kind").with_columns(
            pl.min_horizontal(name, pl.col("room") * pl.col(f"{name}_most")).alias(name) for name in counted
        )
        is_worn = (pl.col("worn") > 0) & (pl.col("milk") == 0)
        sums = (
            each.select(
                "row", "room", "rank", "all", "milk",
                worn=pl.col("worn") * is_worn, unworn=pl.col("fourth") * ~is_worn,
            )
            .group_by("row")
            .agg(pl.col("room", "rank").first(), pl.col("all", "milk", "worn", "unworn").sum())
        )  # fmt: skip
        n = (
            pl.when(pl.col("row") % many == self._tooth("P4"))
            .then(pl.col("worn") + pl.max_horizontal("milk", "unworn"))
            .otherwise("all")
        )
        value = (n + pl.col("room") - 1) // pl.col("room") * MNI_RANKS + pl.col("rank")
        return (
            sums.group_by(at=pl.col("row") // (12 * many))
            .agg(value.max().alias("value"))
            .select(*of.parted(ANIMAL), "value")
        )

    @staticmethod
    def _together(found: pl.DataFrame, what: str, by: list[str]) -> pl.DataFrame:
        """Each row of teeth also as one of all together, where some do not say theirs."""
        unsaid = found.filter(pl.col(what) == 0).select("unit", "taxon", *by).unique()
        others = found.filter(pl.col(what) != 0).join(unsaid, on=["unit", "taxon", *by], how="semi")
        return pl.concat([found, others.with_columns(pl.lit(0, pl.UInt8).alias(what))])

    def _tooth(self, key: str) -> int:
        return [*self.frame.knowledge.teeth.teeth].index(key)

    @cached_property
    def _names(self) -> pl.DataFrame:
        """(tooth, name): by which names a tooth counts: its place, and every wider name. dP4 stands at place 4."""
        teeth = self.frame.knowledge.teeth
        keys = [*teeth.teeth]
        found = [
            (n, at)
            for n, key in enumerate(keys)
            for at, name in enumerate(keys)
            if (teeth.is_a(key, name) if teeth.teeth[name].place is None else name == ("P4" if key == "dP4" else key))
        ]
        return pl.DataFrame(found, schema={"tooth": pl.UInt8, "name": pl.UInt8}, orient="row")

    def _called(self, found: pl.DataFrame) -> pl.DataFrame:
        """(row): the names that are looked at in each row: places, and wider names by which any tooth is called."""
        there = found.select(row=pl.col("at") + pl.col("tooth")).unique()
        tooth, milk, fourth = (
            pl.col("row") % len(self.frame.knowledge.teeth.teeth),
            self._tooth("dP4"),
            self._tooth("P4"),
        )
        own = self._names.filter(pl.col("tooth") == pl.col("name"))["name"].implode()
        at_fourth = there.filter(tooth == milk).select(pl.col("row") - milk + fourth)
        return pl.concat([there.filter(tooth.is_in(own)), at_fourth]).unique()

    def _in_rows(self, each: pl.DataFrame) -> pl.DataFrame:
        """(kind, room, rank): how many of a name a row of an animal has room for, and where it ranks."""
        knowledge, keys = self.frame.knowledge, [*self.frame.knowledge.teeth.teeth]
        found = []
        for (kind,) in each.select("kind").unique().iter_rows():
            of, name = divmod(kind, len(keys))
            taxon, (jaw, side) = of // 12, divmod(of % 12, 4)
            where = JAWS[jaw], _SIDE_NAMES.get(side, "")
            room = plain.in_rows(self.frame.taxa[taxon], keys[name], *where, knowledge)
            found.append((kind, room, self._teeth_first - _ROWS.index(where) * len(keys) - name))
        return pl.DataFrame(found, schema={"kind": pl.UInt64, "room": pl.Int64, "rank": pl.Int64}, orient="row")

    # Animals

    def of_all(self, places: pl.DataFrame, carcasses: pl.DataFrame, teeth: pl.DataFrame) -> pl.DataFrame:
        """(unit, taxon, value): MNI of all pieces as of one kind, without the sum of finer names."""
        named = [code for code, key in enumerate(self.frame.taxa) if pools(key, self.frame.knowledge)]
        there = places.select("unit", "taxon").unique().filter(pl.col("taxon").is_in(named))
        parts = [
            there.with_columns(value=pl.lit(MNI_RANKS, pl.Int64)),
            self.of_bones(carcasses).select("unit", "taxon", "value"),
            teeth.select("unit", "taxon", "value").join(there, on=["unit", "taxon"], how="semi"),
        ]
        return pl.concat(parts).group_by("unit", "taxon").agg(pl.col("value").max())

    @cached_property
    def _own(self) -> pl.DataFrame:
        frame, places = self.frame, self.numbers.places
        return self.of_all(
            places,
            self._carcasses(places, frame.low, frame.twice),
            self.of_teeth(pl.concat([frame.low_teeth, frame.twice_teeth])),
        )

    @cached_property
    def _own_every(self) -> pl.DataFrame:
        every, places = self.frame.every, self.numbers.places_every
        teeth = self.of_teeth(self.frame.every_teeth)
        return self.of_all(places, self._carcasses(places, every.clear(), every), teeth)

    @cached_property
    def mni(self) -> pl.DataFrame:
        """(unit, taxon, low, high, decides): `decides` as n * MNI_RANKS + rank."""
        found = self.numbers.tree.raised(self._own, [], MNI_RANKS)
        found = found.select("unit", "taxon", low=pl.col("value") // MNI_RANKS, decides="value")
        if self.frame.every.is_empty():
            return found.with_columns(high="low")
        high = self.numbers.tree.raised(self._own_every, [], MNI_RANKS)
        return self._with_high(found, high.with_columns(pl.col("value") // MNI_RANKS))

    def _with_high(self, low: pl.DataFrame, high: pl.DataFrame) -> pl.DataFrame:
        by = ["unit", "taxon"]
        pairs = pl.col("element").is_in(self.numbers.pairs) & (pl.col("side") == MIDLINE)
        every = self.frame.every.with_columns(count=pl.col("count") * pl.when(pairs).then(2).otherwise(1))
        open_to = Numbers.open_to(self.numbers.lifted(every), by)
        return ranged(low, high.select(*by, naive="value"), open_to, by)

    # Age

    @cached_property
    def aged(self) -> pl.DataFrame:
        """(unit, taxon, low, high): age-refined."""
        frame = self.frame
        low = self._aged(self._own, frame.low, frame.twice, frame.low_teeth, frame.twice_teeth)
        low = low.select("unit", "taxon", low="value")
        if frame.every.is_empty():
            return low.with_columns(high="low")
        nothing = frame.every.clear(), frame.every_teeth.clear()
        high = self._aged(self._own_every, nothing[0], frame.every, nothing[1], frame.every_teeth)
        return self._with_high(low, high)

    def _aged(
        self, own: pl.DataFrame, low: pl.DataFrame, once: pl.DataFrame, teeth: pl.DataFrame, teeth_once: pl.DataFrame
    ) -> pl.DataFrame:
        own = own.with_columns(pl.col("value") // MNI_RANKS)
        by_age = self._by_age(own, low, once, teeth, teeth_once)
        bones = self.of_bones(self.numbers.at_centres(low, once, fusing=False), ["centre", "is_fused"])
        by_centre = (
            bones.group_by(*PLACE, "centre", "is_fused")
            .agg((pl.col("value") // MNI_RANKS).max())
            .group_by(*PLACE, "centre")
            .agg(pl.col("value").sum())
            .group_by("unit", "taxon")
            .agg(pl.col("value").max())
        )
        parts = [one.select("unit", "taxon", "value") for one in (own, by_age, by_centre)]
        values = pl.concat(parts).group_by("unit", "taxon").agg(pl.col("value").max())
        return self.numbers.tree.raised(values, [], 1)

    def _by_age(
        self, own: pl.DataFrame, low: pl.DataFrame, once: pl.DataFrame, teeth: pl.DataFrame, teeth_once: pl.DataFrame
    ) -> pl.DataFrame:
        """The largest sum over classes of age: each class of each unit is counted as a unit of its own."""
        aged = pl.concat([low, once]).filter(pl.col("upto") < inf)
        cuts = [-inf, *sorted(aged["upto"].unique().to_list()), inf]
        last = len(cuts) - 1
        classes = [(i, j) for i in range(last) for j in range(i + 1, last + 1) if (i, j) != (0, last)]
        if not classes:
            return own
        ranges = pl.concat([one.select("least", "upto") for one in (low, once, teeth, teeth_once)]).unique()
        within = pl.DataFrame(
            [
                (least, upto, n)
                for least, upto in ranges.iter_rows()
                for n, (i, j) in enumerate(classes)
                if (least > cuts[i] or not i) and upto <= cuts[j]
            ],
            schema={"least": pl.Float64, "upto": pl.Float64, "class": pl.UInt32},
            orient="row",
        )

        def parted(rows: pl.DataFrame) -> pl.DataFrame:
            unit = pl.col("unit") * len(classes) + pl.col("class")
            return rows.join(within, on=["least", "upto"]).with_columns(unit=unit).select(rows.columns)

        parts = [parted(one) for one in (low, once, teeth, teeth_once)]
        frame = self.frame
        # Animals are pooled as they are in the whole unit, whether or not the wider name is in a class.
        there = pl.concat([one.select("unit") for one in parts[:2]]).unique()
        given = self.numbers.tree.parted(there.with_columns(whole=pl.col("unit") // len(classes)))
        of_classes = Frame(
            frame.knowledge, parts[0], parts[2], parts[1], parts[3], parts[1].clear(), parts[3].clear(),
            frame.portions, frame.centres,
        )  # fmt: skip
        each = Animals(Numbers(of_classes, given))
        by_class = each._own.with_columns(
            pl.col("value") // MNI_RANKS, n=pl.col("unit") % len(classes), unit=pl.col("unit") // len(classes)
        )
        found: dict[tuple[int, int], dict[tuple[int, int], int]] = {}
        for unit, taxon, value, n in by_class.select("unit", "taxon", "value", "n").iter_rows():
            found.setdefault((unit, taxon), {})[classes[n]] = value
        largest = []
        for unit, taxon, whole in own.select("unit", "taxon", "value").iter_rows():
            of = found.get((unit, taxon), {})
            best = [0] * len(cuts)
            for j in range(1, last + 1):
                best[j] = max(best[i] + of.get((i, j), 0) for i in range(j))
            largest.append((unit, taxon, max(whole, best[last])))
        return pl.DataFrame(largest, schema=dict(own.select("unit", "taxon", "value").schema), orient="row")
