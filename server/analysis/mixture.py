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
RESAMPLED = 400
SEED = 1
_STARTS = (0.15, 0.3, 0.5, 0.7, 0.85)
_ROUNDS = 1000
_STILL = 1e-9


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
    """

    n: int
    mean: float
    sd: float
    bic_one: float
    bic_two: float
    groups: tuple[Group, Group]
    low: tuple[Group, Group]
    high: tuple[Group, Group]

    @property
    def gain(self) -> float:
        """By how much two groups are better than one; below 0 one is better."""
        return self.bic_one - self.bic_two


def fitted(figures: Sequence[float]) -> Fitted:
    """The fit with its uncertainty, of at least LEAST figures that are not all the same. Raises ValueError."""
    if len(figures) < LEAST or len(set(figures)) < 2:
        raise ValueError("too few different figures for two groups")
    x = np.sort(np.asarray(figures, dtype=float))
    n, mean, sd = len(x), float(x.mean()), float(x.std())
    fits = [_fit(x[None, :], _start(x, at)) for at in _STARTS]
    best, likely = max(((parts, float(score[0])) for parts, score in fits), key=lambda one: one[1])
    one = float(-0.5 * n * (math.log(2 * math.pi * sd**2) + 1))
    # The figures drawn again and again from themselves; each fit starts from that of all.
    drawn = np.random.default_rng(SEED).choice(x, size=(RESAMPLED, n))
    parts, _ = _fit(drawn, np.repeat(best, RESAMPLED, axis=0))
    parts = np.where(parts[:, 1:2, :1] <= parts[:, 1:2, 1:], parts, parts[:, :, ::-1])
    low, high = np.percentile(parts, 2.5, axis=0), np.percentile(parts, 97.5, axis=0)
    best = best if best[0, 1, 0] <= best[0, 1, 1] else best[:, :, ::-1]
    return Fitted(
        n=n, mean=mean, sd=float(x.std(ddof=1)),
        bic_one=2 * math.log(n) - 2 * one, bic_two=5 * math.log(n) - 2 * likely,
        groups=_groups(best[0]), low=_groups(low), high=_groups(high),
    )  # fmt: skip


def _groups(parts: Array) -> tuple[Group, Group]:
    first, second = (Group(*(float(one) for one in parts[:, at])) for at in (0, 1))
    return first, second


def _start(x: Array, at: float) -> Array:
    """Shares, means and spreads if all below a place in the order were one group: an array (1, 3, 2)."""
    cut = min(max(round(at * len(x)), 2), len(x) - 2)
    halves = x[:cut], x[cut:]
    shares = [len(one) / len(x) for one in halves]
    return np.array([[shares, [one.mean() for one in halves], [one.std() or x.std() for one in halves]]])


def _fit(x: Array, parts: Array) -> tuple[Array, Array]:
    """Fits two groups to each row of x (m, n), from `parts` (m, 3, 2): shares, means, spreads. Gives both fit and
    logarithm of its likelihood."""
    least = NARROWEST * x.std(axis=1)[:, None]
    parts = parts.copy()
    parts[:, 2] = np.maximum(parts[:, 2], least)
    before = np.full(len(x), -np.inf)
    for _ in range(_ROUNDS):
        weighed = _densities(x, parts)
        together = weighed.sum(axis=2)
        likely = np.log(together).sum(axis=1)
        if np.all(np.abs(likely - before) < _STILL * x.shape[1]):
            break
        before = likely
        belongs = weighed / together[:, :, None]
        total = np.maximum(belongs.sum(axis=1), 1e-12)
        means = (belongs * x[:, :, None]).sum(axis=1) / total
        spread = np.sqrt((belongs * (x[:, :, None] - means[:, None, :]) ** 2).sum(axis=1) / total)
        parts = np.stack([total / x.shape[1], means, np.maximum(spread, least)], axis=1)
    return parts, np.log(_densities(x, parts).sum(axis=2)).sum(axis=1)


def _densities(x: Array, parts: Array) -> Array:
    """Share times density of each group at each figure: (m, n, 2)."""
    share, mean, sd = (parts[:, None, one, :] for one in range(3))
    found: Array = share * np.exp(-0.5 * ((x[:, :, None] - mean) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    return np.maximum(found, 1e-300)


def normal(x: float, group: Group) -> float:
    """A group's share of the density at x."""
    return group.share * math.exp(-0.5 * ((x - group.mean) / group.sd) ** 2) / (group.sd * math.sqrt(2 * math.pi))
