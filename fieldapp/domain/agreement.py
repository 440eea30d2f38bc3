"""Agreement between two readings of the same bones: how often, how far beyond chance, and how near in millimetres.

Each pair is a bone's values {path: value} as the first and as the second reader wrote them. Of every field:

- a pair counts where both said something; where only one did, it is `one_only` and counts nowhere else;
- a difference of *precision* (sheep, sheep/goat; left, unsided: domain.readings) is neither agreement nor conflict. It
  is counted apart, and `agreement` and kappa are of the rest. `strict` is the share of the same among all pairs;
- kappa is Cohen's (1960), its standard error the large-sample one of Fleiss, Cohen & Everitt (1969), the interval
  kappa -+ 1.96 standard errors, cut off at -1 and 1. Chance is taken from both readers' own totals; nothing is
  weighted. Where both used one and the same word for every bone kappa is undefined, and is None. Where not one pair
  differs, or all do of one, the standard error comes out as nought: then there is no interval.

Portions and centres are compared where both named the same element: all states of all bones together as `portions` and
`fusion` (several of one bone, so that their intervals are too narrow), each by itself as `portions/<element>/<key>`.
A measurement is compared where both took it on the same element, once, and neither estimated it. Its technical error
is the square root of the sum of the squared differences over 2n, the relative one that in per cent of the mean of all
2n values (Anthropometry, Apparel Sizing and Design, p. 34, eq. 2.2; the percentage: anthrocheckr, vignette TEM).
Not here: who is right, and which bones are read a second time (domain.draws).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import fsum, sqrt
from typing import Any, Literal, NamedTuple

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.readings import differences

Z95 = 1.959963984540054
"""Of the standard normal distribution, for an interval of 95 %."""

SINGLE = ("element", "side", "taxon", "certainty", "position", "sex", "age", "texture")
"""Fields of a reading that are compared."""
PARTS = ("portions", "fusion")
PLAIN = (
    "material", "burning", "burn_colour", "weathering", "preservation", "roots", "staining", "breaks", "digestion",
    "antler_base",
)  # fmt: skip
"""Paths that hold a word each, or a stage in numbers, and are compared."""
THERE = ("mark", "pathology")
"""Paths of items of which it is compared whether there is one of a kind: "mark/cut" says yes or no."""
NUMBERS = ("count", "weight_g", "longest_mm")
FLAT = frozenset({"certainty", "count"})
"""Fields in which one word is not the coarser of another here: cf. and certain are two answers to one question."""

Values = Mapping[str, Any]
Table = Mapping[tuple[str, str], int]
"""{(what the first said, what the second said): how many}."""
Said = Literal["same", "precision", "conflict", "one_only"]
YES, NO = "yes", "no"


class Kappa(NamedTuple):
    """Cohen's kappa. `kappa`, `se`, `low` and `high` are None where they are not defined."""

    n: int
    observed: float
    expected: float
    kappa: float | None
    se: float | None
    low: float | None
    high: float | None


@dataclass
class Field:
    """How two readers compare in one field.

    table      of the pairs that are the same or in conflict: what kappa is of
    precision  of the pairs that differ in precision
    one_only   pairs in which only one said anything
    """

    name: str
    table: Counter[tuple[str, str]] = field(default_factory=Counter)
    precision: Counter[tuple[str, str]] = field(default_factory=Counter)
    one_only: int = 0

    @property
    def same(self) -> int:
        """Pairs that are the same."""
        return sum(n for (a, b), n in self.table.items() if a == b)

    @property
    def conflict(self) -> int:
        """Pairs that contradict each other."""
        return self.table.total() - self.same

    @property
    def both(self) -> int:
        """Pairs in which both said something."""
        return self.table.total() + self.precision.total()

    @property
    def agreement(self) -> float | None:
        """The share of the same where nothing differs in precision; None where there is nothing to share."""
        return self.same / self.table.total() if self.table else None

    @property
    def strict(self) -> float | None:
        """The share of the same among all pairs: what differs in precision counts as different."""
        return self.same / self.both if self.both else None

    @property
    def kappa(self) -> Kappa | None:
        """Kappa over `table`; None where that is empty."""
        return kappa(self.table) if self.table else None

    @property
    def words(self) -> tuple[str, ...]:
        """Every word of the table, for its rows and columns."""
        return tuple(sorted({word for pair in self.table for word in pair}))

    @property
    def confusions(self) -> list[tuple[str, str, int]]:
        """(first, second, how many) of what was taken for what, the commonest first."""
        found = [(a, b, n) for (a, b), n in self.table.items() if a != b]
        return sorted(found, key=lambda one: (-one[2], one[0], one[1]))


