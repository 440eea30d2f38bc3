"""Between which ages each animal died, by its bones or its jaws: what the curves of survival are of.

For: limits out of single specimens, and which specimens are one animal. Adopted here (common practice, no source):

- *Fusion*: an end that has joined or is joining was not younger than the beginning of its published range; one that is
  not, or not wholly, joined was not older than its end. The limits of all ends of a bone hold together.
- *Teeth*: a jaw died within the stages that it may be of. *Eruption*: within the published ages of its teeth.
- What is said to be the same bone, fits together, or is of one body, is one animal: all its limits hold together. All
  other bones count as an animal each, although some are not: the curve is of bones.
- A loose epiphysis that may belong to an open shaft which is counted does not count.
- What contradicts itself, says nothing of age, or is in dispute does not count.

Not for: the curve (survival), stages of jaws (wear), or choosing sources.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from fieldapp.domain.assemblage.fusion import LOOSE, SHAFT, paired
from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.assemblage.survival import OPEN, Interval, common
from fieldapp.domain.assemblage.wear import Stages, months_of, state_of
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.fusion import limits_of
from fieldapp.domain.teeth import Scheme

EVERY_AGE = Interval()


def between(low: float | None, high: float | None) -> Interval | None:
    """The interval of two limits, None where open; None if no age lies between."""
    least, most = low or 0.0, OPEN if high is None else high
    return Interval(least, most) if least <= most else None


def by_fusion(one: Specimen, taxon: str, knowledge: Knowledge) -> Interval | None:
    """What its ends say, after the ages of `taxon`; EVERY_AGE where they say nothing, None where they contradict."""
    least, most = limits_of(taxon, one.element or "", one.fusion, knowledge)
    return between(least.months if least else None, most.months if most else None)


def by_eruption(one: Specimen, taxon: str, knowledge: Knowledge) -> Interval | None:
    """What the coming through of the teeth in a jaw says; likewise."""
    seen = [(tooth.tooth, tooth.jaw or "lower", state_of(tooth, knowledge.teeth) or "") for tooth in one.teeth]
    least, most = knowledge.teeth.age_limits(taxon, seen)
    return between(least.months if least else None, most.months if most else None)


def by_stages(found: Stages, scheme: Scheme) -> Interval | None:
    """What the stages that a jaw may be of say; likewise."""
    return between(*months_of(found, scheme))


def animal_of(one: Specimen) -> str:
    """A word that the specimens of one animal share."""
    return one.group or one.fitted or one.bone or one.id


@dataclass(frozen=True, slots=True)
class Deaths:
    """What there is of a unit.

    found          {interval: how many died in it}
    records        ids of those that count
    contradictory  those that no age fits;  silent: those that every age fits
    """

    found: Mapping[Interval, int]
    records: tuple[str, ...]
    contradictory: tuple[Specimen, ...]
    silent: tuple[Specimen, ...]


def deaths(told: Iterable[tuple[Specimen, Interval | None]]) -> Deaths:
    """Each animal once, with what all its specimens allow."""
    animals: dict[str, list[tuple[Specimen, Interval | None]]] = {}
    for one, interval in told:
        animals.setdefault(animal_of(one), []).append((one, interval))
    found: dict[Interval, int] = {}
    records: list[str] = []
    contradictory: list[Specimen] = []
    silent: list[Specimen] = []
    for own in animals.values():
        members = [one for one, _ in own]
        limits = [interval for _, interval in own if interval is not None]
        every = common(limits) if len(limits) == len(own) else None
        if every is None:
            contradictory += members
        elif every == EVERY_AGE:
            silent += members
        else:
            found[every] = found.get(every, 0) + max(one.count for one in members)
            records += [one.id for one in members]
    return Deaths(found, tuple(dict.fromkeys(records)), tuple(contradictory), tuple(silent))


def without_pairs(specimens: Iterable[Specimen], taxon: str) -> tuple[list[Specimen], list[Specimen]]:
    """(the specimens of `taxon` that count, loose epiphyses that do not): of one end as many loose epiphyses count as
    there are unfused ends beyond the open shafts."""
    every = list(specimens)
    loose: dict[tuple[str, str], dict[tuple[str, str], int]] = {}
    shafts: dict[tuple[str, str], dict[tuple[str, str], int]] = {}
    for one in every:
        # What is joined to another piece is one animal with it anyway, and pairs with nothing else.
        for centre, state in () if _joined(one) else one.fusion.items():
            if state in (LOOSE, SHAFT):
                tally = (loose if state == LOOSE else shafts).setdefault((one.element or "", centre), {})
                kind = (one.taxon or "", one.side or "")
                tally[kind] = tally.get(kind, 0) + one.count
    left = {
        end: paired(own, shafts.get(end, {}), taxon) - sum(shafts.get(end, {}).values()) for end, own in loose.items()
    }

    def may_belong(one: Specimen) -> int:
        return shafts.get(_loose_end(one) or ("", ""), {}).get((one.taxon or "", one.side or ""), 0)

    kept: list[Specimen] = []
    out: list[Specimen] = []
    # Those that no shaft of their side can be of count first.
    for one in sorted(every, key=may_belong):
        end = _loose_end(one)
        if end is None or _joined(one):
            kept.append(one)
            continue
        count = min(one.count, left[end])
        left[end] -= count
        if count:
            kept.append(one if count == one.count else replace(one, count=count))
        if count < one.count:
            out.append(one if not count else replace(one, count=one.count - count))
    return kept, out


def _joined(one: Specimen) -> bool:
    return bool(one.bone or one.fitted or one.group)


def _loose_end(one: Specimen) -> tuple[str, str] | None:
    return next(((one.element or "", centre) for centre, state in one.fusion.items() if state == LOOSE), None)
