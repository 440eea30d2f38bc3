"""Curves of survival with numpy: Turnbull's estimate and hundreds of drawings of it, all worked out side by side.

For: speed. What is worked out is fieldapp.domain.assemblage.survival's, and a test holds the two together. Not for:
where the intervals come from, or what stands in a table (ages_survival).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldapp.domain.assemblage import survival
from fieldapp.domain.assemblage.survival import Band, Curve, Interval

DRAWINGS = 200
SEED = 20_611
"""Fixed, so that the same bones give the same band."""
ENOUGH_DRAWN = 1e-3
"""How near a drawing's estimate has to come: a thousandth of a share is no line's breadth."""
MOST_ROUNDS_DRAWN = 2_000

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """A curve and its drawings. `drawn`: the shares of each; open: how many drawings did not come near enough."""

    curve: Curve
    drawn: Array
    open: int

    def bands(self, ages: Sequence[float]) -> list[Band]:
        """The band at each age by itself; [] without drawings."""
        if not len(self.drawn) or not len(ages):
            return []
        around = [self.curve.around(age) for age in ages]
        outlived = np.array([[survival.outlived(one, late) for one in self.curve.places] for _, late in around])
        may_have = np.array([[one.high > early for one in self.curve.places] for early, _ in around])
        lows = np.quantile(np.minimum(1.0, self.drawn @ outlived.T), 0.025, axis=0)
        highs = np.quantile(np.minimum(1.0, self.drawn @ may_have.T), 0.975, axis=0)
        return [Band(float(low), float(high)) for low, high in zip(lows, highs, strict=True)]


def fitted(found: Mapping[Interval, int], drawings: int = DRAWINGS, seed: int = SEED) -> Fitted:
    """The estimate of {interval: how many died in it}, and of so many drawings of as many animals from them."""
    kinds = sorted(one for one, n in found.items() if n > 0)
    places = survival.innermost(kinds)
    if not kinds:
        return Fitted(survival.turnbull({}), np.zeros((0, 0)), 0)
    times = np.array([found[one] for one in kinds], dtype=float)
    inside = np.array([[float(one.holds(place)) for place in places] for one in kinds])
    shares, rounds, gaps = estimated(times[None, :], inside, survival.ENOUGH, survival.MOST_ROUNDS)
    own = tuple(float(one) for one in shares[0])
    gap = float(gaps[0])
    curve = Curve(float(times.sum()), places, own, rounds, gap, gap <= survival.ENOUGH)
    n = int(times.sum())
    drawn = np.random.default_rng(seed).multinomial(n, times / n, size=drawings).astype(float)
    shares, _, gaps = estimated(drawn, inside, ENOUGH_DRAWN, MOST_ROUNDS_DRAWN)
    return Fitted(curve, shares, int((gaps > ENOUGH_DRAWN).sum()))


def estimated(times: Array, inside: Array, enough: float, rounds: int) -> tuple[Array, int, Array]:
    """(shares of each row, rounds, gaps) for rows of how many died in each kind of interval; `inside`: whether each
    kind (row) holds each place (column)."""
    rows, places = len(times), inside.shape[1]
    shares, gaps = np.full((rows, places), 1 / places), np.full(rows, np.inf)
    n = times.sum(axis=1, keepdims=True)
    active, done = np.arange(rows), 0
    while True:
        here = shares[active]
        all_of_it = here @ inside.T
        own = times[active]
        gains = (np.divide(own, all_of_it, out=np.zeros_like(own), where=own > 0) @ inside) / n[active]
        gaps[active] = gains.max(axis=1) - 1
        going = gaps[active] > enough
        if done >= rounds or not going.any():
            return shares, done, gaps
        active = active[going]
        shares[active] = here[going] * gains[going]
        done += 1
