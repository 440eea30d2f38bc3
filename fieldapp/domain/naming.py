"""What names a bone as an animal's: an animal and a part, or a group that no human stands in, with the signs seen.

For: whether an assessment "non-human" names enough to count (domain.human). Not for: who may say so, nor readings made
in the trench, which clear nothing whatever they name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.criteria import Criterion
from fieldapp.domain.entries import Element, Taxon

NOTHING, GROUP, ANIMAL = "nothing", "group", "animal"
SEEN, NOT_SEEN, LOST = ANSWERS = "yes", "no", "not_preserved"
"""What an assessment says of a criterion."""

_HUMAN, _INDETERMINATE = "human", "indeterminate"


@dataclass(frozen=True, slots=True)
class Naming:
    """The names that count. Empty, nothing names anything: what is not known here clears nothing.

    animals  keys of species, pairs that are hard to part, and families
    groups   keys of wider groups and of nothing so wide that a human could be meant: no size class is one
    parts    keys of elements that name a bone; "long bone" does not
    signs    keys of criteria that point away from human
    """

    animals: frozenset[str] = frozenset()
    groups: frozenset[str] = frozenset()
    parts: frozenset[str] = frozenset()
    signs: frozenset[str] = frozenset()


def naming(taxa: Mapping[str, Taxon], elements: Mapping[str, Element], criteria: Mapping[str, Criterion]) -> Naming:
    """The names that count, by the tables."""
    wide = {_HUMAN, *taxa[_HUMAN].broader}
    narrow = [one for one in taxa.values() if one.key not in wide]
    return Naming(
        animals=frozenset(one.key for one in narrow if one.kind in ("species", "pair", "family")),
        groups=frozenset(one.key for one in narrow if one.kind == "group"),
        parts=frozenset(one.key for one in elements.values() if one.kind != _INDETERMINATE),
        signs=frozenset(one.key for one in criteria.values() if one.points_to == "non_human"),
    )


def named(value: Mapping[str, Any], names: Naming) -> str:
    """What an assessment's value names: ANIMAL, GROUP (a group with a sign that was seen), or NOTHING."""
    taxon, element, criteria = (value.get(one) for one in ("taxon", "element", "criteria"))
    if not isinstance(taxon, str) or not isinstance(element, str) or element not in names.parts:
        return NOTHING
    if taxon in names.animals:
        return ANIMAL
    seen = isinstance(criteria, Mapping) and any(criteria.get(one) == SEEN for one in names.signs)
    return GROUP if taxon in names.groups and seen else NOTHING
