"""The rows of the reference tables as plain values: a taxon, an element, a portion, a centre, an age ...

What is asked of all of them together is in domain.knowledge; how the tables are read and checked in domain.tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Occurs = Literal["yes", "no", "some"]


@dataclass(frozen=True, slots=True)
class Taxon:
    """An animal, a pair that is often not parted, a size class or a wider group.

    broader  every wider group, nearest first; the last is `unknown`
    parents  the groups it stands directly in
    kind     "species"; "pair": two or more that are really hard to part; "family": kin under one name that is still an
             animal's (vole, deer, flatfish); "size_class"; or "group": anything wider
    form     the body it is drawn in; not every form has plates
    status   "domestic", "wild", "either" (both go by this name), or "-" where it says nothing
    antler, horn_core, tooth   whether it has them ("some": some of its animals, or one sex)
    burrows  whether it digs itself into older layers
    infant_sized  whether its bones are about as large as those of a human infant ("some": its young ones are)
    by_hand  whether its bones are found by hand while digging ("some": the larger ones); what is "no" takes a sieve
    heaviest_g  a single fragment above this weight is checked (grams, project decision); None: no ceiling
    """

    key: str
    name: str
    latin: str
    ncbi: tuple[int, ...]
    broader: tuple[str, ...]
    parents: tuple[str, ...]
    kind: str
    form: str
    status: str
    antler: Occurs
    horn_core: Occurs
    tooth: Occurs
    burrows: Occurs
    infant_sized: Occurs
    by_hand: Occurs
    heaviest_g: float | None
    source: str
    seen: str

    @property
    def named(self) -> bool:
        """Whether this names an animal (or kin that go unparted), not only a size or a class."""
        return self.kind in ("species", "pair", "family")


@dataclass(frozen=True, slots=True)
class Element:
    """A bone of the skeleton, or a wider name for several.

    region   "head", "trunk", "forelimb", "hindlimb", "feet" or "unidentified": where it is looked for in a list
    broader  every wider name, nearest first: humerus, then long_bone
    only, not_in  taxa (with everything under them) that alone have it, or that lack it
    sided    left and right can be recorded
    midline  it lies on, or can be found whole across, the midline
    kind     "long_bone", "flat", "short", "axial", "tooth" or "indeterminate"
    finest   the finest name the bare element usually allows: "species" or "size_class"
    shows_sex  whether sex can be seen on it
    material "bone" or "tooth"
    uberon   id in the Uberon ontology, "UBERON:nnnnnnn"
    """

    key: str
    name: str
    latin: str
    region: str
    kind: str
    broader: tuple[str, ...]
    only: tuple[str, ...]
    not_in: tuple[str, ...]
    sided: bool
    midline: bool
    finest: str
    shows_sex: Occurs
    material: str
    uberon: str
    uberon_label: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class ElementForm:
    """How an element differs in a taxon: absent from it, under another name there, or telling more or less.

    finest, shows_sex  what they are in this taxon (see Element), "" where as anywhere
    """

    element: str
    taxon: str
    occurs: bool
    form: str
    name: str
    uberon: str
    finest: str
    shows_sex: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class ElementPart:
    """One portion or centre of bones that have grown together, and the bone it is a part of.

    A radius and ulna in one piece are one specimen and two elements: each portion counts for the bone it belongs to.

    what  "portion" or "centre"
    """

    element: str
    what: str
    key: str
    part_element: str
    part_key: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Portion:
    """A part of an element that only one bone can supply when over half of it is there.

    taxon   the group in whose animals the element is parted so; "" for all that have no parting of their own
    step    place along the bone, 1 at the proximal end; portions of one step lie side by side
    kind    "epiphysis", "metaphysis", "shaft" or "part"
    centre  the fusion centre whose epiphysis it belongs to, or None
    share   nominal share of the element, the shares of an element adding up to 1 (project decision)
    tells_side  whether the portion alone usually tells left from right
    uberon  id of the portion itself where it is a bone with a term of its own (maxilla, ilium), else ""
    """

    element: str
    taxon: str
    key: str
    step: int
    kind: str
    centre: str | None
    share: float
    tells_side: bool
    uberon: str
    name: str
    definition: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Centre:
    """A centre of ossification whose joining is recorded.

    metaphysis  the portion on the other side of its growth line, or None
    ends        what the published tables call it
    only, not_in  taxa (with everything under them) that alone have it, or that lack it
    """

    element: str
    key: str
    name: str
    metaphysis: str | None
    ends: tuple[str, ...]
    only: tuple[str, ...]
    not_in: tuple[str, ...]
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class FusionAge:
    """One published age of fusion. Months; a missing limit is open. `chosen`: from the one source used."""

    taxon: str
    element: str
    centre: str
    sex: str
    min_months: float | None
    max_months: float | None
    chosen: bool
    method: str
    published_element: str
    published_end: str
    confidence: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class SkeletonCount:
    """How many of an element a skeleton has, after one source; both sides together."""

    taxon: str
    element: str
    count: int
    count_max: int
    chosen: bool
    published_taxon: str
    published_element: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class RuleRow:
    """What is known of a rule beside its code.

    level     "impossible", "check" or "note"
    kinds     the kinds of record it looks at: "docket", "context", "bag", "group"
    families  what it is about, for listing
    raises    the answer to the human question it asks for ("query", "not_excluded"), or ""
    """

    key: str
    level: str
    kinds: tuple[str, ...]
    families: tuple[str, ...]
    raises: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Word:
    """A word of one of the closed lists: `of` names the list. Its definition may be "" where the name says all."""

    of: str
    key: str
    name: str
    definition: str
    source: str
    seen: str
