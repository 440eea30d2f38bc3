"""What stands on a context bone sheet, gathered and ready to draw: plain values, keys of the vocabulary, no layout.

Words for keys are the drawing's business; a key that the vocabulary does not hold is carried as it came.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import rules
from fieldapp.records.moments import moment
from fieldapp.records.place import Place


@dataclass(frozen=True, slots=True)
class Said:
    """Who wrote something, and when: name, role (key) and time as in the change; "" where that has not come."""

    change: str
    name: str = ""
    role: str = ""
    at: str = ""

    @property
    def order(self) -> tuple[str, str]:
        """By this the first comes first."""
        return moment(self.at), self.change


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading, its portions and centres in the order of the bone, those of no known name last.

    form  the body of the taxon, or "" where the taxon tells none: plates of another are schematic
    rest  {field: value} of what this version does not know
    """

    element: Any
    side: Any
    taxon: Any
    certainty: Any
    sex: Any
    stage: Any
    compared: Any
    form: str
    portions: tuple[tuple[str, Any], ...]
    fusion: tuple[tuple[str, Any], ...]
    rest: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Version:
    """One value at a path, and everybody who wrote exactly that. `reading`: the value, if it is a docket's reading."""

    value: Any
    said: tuple[Said, ...]
    reading: Reading | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """A path at which values differ. Without versions: a path of a newer version, which is kept and not printed.

    precision  they differ only in how closely they say it; `used` is then the coarser value, which counts meanwhile
    fields     of a reading: {field: "precision" or "conflict"}; empty for other paths
    """

    path: str
    versions: tuple[Version, ...]
    precision: bool = False
    used: Any = None
    fields: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Note:
    """A note as written; `text` is all of it if it has not the usual shape."""

    text: Any
    stage: Any
    said: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class HumanReading:
    """One answer to the human question. `cleared`: a valid assessment has seen it."""

    answer: Any
    why: Any
    by_rule: Any
    in_place: Any
    stage: Any
    said: Said
    cleared: bool


@dataclass(frozen=True, slots=True)
class Assessed:
    """An assessment.

    void        why it does not count, "" if it does
    overturned  a later one has seen it
    waits       it counts, but does not clear alone what it has seen: a second reader is wanting
    """

    value: Any
    said: Said
    void: str
    overturned: bool
    waits: bool


@dataclass(frozen=True, slots=True)
class Step:
    """A line of a hold's log. `ref` and `note` are free words: they may name the place, and are on the hold log only.

    custody  {field: words} of a hand-over: who took it, for what, by whose leave, under which seal, where it is kept
    """

    what: Any
    whom: Any
    how: Any
    at: str
    said: Said
    ref: str = ""
    note: str = ""
    custody: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Hold:
    """A hold, with everything but where exactly the bone lies.

    tier      "stop" (in the ground) or "query" (already lifted); of differing ones the more cautious
    zones     every zone somebody set
    in_place  True if anybody says it is still in the ground, False, or None where nobody says
    state     "open"; "released": the written word covers every reading; "ended": an assessment has cleared it
    written   False where a raise has come but no hold record yet
    skeleton  the numbers it was given under a licence;  charnel: whether anybody says that it is of no skeleton
    """

    tier: str
    zones: tuple[str, ...]
    in_place: bool | None
    steps: tuple[Step, ...]
    state: str
    differences: tuple[Difference, ...] = ()
    written: bool = True
    skeleton: tuple[str, ...] = ()
    charnel: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """What a rule finds, with the rule's source. `versions`: which versions of a disputed reading have it; () all."""

    found: rules.Problem
    source: str
    versions: tuple[int, ...] = ()

    @property
    def level(self) -> str:
        """ "impossible", "check" or "note"."""
        return self.found.level

    @property
    def impossible(self) -> bool:
        """Impossible whichever reading is right, so left out of counts until mended."""
        return self.found.level == "impossible" and not self.versions


