"""Animals by the class of age that somebody wrote: foetal, newborn, juvenile, subadult, adult.

For: NISP and minimum numbers class by class (common practice, no source). No animal is of two classes, so the minimum
numbers of the classes may be added; their sum may be more than the minimum number of the same bones taken together.
Not for: ages by fusion or teeth, which have tables of their own: a class is a reader's word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from fieldapp.domain import counting
from fieldapp.domain.assemblage.individuals import mni
from fieldapp.domain.assemblage.quantities import Together
from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.knowledge import Knowledge

LIST = "age_class"


@dataclass(frozen=True, slots=True)
class AgeClass:
    """`nisp`: identified specimens that nobody disputes; `mni`: from what nobody disputes to what anybody says."""

    word: str
    nisp: int
    mni: Span
    records: tuple[str, ...] = field(repr=False)


def by_class(specimens: Iterable[Specimen], knowledge: Knowledge, together: Together | None = None) -> list[AgeClass]:
    """The classes in order, those that nobody wrote too, of specimens of one animal (a pair with its animals)."""
    written: dict[str, list[Specimen]] = {word: [] for word in knowledge.words[LIST]}
    for one in specimens:
        if one.kind != TALLY and one.age in written and counting.is_identified(one.lot(), knowledge):
            written[one.age].append(one)
    return [_class(word, own, knowledge, together or Together()) for word, own in written.items()]


def _class(word: str, own: list[Specimen], knowledge: Knowledge, together: Together) -> AgeClass:
    nisp = counting.specimens([together.lot(one) for one in own if one.sure])
    found = mni(own, knowledge, refits=together.refits)
    # The row of a pair has its animals in it already; without one they stand beside each other.
    within = {taxon for one in found.values() for taxon in one.includes}
    rows = [one for taxon, one in found.items() if taxon not in within]
    span = Span(sum(one.low for one in rows), sum(one.high for one in rows))
    return AgeClass(word, nisp, span, tuple(dict.fromkeys(one.id for one in own)))
