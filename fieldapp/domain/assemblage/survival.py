"""Age at death from evidence that only says between which ages an animal died: the survival curve and its bands.

For: the definitions, plain and slow. Turnbull's estimate (Turnbull 1976, J. R. Stat. Soc. B 38: 290-295, recalled) is
the curve under which what was found is most likely; it is found by his self-consistency, and what stands where it says
nothing is told as such. With exact ages and lower limits alone it is the curve of Kaplan and Meier.
Not for: where the limits come from (fusion, wear), speed (server.analysis computes the same with numpy), or a test of
whether two curves differ: none is made.

An animal that died *after* L and *by* R stands as (L, R]; stages that follow one another so have no age in common.
Where both limits are the same, they are that very age.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

OPEN = math.inf
"""An upper limit that there is not."""
ENOUGH = 1e-6
"""The estimate is taken as reached when no interval could gain more than this share (the gradient's condition)."""
MOST_ROUNDS = 20_000
NOTHING = 1e-4
"""A share below this is none: the estimate comes near to nought, and never reaches it."""
_AT, _BY, _AFTER = 0, 1, 2


@dataclass(frozen=True, slots=True, order=True)
class Interval:
    """Died after `low` months and by `high`; at that very age where both are the same."""

    low: float = 0.0
    high: float = OPEN

    @property
    def begins(self) -> tuple[float, int]:
        """Its beginning among all limits, in order: at an age, by an age, after an age."""
        return (self.low, _AT if self.low == self.high else _AFTER)

    @property
    def ends(self) -> tuple[float, int]:
        """Its end among all limits."""
        return (self.high, _BY)

    def holds(self, other: Interval) -> bool:
        """Whether the other lies within it."""
        return self.begins <= other.begins and other.ends <= self.ends


def common(intervals: Iterable[Interval]) -> Interval | None:
    """The ages that all of them allow; None where there is none. Two that only touch allow the age where they do: the
    published ages mean "about then". Nothing at all allows every age."""
    low, high = 0.0, OPEN
    for one in intervals:
        low, high = max(low, one.low), min(high, one.high)
    return Interval(low, high) if low <= high else None


def innermost(intervals: Iterable[Interval]) -> tuple[Interval, ...]:
    """The only ages at which deaths can make what was found more likely: from a beginning to an end with no limit
    between. Where in one of them the deaths lie, nothing found can tell; how many lie in each is told, by one estimate
    alone (of each the interval that ends it holds none after it, so no two sets of shares fit alike)."""
    limits = sorted({(one.begins, 0) for one in intervals} | {(one.ends, 1) for one in intervals})
    found = []
    for (first, beginning), (second, ending) in pairwise(limits):
        if not beginning and ending:
            found.append(Interval(first[0], second[0]))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Curve:
    """An estimate.

    n       how many died
    places  the innermost intervals, and shares: how much of all died in each
    rounds  how often the shares were worked out anew;  gap: what any interval could still gain, as a share;
            reached: whether that is little enough
    """

    n: float
    places: tuple[Interval, ...]
    shares: tuple[float, ...]
    rounds: int
    gap: float
    reached: bool

    def regions(self) -> tuple[Interval, ...]:
        """The ages at which the curve is not told, only that it falls from what it is before to what it is after."""
        held = zip(self.places, self.shares, strict=True)
        return tuple(place for place, share in held if share > NOTHING and place.low < place.high)

    def around(self, months: float) -> tuple[float, float]:
        """The ages before and after at which the curve is told: both the age itself where it is told there."""
        return next(((one.low, one.high) for one in self.regions() if one.low < months < one.high), (months, months))

    def told(self, months: float) -> bool:
        """Whether the curve is told at an age."""
        return self.around(months) == (months, months)

    def surviving(self, months: float) -> tuple[float, float]:
        """(least, most) that outlived an age: the same where the curve is told."""
        early, late = self.around(months)
        if early == late:
            return (height := least(self.places, self.shares, months)), height
        return least(self.places, self.shares, late), most(self.places, self.shares, early)


def least(places: Sequence[Interval], shares: Sequence[float], months: float) -> float:
    """How many surely outlived an age."""
    return min(1.0, sum(share for one, share in zip(places, shares, strict=True) if outlived(one, months)))


def most(places: Sequence[Interval], shares: Sequence[float], months: float) -> float:
    """How many may have outlived an age."""
    return min(1.0, sum(share for one, share in zip(places, shares, strict=True) if one.high > months))


def outlived(place: Interval, months: float) -> bool:
    """Whether all that died in it outlived the age."""
    return place.low >= months and place.begins > (months, _BY)


def turnbull(
    found: Mapping[Interval, float],
    places: Sequence[Interval] | None = None,
    rounds: int = MOST_ROUNDS,
    enough: float = ENOUGH,
) -> Curve:
    """The estimate for {interval: how many died in it}. `places`: the innermost intervals, if they are another
    sample's. No animal at all gives a curve of nothing."""
    died = {one: n for one, n in found.items() if n > 0}
    places = tuple(innermost(died) if places is None else places)
    n = sum(died.values())
    if not died:
        return Curve(0, places, (0.0,) * len(places), 0, 0.0, True)
    inside = [(times, [at for at, place in enumerate(places) if one.holds(place)]) for one, times in died.items()]
    shares = [1 / len(places)] * len(places)
    done, gap = 0, OPEN
    while done < rounds:
        gains = [0.0] * len(places)
        for times, within in inside:
            all_of_it = sum(shares[at] for at in within)
            for at in within:
                gains[at] += times / all_of_it
        gap = max(gains) / n - 1
        if gap <= enough:
            break
        shares = [share * gain / n for share, gain in zip(shares, gains, strict=True)]
        done += 1
    return Curve(n, places, tuple(shares), done, gap, gap <= enough)


def bounds(found: Mapping[Interval, int], months: float) -> tuple[float, float]:
    """(at least, at most) how many outlived an age, as shares of all, without any estimate: those that surely did, and
    those that may have. Nothing at all says nothing."""
    n = sum(found.values())
    if not n:
        return 0.0, 1.0
    surely = sum(times for one, times in found.items() if outlived(one, months))
    return surely / n, sum(times for one, times in found.items() if one.high > months) / n


@dataclass(frozen=True, slots=True)
class Band:
    """Between which the curve's least and most fell in the middle 95 of 100 drawings, at one age."""

    low: float
    high: float


def bands(
    drawings: Iterable[Mapping[Interval, float]], curve: Curve, ages: Sequence[float], enough: float
) -> list[Band]:
    """For each age by itself: the 2.5th of 100 of the least that outlived it, and the 97.5th of the most, of drawings
    of as many animals as there are, with return. Their deaths lie in the intervals of the curve of all animals, and
    what it does not tell they do not."""
    drawn = [turnbull(one, curve.places, MOST_ROUNDS, enough) for one in drawings]
    found = []
    for age in ages:
        early, late = curve.around(age)
        lows = [least(one.places, one.shares, late) for one in drawn]
        highs = [most(one.places, one.shares, early) for one in drawn]
        found.append(Band(quantile(lows, 0.025), quantile(highs, 0.975)))
    return found


def quantile(values: Sequence[float], share: float) -> float:
    """The value below which that share lies, straight between two neighbours."""
    order = sorted(values)
    at = share * (len(order) - 1)
    below = math.floor(at)
    above = min(below + 1, len(order) - 1)
    return order[below] + (order[above] - order[below]) * (at - below)
