"""Sizes: which measurements count, what they come to, and how one bone stands to a standard.

For: the plain definitions behind every table of sizes. Not for: withers height (withers), densities, mixtures and
whatever else takes a library (server.analysis), or whether a figure is plausible for its animal (domain.measures).

Adopted here (common practice, no source, where nothing else is said):

- A *value* is one figure of one bone whose animal and element are named. A bone that is read in several ways which
  differ in animal, element or growth, or that some have deleted and others not, gives none; one bone under two labels,
  or in pieces that fit (unless asked for singly), gives each measurement once.
- The *same measurement taken twice* on one bone counts as the mean of both where they differ by no more than two
  people's hands do (the table of tolerances), else not at all; so does one of which two people say two figures. Of
  several pieces alike each figure is a bone's own. What is measured goes before what is estimated.
- *Growth*: "joined" leaves out what is seen to be growing (a line of growth that the measurement reaches over is open,
  woven or porous bone, an unborn or newborn animal); "fused" takes only bones of which nothing is open and every end
  that the measurement reaches over is seen joined; "all" takes everything.
- *Burnt* bone shrinks, and *estimated* figures are somebody's reckoning: both are left out unless asked for.
- *sd* has n - 1 below the line; *CV* is 100 x sd / mean, not corrected for small numbers.
- The *log size index* of a bone is log10(its measurement / the standard's same measurement) (Meadow 1999, recalled).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from fieldapp.domain.assemblage.size_tables import Standard
from fieldapp.domain.assemblage.specimens import Measured, Specimen
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.measures import UNJOINED, Measurement

GROWTH = ("joined", "fused", "all")
_GROWING = frozenset({"woven", "porous"})
_NEWBORN = frozenset({"foetal", "newborn"})
ROBUST_LIMIT = 3.5
ROBUST_LEAST = 5
"""How many values it takes before one of them is judged by the others (project decision)."""


@dataclass(frozen=True, slots=True)
class Key:
    """What values have to share to be put together: animal, bone, bone of the foot ("" where one is like another)
    and measurement."""

    taxon: str
    element: str
    position: str
    code: str


@dataclass(frozen=True, slots=True)
class Value:
    """One figure that counts. `pieces`: how many alike its docket stands for; `bone`: a word that those of one bone
    share; `group` as of a specimen; `also`: other dockets of the bone whose figures are in it."""

    id: str
    label: str
    key: Key
    mm: float
    sex: str = ""
    side: str = ""
    estimated: bool = False
    pieces: int = 1
    bone: str = ""
    group: str = ""
    also: tuple[str, ...] = ()

    @property
    def records(self) -> tuple[str, ...]:
        """Ids of the dockets that it is made of."""
        return self.id, *self.also


@dataclass
class Values:
    """The values of some specimens, those that are estimates, and {why: specimens} of whatever was measured and gives
    none, or not all."""

    found: list[Value] = field(default_factory=list)
    estimated: list[Value] = field(default_factory=list)
    out: dict[str, list[Specimen]] = field(default_factory=dict)

    def drop(self, why: str, one: Specimen) -> None:
        """Keeps in mind that something of a specimen does not count."""
        self.out.setdefault(why, []).append(one)

    def by_key(self) -> dict[Key, list[Value]]:
        """{key: values}, in the order in which they are met."""
        parted: dict[Key, list[Value]] = {}
        for one in self.found:
            parted.setdefault(one.key, []).append(one)
        return parted


def values(
    specimens: Iterable[Specimen], knowledge: Knowledge, growth: str = "joined", burnt: bool = False,
    estimated: bool = False, refits: bool = True,
) -> Values:  # fmt: skip
    """The values that count, as the definitions above have it."""
    readings: dict[str, list[Specimen]] = {}
    for one in specimens:
        if one.measures:
            readings.setdefault(one.id, []).append(one)
    found, told = Values(), list[Value]()
    for those in readings.values():
        one = those[0]
        settled = any(other.sure for other in those) or len(those) == one.readings
        if not settled or any(_grown(other) != _grown(one) for other in those):
            found.drop("measures_disputed", one)
        elif not _named(one, knowledge):
            found.drop("measures_unnamed", one)
        elif not burnt and "burning" in one.open:
            found.drop("measures_disputed", one)
        elif not burnt and (one.surface.get("burning") or "unburnt") != "unburnt":
            found.drop("measures_burnt", one)
        else:
            sex = one.sex if all(other.sex == one.sex for other in those) else None
            own = _of_one(one, sex or "", knowledge, growth, found)
            fits = refits and one.fitted and one.count == 1
            told += [replace(value, bone=one.fitted) for value in own] if fits else own
    for value in _once(told, readings, knowledge, found):
        if value.estimated:
            found.estimated.append(value)
        if value.estimated and not estimated:
            found.drop("measures_estimated", readings[value.id][0])
        else:
            found.found.append(value)
    return found


def _once(
    told: Iterable[Value], readings: Mapping[str, Sequence[Specimen]], knowledge: Knowledge, found: Values
) -> Iterator[Value]:
    """Of one bone each measurement once, whatever it is labelled."""
    bones: dict[tuple[str, Key], list[Value]] = {}
    for at, value in enumerate(told):
        bones.setdefault((value.bone or f"{value.id} {at}", value.key), []).append(value)
    for own in bones.values():
        first = own[0]
        if first.pieces > 1:
            yield from (one for one in own if one.id == first.id)
            continue
        if len(own) == 1:
            yield first
            continue
        sharp = [one for one in own if not one.estimated] or own
        figure = _agreed([one.mm for one in sharp], knowledge)
        if figure is not None:
            others = dict.fromkeys(one.id for one in sharp if one.id != sharp[0].id)
            yield replace(sharp[0], mm=figure, also=tuple(others))
            continue
        for id_ in dict.fromkeys(one.id for one in sharp):
            found.drop("measures_repeated", readings[id_][0])


def _agreed(figures: Sequence[float], knowledge: Knowledge) -> float | None:
    """What figures of one measurement come to; None where they lie too far apart."""
    if max(figures) - min(figures) > knowledge.measures.tolerance("repeat") * max(figures):
        return None
    return statistics.fmean(figures)


def _grown(one: Specimen) -> tuple[object, ...]:
    return one.taxon, one.element, one.position, one.age, one.texture, dict(one.fusion)


def _named(one: Specimen, knowledge: Knowledge) -> bool:
    taxon, element = knowledge.taxa.get(one.taxon or ""), knowledge.elements.get(one.element or "")
    return taxon is not None and taxon.named and element is not None and element.kind != "indeterminate"


def _of_one(one: Specimen, sex: str, knowledge: Knowledge, growth: str, found: Values) -> Iterator[Value]:
    taxon, element = one.taxon or "", one.element or ""
    by_digit = any(row.position and taxon in row.animals for row in knowledge.measures.of(element))
    taken: dict[str, list[Measured]] = {}
    for measure in one.measures:
        row = knowledge.measures.one(element, measure.code, taxon, one.position)
        if growth != "all" and is_growing(one, row, seen=growth == "fused"):
            found.drop("measures_young", one)
        elif by_digit and not one.position:
            found.drop("measures_no_digit", one)
        else:
            taken.setdefault(measure.code, []).append(measure)
    for code, measures in taken.items():
        # Who has measured it need not reckon.
        sharp = [measure.mm for measure in measures if not measure.estimated]
        figures = sharp or [measure.mm for measure in measures]
        if one.count == 1 and len(figures) > 1:
            figure = _agreed(figures, knowledge)
            if figure is None:
                found.drop("measures_repeated", one)
                continue
            figures = [figure]
        key = Key(taxon, element, (one.position or "") if by_digit else "", code)
        for mm in figures:
            yield Value(one.id, one.label, key, mm, sex, one.side or "", not sharp, one.count, one.bone, one.group)


def is_growing(one: Specimen, row: Measurement | None, seen: bool = False) -> bool:
    """Whether a measurement (its row; None: one that no table has) is of a bone still growing, or not seen to be done.

    seen  asks for more: nothing of the bone is open, and each end that the measurement reaches over is seen joined
    """
    if one.texture in _GROWING or one.age in _NEWBORN:
        return True
    centres = row.centres if row is not None else ()
    if seen:
        joined = all(one.fusion.get(centre) == "fused" for centre in centres)
        return not joined or any(state != "fused" for state in one.fusion.values())
    return any(one.fusion.get(centre) in UNJOINED for centre in centres)


@dataclass(frozen=True, slots=True)
class Summary:
    """What some figures come to; what cannot be said of so few is None."""

    n: int
    low: float | None = None
    high: float | None = None
    mean: float | None = None
    median: float | None = None
    sd: float | None = None
    cv: float | None = None


def summary(figures: Collection[float]) -> Summary:
    """The summary of figures above 0."""
    if not figures:
        return Summary(0)
    mean = statistics.fmean(figures)
    sd = statistics.stdev(figures) if len(figures) > 1 else None
    cv = 100 * sd / mean if sd is not None and mean else None
    return Summary(len(figures), min(figures), max(figures), mean, statistics.median(figures), sd, cv)


def robust_scores(figures: Sequence[float]) -> list[float | None]:
    """How far each figure lies from the middle of all: 0.6745 x (figure - median) / median distance from the median.

    None where there are fewer than ROBUST_LEAST or over half of them are the same. After Iglewicz & Hoaglin 1993, who
    look again at what lies beyond 3.5 (recalled).
    """
    if len(figures) < ROBUST_LEAST:
        return [None] * len(figures)
    middle = statistics.median(figures)
    distance = statistics.median(abs(one - middle) for one in figures)
    return [0.6745 * (one - middle) / distance if distance else None for one in figures]


def records_of(found: Iterable[Value]) -> tuple[str, ...]:
    """Ids of all dockets that some values are made of."""
    return tuple(dict.fromkeys(id_ for one in found for id_ in one.records))


def log_size(mm: float, standard_mm: float) -> float:
    """log10(mm / standard): 0 is as large as the standard, 0.0414 a tenth larger, -0.0458 a tenth smaller."""
    # Not of the quotient: of figures that nobody can have measured, that may be nought or without end.
    return math.log10(mm) - math.log10(standard_mm)


def one_each(
    found: Iterable[Value], standards: Sequence[Standard], knowledge: Knowledge, way: str = "", by_group: bool = False
) -> tuple[list[tuple[Value, Standard, float]], set[str]]:
    """(value, standard, log size index) with one value a bone; and ids of dockets of several pieces, which give none.

    Of each bone counts the measurement that stands first in the standard's own order.
    way       only measurements taken that way; "" for all
    by_group  one value for all bones that belong together: the first in the standard's order
    """
    first: dict[str, tuple[int, Value, Standard]] = {}
    several: set[str] = set()
    order: dict[tuple[str, str, str], list[tuple[int, Standard]]] = {}
    for place, standard in enumerate(standards):
        if not way or knowledge.measures.way(standard.element, standard.code) == way:
            key = standard.element, standard.position, standard.code
            order.setdefault(key, []).append((place, standard))
    for value in found:
        fits = order.get((value.key.element, value.key.position, value.key.code), ())
        fitting = [(place, one) for place, one in fits if compares(value.key.taxon, one.taxon, knowledge)]
        if not fitting:
            continue
        if value.pieces > 1:
            several.add(value.id)
            continue
        # A standard of the animal itself goes before one of an animal that it is not parted from.
        place, standard = min(fitting, key=lambda one: not knowledge.is_a(value.key.taxon, one[1].taxon))
        bone = (value.group if by_group else "") or value.bone or value.id
        if bone not in first or place < first[bone][0]:
            first[bone] = (place, value, standard)
    return [(value, standard, log_size(value.mm, standard.mm)) for _, value, standard in first.values()], several


def compares(taxon: str, standard: str, knowledge: Knowledge) -> bool:
    """Whether bones of a taxon are set against a standard of another: it, what lies under it, and what often cannot be
    told from it (a standard of sheep holds for sheep, goat and sheep/goat)."""
    common = knowledge.common(taxon, standard)
    return common is not None and (common == standard or knowledge.taxa[common].kind == "pair")


def index(part: float, whole: float) -> float:
    """One measurement as a share of another, times 100: the index of a bone (breadth of the shaft / length)."""
    return 100 * part / whole


def pairs(found: Iterable[Value], x: tuple[str, str], y: tuple[str, str]) -> tuple[list[tuple[Value, Value]], set[str]]:
    """(value of x, value of y) of each bone that has both, x and y being (position, code); and ids of several alike."""
    own: dict[str, dict[tuple[str, str], Value]] = {}
    for value in found:
        own.setdefault(value.bone or value.id, {})[value.key.position, value.key.code] = value
    both = [one for one in own.values() if x in one and y in one]
    several = {one[x].id for one in both if one[x].pieces > 1}
    return [(one[x], one[y]) for one in both if one[x].pieces == 1], several


def in_order(keys: Iterable[Key], knowledge: Knowledge) -> list[Key]:
    """Keys as a table has them: by animal, bone, bone of the foot, and as the measurements of the bone are listed."""
    taxa, elements = list(knowledge.taxa), list(knowledge.elements)
    codes: Mapping[str, list[str]] = {one: [row.code for row in knowledge.measures.of(one)] for one in elements}

    def place(key: Key) -> tuple[int, int, str, int, str]:
        listed = codes[key.element]
        at = listed.index(key.code) if key.code in listed else len(listed)
        return taxa.index(key.taxon), elements.index(key.element), key.position, at, key.code

    return sorted(keys, key=place)
