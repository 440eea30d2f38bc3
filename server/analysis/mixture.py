"""Two normal distributions in one heap of figures: the fit, how it compares with one, and how sure it is.

For: sizes whose two humps may be sexes or breeds. Not for: saying what they are. The fit is by expectation and
maximisation from several starts, with a spread of its own for each group; sklearn's is the same and checks it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST = 30
"""Of fewer figures nothing is said (project decision)."""
NARROWEST = 0.1
"""No group is narrower than this share of the spread of all: else it would close around a single figure."""
LONE = 5
"""A group of fewer figures than this is no group (project decision): one odd bone would be the best of them."""
RESAMPLED = 200
SEED = 1
_STARTS = (0.15, 0.3, 0.5, 0.7, 0.85)
_ROUNDS = 1000


@dataclass(frozen=True, slots=True)
class Group:
    """One of the two: its share of all, its middle and its spread."""

    share: float
    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """Both fits. `bic`: Bayesian information criterion, the smaller the better.

    low, high  of the groups, the smaller animals first: ends of the 95 % intervals of share, mean and spread
    fallen     of the RESAMPLED samples, those that had no two groups; they are not in the intervals
    """

    n: int
    mean: float
    sd: float
    bic_one: float
    bic_two: float
    groups: tuple[Group, Group]
    low: tuple[Group, Group]
    high: tuple[Group, Group]
    fallen: int

    @property
    def gain(self) -> float:
        """By how much two groups are better than one; below 0 one is better."""
        return self.bic_one - self.bic_two


def fitted(figures: Sequence[float]) -> Fitted | None:
    """The fit with its uncertainty, of at least LEAST figures that are not all the same (else ValueError); None where
    no two groups of LONE figures each are to be had."""
    if len(figures) < LEAST or len(set(figures)) < 2:
        raise ValueError("too few different figures for two groups")
    x = np.sort(np.asarray(figures, dtype=float))
    n, mean, sd = len(x), float(x.mean()), float(x.std())
    # Measured to a tenth, many figures are the same: each is worked with once, with how often it is there.
    values, times = np.unique(x, return_counts=True)
    fits = (_fit(values, times[None, :], _start(x, at)) for at in _STARTS)
    good = [(parts, float(score[0])) for parts, score in fits if _stands(parts, n)[0]]
    if not good:
        return None
    best, likely = max(good, key=lambda one: one[1])
    one = float(-0.5 * n * (math.log(2 * math.pi * sd**2) + 1))
    # The figures drawn again and again from themselves; each fit starts from that of all.
    drawn = np.random.default_rng(SEED).multinomial(n, times / n, size=RESAMPLED)
    parts, _ = _fit(values, drawn, np.repeat(best, RESAMPLED, axis=0), still=1e-6)
    stands = _stands(parts, n)
    if not stands.any():
        return None
    parts = _in_order(parts[stands])
    low, high = np.percentile(parts, 2.5, axis=0), np.percentile(parts, 97.5, axis=0)
    return Fitted(
        n=n, mean=mean, sd=float(x.std(ddof=1)),
        bic_one=2 * math.log(n) - 2 * one, bic_two=5 * math.log(n) - 2 * likely,
        groups=_groups(_in_order(best)[0]), low=_groups(low), high=_groups(high),
        fallen=RESAMPLED - int(stands.sum()),
    )  # fmt: skip


def _stands(parts: Array, n: int) -> NDArray[np.bool_]:
    """Whether both groups have LONE figures, for each fit."""
    found: NDArray[np.bool_] = parts[:, 0].min(axis=1) * n >= LONE
    return found


def _in_order(parts: Array) -> Array:
    """Each fit with the smaller animals first."""
    return np.where(parts[:, 1:2, :1] <= parts[:, 1:2, 1:], parts, parts[:, :, ::-1])


def _groups(parts: Array) -> tuple[Group, Group]:
    first, second = (Group(*(float(one) for one in parts[:, at])) for at in (0, 1))
    return first, second


def _start(x: Array, at: float) -> Array:
    """Shares, means and spreads if all below a place in the order were one group: an array (1, 3, 2)."""
    cut = min(max(round(at * len(x)), LONE), len(x) - LONE)
    halves = x[:cut], x[cut:]
    shares = [len(one) / len(x) for one in halves]
    return np.array([[shares, [one.mean() for one in halves], [one.std() or x.std() for one in halves]]])


def _fit(x: Array, times: NDArray[np.int64], parts: Array, still: float = 1e-9) -> tuple[Array, Array]:
    """Fits two groups to the figures x (k), each as many `times` as a row (m, k) says, from `parts` (m, 3, 2): shares,
    means, spreads. Gives both fit and logarithm of its likelihood. A row is done when a round gains it less than
    `still` a figure."""
    n = times.sum(axis=1)
    middle = (times * x).sum(axis=1) / n
    least = NARROWEST * np.sqrt((times * (x - middle[:, None]) ** 2).sum(axis=1) / n)[:, None]
    done = parts.copy()
    done[:, 2] = np.maximum(done[:, 2], least)
    before = np.full(len(times), -np.inf)
    open_ = np.arange(len(times))
    for _ in range(_ROUNDS):
        weighed = _densities(x[None, :], done[open_])
        together = weighed.sum(axis=2)
        likely = (times[open_] * np.log(together)).sum(axis=1)
        going = np.abs(likely - before[open_]) >= still * n[open_]
        before[open_] = likely
        if not going.any():
            break
        open_, belongs = open_[going], weighed[going] / together[going][:, :, None]
        belongs = belongs * times[open_][:, :, None]
        here, total = x[None, :, None], np.maximum(belongs.sum(axis=1), 1e-12)
        means = (belongs * here).sum(axis=1) / total
        spread = np.sqrt((belongs * (here - means[:, None, :]) ** 2).sum(axis=1) / total)
        done[open_] = np.stack([total / n[open_][:, None], means, np.maximum(spread, least[open_])], axis=1)
    return done, before


def _densities(x: Array, parts: Array) -> Array:
    """Share times density of each group at each figure: (m, n, 2)."""
    share, mean, sd = (parts[:, None, one, :] for one in range(3))
    found: Array = share * np.exp(-0.5 * ((x[:, :, None] - mean) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    return np.maximum(found, 1e-300)


def normal(x: float, group: Group) -> float:
    """A group's share of the density at x."""
    return group.share * math.exp(-0.5 * ((x - group.mean) / group.sd) ** 2) / (group.sd * math.sqrt(2 * math.pi))
