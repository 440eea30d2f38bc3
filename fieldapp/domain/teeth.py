"""Teeth: which an animal has, when they come through, and the schemes by which wear is written down.

Tooth keys are those of the trade: I, C, P, M with the place in the full row, `d` before a milk tooth (dP4 is the one
in whose place P4 comes), and wider names for what cannot be placed (M1_2, cheek). A jaw is "lower" or "upper". Ages in
months; an open limit is None; they come from the one source chosen for the animal. Every question takes any value and
has an answer for what it does not know. Not here: bones, the reading of the tables (domain.teeth_tables), and what is
wrong with a record (domain.rules.teeth).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

JAWS = ("lower", "upper")
COMING = ("crypt_open", "in_crypt", "erupting", "half_up", "full_unworn", "in_wear")
"""How far a tooth has come, in order (words of the list eruption_state)."""
GONE = frozenset({"shed", "lost_in_life", "never_formed"})
"""States of a tooth that is not there, and was not when the animal died."""

Limits = tuple[float | None, float | None]
_STEP = {state: step for step, state in enumerate(COMING)}
_NUMBER_LETTER = re.compile(r"(\d{1,2})[A-Z]?\Z", re.ASCII)
_HIGHEST_NUMBER = 23


@dataclass(frozen=True, slots=True)
class Tooth:
    """A place in the tooth row, or a wider name for several.

    kind     "incisor", "canine", "premolar", "molar", or "any" for a name that spans kinds
    set      "permanent", "deciduous" (milk), or "either"
    place    counted from the front within its kind; None for a wider name
    broader  every wider name, nearest first: M1, then M1_2, M, cheek, tooth
    replaces the milk tooth in whose place it comes, or None
    """

    key: str
    name: str
    kind: str
    set: str
    place: int | None
    broader: tuple[str, ...]
    replaces: str | None
    uberon: str
    uberon_label: str
    definition: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Formula:
    """The teeth of one set in one half jaw: those that all have, and those that some have (one sex, or many lost)."""

    dentition: str
    jaw: str
    set: str
    always: tuple[str, ...]
    some: tuple[str, ...]
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class EruptionAge:
    """One published age. `event`: "eruption", "complete" (fully through) or "wear" (seen in wear).

    teeth  ours that it is said of; none where the printed name means no tooth of ours
    jaw    "" for both
    """

    taxon: str
    teeth: tuple[str, ...]
    jaw: str
    min_months: float | None
    max_months: float | None
    event: str
    chosen: bool
    published_taxon: str
    published_tooth: str
    confidence: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class WearStage:
    """One stage of a scheme.

    kind   "eruption" or "wear" for a single tooth, "jaw" for a whole lower jaw
    step   place in the order of the scheme
    score_min, score_max  the numbers it stands for, None where the scheme gives none, or leaves a side open
    state  the word of eruption_state that it says of its tooth, "" where it says none
    """

    scheme: str
    key: str
    kind: str
    step: int
    score_min: int | None
    score_max: int | None
    state: str
    min_months: float | None
    max_months: float | None
    definition: str
    published_scheme: str
    published_stage: str
    confidence: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Scheme:
    """A published way of writing wear down.

    kind        "tooth": a stage for each tooth; "jaw": one for the whole jaw
    taxa        the animals it is for, with all under them;  wider: what stands above these
    teeth       the teeth it is for;  jaw  in which jaw
    comparable  teeth whose stages may be set side by side: what wears earlier is never the less worn
    code        "list": its stages are in its table; "number_letter": a number up to 23, and mostly a letter
    """

    key: str
    name: str
    kind: str
    taxa: frozenset[str]
    wider: frozenset[str]
    teeth: tuple[str, ...]
    jaw: str
    comparable: tuple[str, ...]
    code: str
    stages: Mapping[str, WearStage]
    published_scheme: str
    published_stages: tuple[str, ...]
    definition: str
    source: str
    seen: str

    def stage(self, wear: object) -> WearStage | None:
        """The stage that is written `wear`, or None if the scheme has none of that name."""
        if not isinstance(wear, str):
            return None
        found = self.stages.get(wear)
        number = _NUMBER_LETTER.match(wear) if found is None and self.code == "number_letter" else None
        if number is None or int(number[1]) > _HIGHEST_NUMBER:
            return found
        step = int(number[1])
        # 0 is written for a tooth that is not worn, whatever its height.
        state = "in_wear" if step else ""
        return WearStage(
            self.key, wear, "wear" if step else "eruption", step, None, None, state, None, None, self.definition,
            self.published_scheme, "", "medium", "", self.source, self.seen,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ToothLimit:
    """A limit that one tooth sets to the age at death: `months`, and the tooth it comes from."""

    months: float
    tooth: str


@dataclass(frozen=True)
class Teeth:
    """What is known of teeth.

    formulae      every formula row;  dentitions  {taxon: dentition}, worked out for every taxon that has one
    crown_max_mm  {taxon: height above which no cheek tooth of it is believed}
    bearers       {element: jaw}: the elements that may hold teeth; "" where either jaw's
    """

    teeth: Mapping[str, Tooth]
    formulae: tuple[Formula, ...]
    dentitions: Mapping[str, str]
    toothless: frozenset[str]
    crown_max_mm: Mapping[str, float]
    bearers: Mapping[str, str]
    eruption: tuple[EruptionAge, ...]
    schemes: Mapping[str, Scheme]
    _rows: Mapping[tuple[str, str], tuple[str, ...]]
    _successors: Mapping[str, str]
    _ranges: Mapping[tuple[str, str, str], Limits]

    # Which teeth

    def tooth(self, key: object) -> Tooth | None:
        """The row of a tooth, or None."""
        return self.teeth.get(key) if isinstance(key, str) else None

    def is_a(self, tooth: str, broader: str) -> bool:
        """Whether `tooth` is `broader` or lies under it (M1 under M1_2)."""
        row = self.teeth.get(tooth)
        return row is not None and (tooth == broader or broader in row.broader)

    def teeth_of(self, taxon: str | None, jaw: str | None = None) -> tuple[str, ...] | None:
        """The places of one half jaw that an animal of the taxon can have, milk teeth too; of both jaws if none is
        named, each place once. None where no formula is known, as for a size class."""
        if taxon in self.toothless:
            return ()
        dentition = self.dentitions.get(taxon or "")
        if dentition is None:
            return None
        found = (self._rows[dentition, one] for one in JAWS if jaw in (None, one))
        return tuple(dict.fromkeys(tooth for row in found for tooth in row))

    def has(self, taxon: str | None, tooth: str, jaw: str | None = None) -> bool:
        """Whether the taxon can have the tooth (or, for a wider name, any under it). True if nothing is known."""
        own = self.teeth_of(taxon, jaw if jaw in JAWS else None)
        return own is None or tooth not in self.teeth or any(self.is_a(one, tooth) for one in own)

    def total(self, taxon: str, of: str = "permanent") -> tuple[int, int] | None:
        """(fewest, most) teeth of a set in a whole skull, both sides and jaws; None where no formula is known."""
        rows = [row for row in self.formulae if row.dentition == self.dentitions.get(taxon) and row.set == of]
        least = 2 * sum(len(row.always) for row in rows)
        return (least, least + 2 * sum(len(row.some) for row in rows)) if rows else None

    def per_side(self, taxon: str, tooth: str, jaw: str | None = None) -> int | None:
        """How many teeth of a name one half jaw can hold (one side of both jaws if none is named)."""
        jaws = [own for one in JAWS if jaw in (None, one) and (own := self.teeth_of(taxon, one)) is not None]
        return sum(self.is_a(own, tooth) for row in jaws for own in row) if jaws else None

    def replaces(self, tooth: str) -> str | None:
        """The milk tooth in whose place it comes."""
        row = self.teeth.get(tooth)
        return row.replaces if row else None

    def replaced_by(self, tooth: str) -> str | None:
        """The permanent tooth that comes in the place of a milk tooth."""
        return self._successors.get(tooth)

    # When they come

    def eruption_range(self, taxon: str, tooth: str, jaw: str | None = None) -> Limits | None:
        """Months (from, to) in which the tooth comes through, after the source chosen for the animal.

        An unparted pair has the span of its animals. None where that source is silent: no other is filled in.
        """
        return self._ranges.get((taxon, tooth, jaw if jaw in JAWS else ""))

    def age_limits(
        self, taxon: str, seen: Iterable[tuple[str, str | None, str]]
    ) -> tuple[ToothLimit | None, ToothLimit | None]:
        """The age at death that teeth allow, (at least, at most), given (tooth, jaw, eruption state) of each.

        Half up or further: not younger than the beginning of its range. Not through: not older than the end. Coming
        through: both. A milk tooth still in place: not older than the end of the range of the one that follows it.
        """
        least: ToothLimit | None = None
        most: ToothLimit | None = None
        for tooth, jaw, state in seen:
            step = _STEP.get(state)
            if step is None:
                continue
            low, high = self.eruption_range(taxon, tooth, jaw) or (None, None)
            if step >= _STEP["erupting"] and low is not None and (least is None or low > least.months):
                least = ToothLimit(low, tooth)
            if step > _STEP["erupting"]:
                after = self.replaced_by(tooth)
                high = (self.eruption_range(taxon, after, jaw) or (None, None))[1] if after else None
            if high is not None and (most is None or high < most.months):
                most = ToothLimit(high, tooth)
        return least, most

    # Wear

    def schemes_for(self, taxon: str | None, tooth: str, jaw: str | None = None) -> tuple[Scheme, ...]:
        """The schemes by which the wear of a single tooth can be written down; none for an animal not named."""
        return tuple(
            scheme
            for scheme in self.schemes.values()
            if scheme.kind == "tooth"
            and taxon in scheme.taxa
            and tooth in scheme.teeth
            and (jaw is None or jaw == scheme.jaw)
        )

    def stage(self, scheme: object, wear: object) -> WearStage | None:
        """The stage of a scheme that is written `wear`, or None."""
        found = self.schemes.get(scheme) if isinstance(scheme, str) else None
        return found.stage(wear) if found is not None else None

    def stage_order(self, scheme: object, wear: object) -> int | None:
        """Its place in the order of its scheme: a higher one is further through, or more worn."""
        found = self.stage(scheme, wear)
        return found.step if found is not None else None


def coming(state: object) -> int | None:
    """The place of an eruption state in the order of coming through; None for one that has none."""
    return _STEP.get(state) if isinstance(state, str) else None
