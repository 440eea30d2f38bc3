"""The unborn and the newborn among the bones of an animal.

For: one definition (common practice, no source): a specimen is *young* here if its age is written as foetal or newborn,
or if no age is written and its texture is that of woven bone. Porous bone is found in older animals too and does not
count. The share is of all identified specimens of the animal that were read singly; of those where nothing was written
of age or texture some may be young as well, so the share of those where something was is told beside it.

Not for: which of the two a woven bone is, or ages in months.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from fieldapp.domain import counting
from fieldapp.domain.assemblage.quantities import Together
from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.specimens import TALLY, Specimen, surely
from fieldapp.domain.knowledge import Knowledge

FOETAL, NEWBORN, WOVEN = "foetal", "newborn", "woven"


@dataclass(frozen=True, slots=True)
class Young:
    """Of one animal. Each Span from what nobody disputes to what anybody says.

    woven  by their texture alone;  young: all three
    sure   those that nobody disputes;  n: identified specimens that nobody disputes;  told: those of them with a word
           for age or texture
    records  ids of all identified, the young first
    """

    foetal: Span
    newborn: Span
    woven: Span
    young: Span
    sure: int
    n: int
    told: int
    records: tuple[str, ...] = field(repr=False)


def why_young(one: Specimen) -> str | None:
    """FOETAL, NEWBORN or WOVEN; None for any other."""
    if one.age in (FOETAL, NEWBORN):
        return one.age
    return WOVEN if one.age is None and one.texture == WOVEN else None


def young(specimens: Iterable[Specimen], knowledge: Knowledge, together: Together | None = None) -> dict[str, Young]:
    """{animal: its young}, of animals that are named. `together`: what counts as one specimen."""
    by_taxon: dict[str, list[Specimen]] = {}
    for one in specimens:
        if one.kind != TALLY and counting.is_identified(one.lot(), knowledge):
            by_taxon.setdefault(one.taxon or "", []).append(one)
    return {taxon: _of(own, together or Together()) for taxon, own in by_taxon.items()}


def _of(own: list[Specimen], together: Together) -> Young:
    sure = surely(own)

    def span(*words: str) -> Span:
        low = _count((one for one in sure if why_young(one) in words), together)
        return Span(low, max(low, _most(own, words, together)))

    return Young(
        foetal=span(FOETAL),
        newborn=span(NEWBORN),
        woven=span(WOVEN),
        young=(every := span(FOETAL, NEWBORN, WOVEN)),
        sure=int(every.low),
        n=_count(sure, together),
        told=_count((one for one in sure if one.age or one.texture), together),
        records=tuple(dict.fromkeys(one.id for one in sorted(own, key=lambda one: why_young(one) is None))),
    )


def _count(specimens: Iterable[Specimen], together: Together) -> int:
    return counting.specimens([together.lot(one) for one in specimens])


def _most(own: Iterable[Specimen], words: tuple[str, ...], together: Together) -> int:
    """With each record once, at the most that anybody says."""
    most: dict[str, Specimen] = {}
    for one in own:
        if why_young(one) in words and (one.id not in most or one.count > most[one.id].count):
            most[one.id] = one
    return _count(most.values(), together)
