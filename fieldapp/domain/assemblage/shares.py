"""How much of the identified bone each animal has: NISP by animal, percentages and how far chance alone may move them.

For: one count for every percentage, diversity and cross table: the NISP of domain.counting over the specimens that
everybody reads alike, with the range that disputed readings leave. Not for: minimum numbers, weights, or pages.

- *%NISP*: the NISP of an animal in a hundred of the NISP of all that are compared.
- *Wilson's interval* (Wilson 1927, from memory): where the share of one animal may lie, by itself.
- *Goodman's intervals* (Goodman 1965, from memory): where the shares of all animals may lie at once; wider, and the
  ones to use when animals of one table are compared with each other.

Both take every specimen as drawn by itself. Bone is not: pieces of one animal come together. So they are the least
that chance does, and are called so wherever they are shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist

from fieldapp.domain import counting
from fieldapp.domain.assemblage.quantities import Together
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Counted:
    """The NISP of one animal. `low`: what everybody says; `high`: the most that any readings allow; `records`: ids of
    the specimens that anybody reads so."""

    low: int
    high: int
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Nisp:
    """`taxa`: {animal: its NISP}, in the order of the table. `high`: of all animals together, each record once."""

    taxa: dict[str, Counted]
    high: int


def identified(specimens: Iterable[Specimen], knowledge: Knowledge) -> list[Specimen]:
    """Those whose element and animal are both named."""
    known: dict[tuple[str | None, str | None, str | None], bool] = {}
    found = []
    for one in specimens:
        key = (one.material, one.element, one.taxon)
        if key not in known:
            known[key] = counting.is_identified(one.lot(), knowledge)
        if known[key]:
            found.append(one)
    return found


def certain(bones: Iterable[Specimen], counted_as: Mapping[str, str | None] | None = None) -> dict[str, Specimen]:
    """{record: what everybody says of it} of identified specimens: what is sure, or, where all its readings are of one
    animal and differ in something else, the one of fewest pieces."""
    found: dict[str, Specimen] = {}
    readings: dict[str, list[Specimen]] = {}
    for one in bones:
        if one.sure:
            found[one.id] = one
        else:
            readings.setdefault(one.id, []).append(one)
    for id_ in readings.keys() - found.keys():
        those = readings[id_]
        names = {one.taxon if counted_as is None else counted_as.get(one.taxon or "") for one in those}
        if len(those) == those[0].readings and len(names) == 1:
            found[id_] = min(those, key=lambda one: one.count)
    return found


def nisp(
    specimens: Iterable[Specimen],
    knowledge: Knowledge,
    together: Together,
    counted_as: Mapping[str, str | None] | None = None,
) -> Nisp:
    """NISP by animal, the same as quantities.by_taxon says of specimens in the order of their ids, the sure reading of
    each first. `counted_as`: {animal as named: the one it counts as, None for one that is left out}; each as it is
    named if it is not given."""
    everything = []
    named: dict[str, list[tuple[Specimen, counting.Lot]]] = {}
    bones = identified(specimens, knowledge)
    for one in bones:
        taxon = one.taxon or ""
        if (counts_as := taxon if counted_as is None else counted_as.get(taxon)) is not None:
            pair = one, together.by_name(one, counts_as)
            everything.append(pair)
            named.setdefault(counts_as, []).append(pair)
    # In the order of the records: of those that are one bone, the first says what it is.
    sure = certain(bones, counted_as)
    low = counting.nisp([each for one, each in everything if sure.get(one.id) is one], knowledge)
    found = {}
    for taxon in knowledge.taxa:
        if taxon in named:
            ids = tuple(dict.fromkeys(one.id for one, _ in named[taxon]))
            least = low.get(taxon, 0)
            found[taxon] = Counted(least, max(least, _most(named[taxon])), ids)
    return Nisp(found, max(sum(low.values()), _most(everything)))


def _most(here: Iterable[tuple[Specimen, counting.Lot]]) -> int:
    """How many specimens, each record once, with the most that anybody says."""
    return counting.specimens(sorted((each for _, each in here), key=lambda each: -each.count))


def percent(part: float, whole: float) -> float | None:
    """In a hundred; None of nothing."""
    return 100 * part / whole if whole else None


def wilson(part: int, whole: int, level: float = LEVEL) -> tuple[float, float] | None:
    """The ends (0 to 1) between which the share of one animal may lie; None of nothing."""
    return _score(part, whole, NormalDist().inv_cdf(1 - (1 - level) / 2))


def goodman(counts: Mapping[str, int], level: float = LEVEL) -> dict[str, tuple[float, float]]:
    """{key: the ends (0 to 1)} between which all shares may lie at once; {} of nothing."""
    whole = sum(counts.values())
    if not whole:
        return {}
    z = NormalDist().inv_cdf(1 - (1 - level) / (2 * len(counts)))
    return {key: ends for key, part in counts.items() if (ends := _score(part, whole, z))}


def _score(part: int, whole: int, z: float) -> tuple[float, float] | None:
    if not whole:
        return None
    share, square = part / whole, z * z
    middle = (share + square / (2 * whole)) / (1 + square / whole)
    reach = z / (1 + square / whole) * math.sqrt(share * (1 - share) / whole + square / (4 * whole * whole))
    return max(0.0, middle - reach), min(1.0, middle + reach)


AS_NAMED, APART, POOLED = "names_as_given", "names_apart", "names_pooled"
"""What is done with names of which one holds another: sheep and sheep/goat, red deer and deer."""


def counted_as(taxa: Iterable[str], knowledge: Knowledge, overlap: str = APART) -> dict[str, str | None]:
    """{animal as named: the animal that it is counted as, None if it is left out}.

    AS_NAMED  each as it is named, so that one animal may stand in two rows
    APART     what is hard to part is one animal where both the pair and its members were named (sheep, goat and
              sheep/goat are sheep/goat); of other names that hold one another the wider one is left out (deer, where
              red deer is there): it may be the same animal
    POOLED    everything goes to the widest name that was given and holds it
    """
    named = tuple(dict.fromkeys(taxa))
    if overlap == AS_NAMED:
        return {one: one for one in named}
    found: dict[str, str | None] = {}
    for one in named:
        wider = [other for other in named if other != one and knowledge.is_a(one, other)]
        if overlap == APART:
            wider = [other for other in wider if knowledge.taxa[other].kind == "pair"]
        widest = [each for each in wider if not any(each != other and knowledge.is_a(each, other) for other in wider)]
        found[one] = widest[0] if widest else one
    groups = {one for one in found.values() if one}
    for one in groups if overlap == APART else ():
        if any(other != one and knowledge.is_a(other, one) for other in groups):
            found = {name: None if of == one else of for name, of in found.items()}
    return found