class Measured(NamedTuple):
    """How two readers compare in one measurement, second less first; `relative` in per cent, None without a mean."""

    name: str
    n: int
    mean: float
    difference: float
    error: float
    relative: float | None


@dataclass
class Agreement:
    """All of it.

    n          pairs
    fields     {name: Field}, without those of which neither ever said anything
    measures   {name: Measured}
    differing  {key of the pair: {field: how it differs}}; differences of numbers are not among them
    """

    n: int
    fields: dict[str, Field]
    measures: dict[str, Measured]
    differing: dict[str, dict[str, Said]]


def kappa(table: Table) -> Kappa:
    """Cohen's kappa of a table that is not empty."""
    n = sum(table.values())
    if n < 1:
        raise ValueError("kappa of nothing")
    words = sorted({word for pair in table for word in pair})
    share = {pair: count / n for pair, count in table.items()}
    first = {one: fsum(p for (a, _), p in share.items() if a == one) for one in words}
    second = {one: fsum(p for (_, b), p in share.items() if b == one) for one in words}
    seen = fsum(share.get((one, one), 0.0) for one in words)
    chance = fsum(first[one] * second[one] for one in words)
    if len(words) == 1:
        return Kappa(n, seen, 1.0, None, None, None, None)
    found = (seen - chance) / (1 - chance)
    agreed = fsum(
        share.get((one, one), 0.0) * ((1 - chance) - (first[one] + second[one]) * (1 - seen)) ** 2 for one in words
    )
    # Off the diagonal each word meets the other reader's total of it.
    crossed = fsum(p * (second[a] + first[b]) ** 2 for (a, b), p in share.items() if a != b) * (1 - seen) ** 2
    inner = agreed + crossed - (seen * chance - 2 * chance + seen) ** 2
    error = sqrt(max(0.0, inner) / n) / (1 - chance) ** 2
    # What is left of terms that cancel is no spread: one of the readers said one word throughout, or all is the same.
    if inner < 1e-12:
        return Kappa(n, seen, chance, found, 0.0, None, None)
    low, high = max(-1.0, found - Z95 * error), min(1.0, found + Z95 * error)
    return Kappa(n, seen, chance, found, error, low, high)


def measured(name: str, pairs: Iterable[tuple[float, float]]) -> Measured:
    """Mean difference and technical error of at least one pair of numbers."""
    both = list(pairs)
    n = len(both)
    mean = fsum(value for pair in both for value in pair) / (2 * n)
    error = sqrt(fsum((b - a) ** 2 for a, b in both) / (2 * n))
    return Measured(name, n, mean, fsum(b - a for a, b in both) / n, error, 100 * error / mean if mean > 0 else None)


def agreement(pairs: Mapping[str, tuple[Values, Values]], knowledge: Knowledge) -> Agreement:
    """How the first and the second reader of these bones agree. Any values, never an error."""
    found = _Counted(knowledge)
    kinds = sorted({kind for pair in pairs.values() for values in pair for kind in _kinds(values)})
    for key, (first, second) in pairs.items():
        found.reading(key, _part(first, "reading"), _part(second, "reading"))
        for path in PLAIN:
            found.word(key, path, first.get(path), second.get(path))
        for kind in kinds:
            one, other = (YES if kind in _kinds(values) else NO for values in (first, second))
            found.count(key, kind, one, other)
        found.teeth(key, first, second)
        for path in NUMBERS:
            found.number(path, first.get(path), second.get(path))
    return Agreement(
        len(pairs),
        {name: one for name, one in found.fields.items() if one.both or one.one_only},
        {name: measured(name, numbers) for name, numbers in found.numbers.items()},
        found.differing,
    )


