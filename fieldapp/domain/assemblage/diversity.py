"""How many sorts of animals there are, and how evenly: richness, rarefaction, Shannon, Simpson, evenness.

For: the figures of a list of counts, one a sort, that do not hold one another (shares.counted_as). Not for: which
counts (the caller's), speed, or what people ate: these figures grow with how much was dug, sieved and identified.

- *Richness* S: how many sorts are there.
- *Rarefaction*: how many sorts a smaller sample of the same pile would be expected to hold, drawn without putting back
  (Hurlbert 1971; variance after Heck, van Belle & Simberloff 1975; both from memory, held against every draw there is).
- *Shannon* H = -sum p log p; its base (e, 2 or 10) is always said, as figures to different bases are not alike.
- *Pielou's evenness* J = H / log S: 1 if all are equally frequent. None for a single sort.
- *Simpson* 1 - D and 1 / D with D = sum p squared; (1 / D) / S is its evenness.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

BASES = {"e": math.e, "2": 2.0, "10": 10.0}


def richness(counts: Sequence[int]) -> int:
    """How many sorts there are."""
    return sum(one > 0 for one in counts)


def shannon(counts: Sequence[int], base: float = math.e) -> float | None:
    """Shannon's figure to a base; None of nothing."""
    whole = sum(counts)
    if not whole:
        return None
    return sum(-(one / whole) * math.log(one / whole, base) for one in counts if one) + 0.0


def evenness(counts: Sequence[int]) -> float | None:
    """Pielou's J; None where there is but one sort. It is the same to every base."""
    figure, sorts = shannon(counts), richness(counts)
    return figure / math.log(sorts) if figure is not None and sorts > 1 else None


def dominance(counts: Sequence[int]) -> float | None:
    """Simpson's D: how likely two draws, the first put back, are of one sort; None of nothing."""
    whole = sum(counts)
    return sum(one * one for one in counts) / (whole * whole) if whole else None


def simpson(counts: Sequence[int]) -> float | None:
    """1 - D."""
    found = dominance(counts)
    return None if found is None else 1 - found


def inverse_simpson(counts: Sequence[int]) -> float | None:
    """1 / D: how many equally frequent sorts would give the same."""
    found = dominance(counts)
    return None if found is None else 1 / found


def simpson_evenness(counts: Sequence[int]) -> float | None:
    """(1 / D) / S."""
    found = inverse_simpson(counts)
    return None if found is None else found / richness(counts)


def rarefied(counts: Sequence[int], size: int) -> tuple[Fraction, Fraction]:
    """How many sorts a draw of `size` is expected to hold, and the variance of that, exactly.

    A sort is missing from the draw as often as all of it is drawn from the others. Raises ValueError for a draw larger
    than the pile.
    """
    whole = sum(counts)
    if not 0 <= size <= whole:
        raise ValueError(f"{size} cannot be drawn from {whole}")
    draws = math.comb(whole, size)
    there = [one for one in counts if one > 0]

    def missing(*gone: int) -> Fraction:
        return Fraction(math.comb(whole - sum(gone), size), draws)

    expected = sum((1 - missing(one) for one in there), Fraction(0))
    variance = sum((missing(one) * (1 - missing(one)) for one in there), Fraction(0))
    for at, one in enumerate(there):
        for other in there[at + 1 :]:
            variance += 2 * (missing(one, other) - missing(one) * missing(other))
    return expected, variance
