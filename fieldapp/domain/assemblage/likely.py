"""How many animals there were, from lefts, rights and the pairs that somebody has matched: Lincoln-Petersen, Chapman.

For: the estimate of animals before bone was lost, for one element of one animal, with its interval. Not for: minimum
numbers (numbers, individuals), or finding pairs: bones are matched by a specialist, a pair at a time, never by this.

With L lefts, R rights and P pairs among them:

- *Lincoln-Petersen* L R / P (from memory).
- *Chapman's form* (L + 1)(R + 1) / (P + 1) - 1, which is less biased where pairs are few; rounded down it is the most
  likely number of individuals, MLNI (Adams & Konigsberg 2004; the rounding from memory).
- its standard deviation after Seber 1970 (from memory): the root of
  (L + 1)(R + 1)(L - P)(R - P) / ((P + 1)^2 (P + 2)).
- *the interval*: every number of animals of which P pairs are not too unlikely, when L of the lefts and R of the rights
  were kept by chance (hypergeometric, each tail at half of what is left of the level).

They ask that every bone could be matched and that each true pair was: of worn, broken or many bones that is seldom so,
and then the figure is too high. Where no pairs are recorded nothing is estimated: none recorded is not none there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from fieldapp.domain.assemblage.specimens import DOCKET, Specimen


def lincoln_petersen(left: int, right: int, pairs: int) -> float | None:
    """L R / P; None without pairs."""
    return left * right / pairs if pairs else None


def chapman(left: int, right: int, pairs: int) -> float:
    """(L + 1)(R + 1) / (P + 1) - 1."""
    return (left + 1) * (right + 1) / (pairs + 1) - 1


def mlni(left: int, right: int, pairs: int) -> int:
    """The most likely number of individuals: Chapman's form rounded down."""
    return (left + 1) * (right + 1) // (pairs + 1) - 1


def deviation(left: int, right: int, pairs: int) -> float:
    """The standard deviation of Chapman's form."""
    above = (left + 1) * (right + 1) * (left - pairs) * (right - pairs)
    return math.sqrt(above / ((pairs + 1) ** 2 * (pairs + 2)))


def interval(left: int, right: int, pairs: int, level: float = 0.95) -> tuple[int, int] | None:
    """The least and the largest number of animals with which so many pairs go together; None without pairs, as then
    no number is too large."""
    if not 0 < pairs <= min(left, right):
        return None
    tail, least = (1 - level) / 2 + 1e-9, left + right - pairs  # a hair more: what is just as unlikely is out

    def too_few(animals: int) -> bool:  # so few pairs would be unlikely
        return sum(_chance(animals, left, right, one) for one in range(pairs + 1)) <= tail

    def too_many(animals: int) -> bool:  # so many pairs would be unlikely
        return 1 - sum(_chance(animals, left, right, one) for one in range(pairs)) <= tail

    low = least
    while too_few(low):
        low += 1
    below, above = low, 2 * low
    while not too_many(above):
        below, above = above, 2 * above
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (below, middle) if too_many(middle) else (middle, above)
    return low, below


def _chance(animals: int, left: int, right: int, pairs: int) -> float:
    """How likely so many pairs are, if `left` and `right` of that many animals were kept."""
    if not (pairs <= left and pairs <= right and right - pairs <= animals - left):
        return 0.0
    found = _log_choose(left, pairs) + _log_choose(animals - left, right - pairs) - _log_choose(animals, right)
    return math.exp(found)


def _log_choose(of: int, take: int) -> float:
    return math.lgamma(of + 1) - math.lgamma(take + 1) - math.lgamma(of - take + 1)


def matched(specimens: Iterable[Specimen]) -> dict[tuple[str, str], list[tuple[str, str]]]:
    """{(animal, element): (left, right) of each pair that somebody has matched}, by the ids of the records.

    A pair is a left and a right of one element and one animal, both surely read so and one bone each, of one body. A
    body with several of a side of one element matches none of them: it does not say which belongs to which. Labels of
    one bone, and pieces that fit, are one, of which the first stands for all.
    """
    sides: dict[tuple[str, str, str], dict[str, dict[str, str]]] = {}
    for one in specimens:
        if not (one.kind == DOCKET and one.sure and one.count == 1 and one.side in ("left", "right")):
            continue
        if one.group and one.taxon and one.element:
            bones = sides.setdefault((one.taxon, one.element, one.group), {}).setdefault(one.side, {})
            bones.setdefault(one.fitted or one.bone or one.id, one.id)
    found: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for (taxon, element, _), by_side in sides.items():
        lefts, rights = (list(by_side.get(side, {}).values()) for side in ("left", "right"))
        if len(lefts) == len(rights) == 1:
            found.setdefault((taxon, element), []).append((lefts[0], rights[0]))
    return found