class _Counted:
    """What has been counted so far."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.fields: dict[str, Field] = {name: Field(name) for name in (*SINGLE, *PARTS, *PLAIN)}
        self.numbers: dict[str, list[tuple[float, float]]] = {}
        self.differing: dict[str, dict[str, Said]] = {}

    def reading(self, key: str, first: Values, second: Values) -> None:
        for name in SINGLE:
            self.word(key, name, first.get(name), second.get(name))
        element = first.get("element")
        if not isinstance(element, str) or element != second.get("element"):
            return
        for name in PARTS:
            one, other = _part(first, name), _part(second, name)
            for part in (*one, *(part for part in other if part not in one)):
                verdict = self._verdict(name, {name: {part: one.get(part)}}, {name: {part: other.get(part)}})
                for where in (name, f"{name}/{element}/{part}"):
                    self.count(key, where, _word(one.get(part)), _word(other.get(part)), verdict)

    def word(self, key: str, name: str, first: Any, second: Any) -> None:
        flat = name in FLAT or name not in SINGLE
        verdict = "" if flat else self._verdict(name, {name: first}, {name: second})
        self.count(key, name, _word(first), _word(second), verdict)

    def count(self, key: str, name: str, first: str, second: str, verdict: str = "") -> None:
        """`verdict`: as the readings are compared, "" where words are the same or not."""
        if not first and not second:
            return
        counted = self.fields.setdefault(name, Field(name))
        how: Said = "same" if first == second else "conflict"
        if not first or not second:
            counted.one_only += 1
            how = "one_only"
        elif verdict == "precision":
            counted.precision[first, second] += 1
            how = "precision"
        else:
            counted.table[first, second] += 1
        # What is counted bone by bone, not once more for all portions together.
        if how != "same" and name not in PARTS:
            self.differing.setdefault(key, {})[name] = how

    def _verdict(self, name: str, first: Values, second: Values) -> str:
        return next(iter(differences(first, second, self.knowledge).values()), "same")

    def teeth(self, key: str, first: Values, second: Values) -> None:
        """Wear by one scheme, and how far a tooth had come, of the teeth that both found once; what was measured."""
        one, other = _teeth(first), _teeth(second)
        for place in sorted(one.keys() & other.keys()):
            a, b = one[place], other[place]
            self.count(key, "tooth_stage", _word(a.get("stage")), _word(b.get("stage")))
            if (scheme := _word(a.get("scheme"))) and scheme == _word(b.get("scheme")):
                self.count(key, f"tooth_wear/{scheme}", _word(a.get("wear")), _word(b.get("wear")))
        element = _word(_part(first, "reading").get("element"))
        if element and element == _word(_part(second, "reading").get("element")):
            taken, again = _measures(first), _measures(second)
            for code in sorted(taken.keys() & again.keys()):
                self.number(f"measure/{element}/{code}", taken[code], again[code])

    def number(self, name: str, first: Any, second: Any) -> None:
        if _is_number(first) and _is_number(second):
            self.numbers.setdefault(name, []).append((float(first), float(second)))


def _part(values: Values, name: str) -> Values:
    found = values.get(name)
    return found if isinstance(found, Mapping) else {}


def _word(value: Any) -> str:
    """A value as a word of a table; "" for one that says nothing, and for what is no word."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        return ""
    return "" if value == "not_examined" else str(value)


def _is_number(value: Any) -> bool:
    # Past that it is no measurement, and its square would be no number.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15


def _items(values: Values, head: str) -> list[Values]:
    return [one for path, one in values.items() if path.startswith(head + "/") and isinstance(one, Mapping)]


def _kinds(values: Values) -> set[str]:
    """Which kinds of marks and of unhealthy bone are there: "mark/cut"."""
    return {f"{head}/{kind}" for head in THERE for one in _items(values, head) if (kind := _word(one.get("kind")))}


def _teeth(values: Values) -> dict[tuple[str, str, str], Values]:
    """{(tooth, jaw, side): item} of those that are there once."""
    found: dict[tuple[str, str, str], list[Values]] = {}
    for one in _items(values, "tooth"):
        place = (_word(one.get("tooth")), _word(one.get("jaw")), _word(one.get("side")))
        found.setdefault(place, []).append(one)
    return {place: many[0] for place, many in found.items() if len(many) == 1 and place[0]}


def _measures(values: Values) -> dict[str, float]:
    """{code: mm} of those that were taken once and not estimated."""
    found: dict[str, list[float]] = {}
    for one in _items(values, "measure"):
        if (code := _word(one.get("code"))) and _is_number(one.get("mm")) and one.get("estimated") is not True:
            found.setdefault(code, []).append(one["mm"])
    return {code: many[0] for code, many in found.items() if len(many) == 1}