@dataclass(frozen=True, slots=True)
class Docket:
    """One docket.

    life      "live", "deleted" or "disputed" (somebody deleted it without knowing `unseen`: paths and who wrote them)
    reading   what is used: the one reading, or the most that all readings support; None if there is none
    answer    where it stands on the human question, joined dockets included; `own` by its own readings alone
    joined    labels of the dockets said to be the same bone;  bone: a word that they share, "" if there are none
    fitted    a word that dockets share whose pieces fit together, "" if nothing fits
    photos    ids of the photos' records that it names
    recovery  how its bag's bones were got, and on what mesh; None where that is not recorded, or in dispute
    checked   who has marked it as checked, with nothing changed since;  was_checked: who did, before something changed
    items     (path, value) of everything else that was observed on it: teeth, marks, measurements, surface
    unknown   how many paths this version does not know; they are kept and not printed
    """

    id: str
    label: str
    bag: str
    life: str
    deletions: tuple[Said, ...]
    unseen: tuple[tuple[str, Said], ...]
    material: Any
    count: Any
    weight_g: Any
    burning: Any
    finder: Any
    reading: Reading | None
    read_by: tuple[Said, ...]
    differences: tuple[Difference, ...]
    notes: tuple[Note, ...]
    answer: str
    own: str
    human: tuple[HumanReading, ...]
    assessments: tuple[Assessed, ...]
    hold: Hold | None
    problems: tuple[Problem, ...]
    joined: tuple[str, ...]
    groups: tuple[str, ...]
    items: tuple[tuple[str, Any], ...]
    unknown: int
    bone: str = ""
    fitted: str = ""
    photos: tuple[str, ...] = ()
    recovery: str | None = None
    mesh_mm: float | None = None
    checked: tuple[Said, ...] = ()
    was_checked: tuple[Said, ...] = ()

    @property
    def disagreements(self) -> tuple[Difference, ...]:
        """The differences that are more than precision."""
        return tuple(one for one in self.differences if not one.precision)


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag, with how many dockets lie in it."""

    label: str
    recovery: Any
    mesh_mm: Any
    state: Any
    box: Any
    dockets: int
    deleted: bool
    differences: tuple[Difference, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Dockets that belong together, by label."""

    label: str
    relation: Any
    members: tuple[str, ...]
    differences: tuple[Difference, ...]
    notes: tuple[Note, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """Pieces that were counted and not recorded one by one; `said`: who counted them."""

    id: str
    label: str
    bag: str
    taxon: Any
    element: Any
    count: Any
    weight_g: Any
    burning: Any
    preservation: Any
    stage: Any
    recovery: str | None
    mesh_mm: float | None
    deleted: bool
    said: tuple[Said, ...]
    notes: tuple[Note, ...]
    differences: tuple[Difference, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph that is not closed. `docket`: the id of the bone it shows, "" for one of the context."""

    id: str
    sha256: str
    docket: str
    view: Any
    scale: Any
    north: Any
    said: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with the range over disputed readings; `low` equals `high` where nothing is disputed."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TaxonRow:
    """What is counted under one heading: ("taxon", key), ("material", key) or ("apart", reason).

    pieces    as domain.counting counts them, and nisp too
    weight_g  None where nothing of it was weighed: that is not nought
    """

    heading: tuple[str, Any]
    dockets: Span
    pieces: Span
    weight_g: Span | None
    nisp: Span


@dataclass(frozen=True, slots=True)
class RecoveryRow:
    """What was got in one way: by hand, or on a mesh of so many millimetres; None where that is not known."""

    recovery: str | None
    mesh_mm: float | None
    pieces: Span
    nsp: Span
    nisp: Span
    weight_g: Span | None


@dataclass(frozen=True, slots=True)
class Figures:
    """The summary.

    nsp          specimens; total.nisp are the identified ones of them
    by_recovery  the same figures by how it was got, if there was more than one way
    uncounted    live dockets without a usable count; each is taken as one piece
    unweighed    live dockets without a weight
    answers      {where dockets stand on the human question: how many}, deleted ones that are raised included
    problems     {level: how many}
    """

    rows: tuple[TaxonRow, ...]
    total: TaxonRow
    nsp: Span
    by_recovery: tuple[RecoveryRow, ...]
    uncounted: int
    unweighed: int
    deleted: int
    answers: Mapping[str, int]
    disagreements: int
    precision: int
    problems: Mapping[str, int]
    holds_open: int
    holds_released: int


@dataclass(frozen=True, slots=True)
class ContextSheet:
    """Everything one sheet shows.

    labels       {record id: label} of what may be named: dockets, bags, contexts
    loose_holds  holds of this context whose docket has not come
    source       the ledger or notebook it was printed from, in words
    conditions   of the licence, as the site has set them, a line each
    place        the site's own words for its place, if it has set any
    locked       whether its analysis is said to be finished
    photos       the photographs of it and its dockets that are not closed;  photos_closed: how many are
    hold_words   whether the free words of hold logs were gathered: they may name the place, so by default they are not
    """

    site_code: str
    site_name: str
    licensed: bool
    licence: str
    number: str
    type: Any
    grave_like: Any
    trench: Any
    phase: Any
    state: Any
    deleted: bool
    differences: tuple[Difference, ...]
    notes: tuple[Note, ...]
    problems: tuple[Problem, ...]
    bags: tuple[Bag, ...]
    groups: tuple[Group, ...]
    dockets: tuple[Docket, ...]
    labels: Mapping[str, str]
    loose_holds: tuple[Hold, ...]
    figures: Figures
    source: str
    format: int
    conditions: tuple[str, ...] = ()
    place: Place | None = None
    hold_words: bool = False
    locked: bool = False
    tallies: tuple[Tally, ...] = ()
    photos: tuple[Photo, ...] = ()
    photos_closed: int = 0
