"""What the tables of counts have in common: the option of a site's countable portions, what is left out, human remains.

Not for: any figure.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from fieldapp.domain.assemblage import bones
from fieldapp.domain.assemblage.quantities import countable_of, countable_places, is_countable
from fieldapp.domain.assemblage.results import LeftOut, Note
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.specimens import HUMAN, TALLY, Specimen
from server.analysis.asking import Asked, Option, left_out

ALL_RECORDED, COUNTABLE = "count_all_recorded", "count_countable_only"
BY_PROTOCOL = Option("countable", lambda _: (ALL_RECORDED, COUNTABLE), "analysis.row")
"""Whether only what the site has agreed to count is counted, so that a nought means something."""

HUMAN_NOTE = "count_human"
"""The note on human remains, the same below every table."""
Countable = Mapping[str, Collection[str]]


@dataclass(frozen=True)
class Here:
    """One unit: what is counted there, and what was left out and told before anything is counted."""

    unit: Unit
    specimens: list[Specimen]
    left_out: tuple[LeftOut, ...]
    notes: tuple[Note, ...]


def countable(asked: Asked) -> Countable | None:
    """{element: portions} that are counted alone; None where all is."""
    if asked.option(BY_PROTOCOL.key, ALL_RECORDED) != COUNTABLE:
        return None
    return countable_of(asked.gathered.site)


def units(asked: Asked) -> Iterator[Here]:
    """The units of a question, narrowed down to what is countable where that is asked for."""
    only = countable(asked)
    places = countable_places(only or {}, asked.knowledge)
    wanted = asked.option(BY_PROTOCOL.key, ALL_RECORDED) == COUNTABLE
    # Where nothing lies but what is left out (a context with possibly human bone alone), that is told all the same.
    for unit in asked.piles:
        specimens = asked.units.get(unit, [])
        told = [*asked.left_out(unit)]
        notes = [*human_notes(told, specimens)]
        if wanted:
            notes.append(Note("count_by_protocol") if only is not None else Note("count_no_protocol"))
        if only is not None:
            kept = [one for one in specimens if is_countable(one, places, asked.knowledge)]
            ids = {one.id for one in kept}
            told += _told("count_not_countable", [one for one in specimens if one.id not in ids])
            specimens = kept
        yield Here(unit, specimens, tuple(told), tuple(notes))


def human_notes(told: Iterable[LeftOut], specimens: Iterable[Specimen]) -> Iterator[Note]:
    """How many dockets stand apart as possibly human, and how many of those counted may not be excluded."""
    apart = sum(len(one.records) for one in told if one.why == HUMAN)
    excluded = len({one.id for one in specimens if one.excluded})
    if apart or excluded:
        yield Note(HUMAN_NOTE, {"apart": apart, "excluded": excluded})


def not_elements(here: Here, asked: Asked) -> list[LeftOut]:
    """What of a unit is in no minimum number, and why: records of which no reading counts."""
    known = asked.knowledge
    counted = {one.id for one in here.specimens if bones.is_counted(one, known)}
    why: dict[str, list[Specimen]] = {}
    for one in here.specimens:
        if one.id not in counted:
            why.setdefault(_why(one, asked), []).append(one)
    return [each for reason, some in sorted(why.items()) for each in _told(reason, some)]


def _why(one: Specimen, asked: Asked) -> str:
    if one.kind == TALLY:
        return "count_tallied"
    if one.material in bones.NOT_COUNTED:
        return "count_no_bone"
    return "count_no_animal" if one.taxon not in asked.knowledge.taxa else "count_no_element"


def _told(why: str, specimens: Iterable[Specimen]) -> list[LeftOut]:
    found = left_out(why, specimens)
    return [found] if found else []
