"""Rules about single marks on a bone: where they lie, how many, what made them. They run only where a mark is written.

Marks on bone that may be human are never explained here: that is for the osteologist.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import standing_of
from fieldapp.domain.rules.findings import Around, Docket, Finding, Values, by_name, number, shown, term, text
from fieldapp.domain.surface import MarkKind

_BY_HAND = frozenset({"butchery", "working"})
_BY_BLOW = frozenset({"percussion", "split"})
_SAME = ("kind", "portion", "aspect", "direction", "tool")


def mark_of_other_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A mark on a portion that the element does not have."""
    if docket.element_row is not None:
        own = docket.parted
        for path, mark in _marks(docket):
            portion = text(mark.get("portion"))
            if portion is not None and portion not in own:
                yield path, docket.names(portion=portion_name(docket, portion, know))


def mark_on_absent_portion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A mark on a portion that is written down as absent."""
    for path, mark in _marks(docket):
        portion = text(mark.get("portion"))
        if portion is not None and docket.portions.get(portion) == "absent":
            yield path, docket.names(portion=portion_name(docket, portion, know))


def mark_without_portion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Full analysis of a bone with portions, and a mark that is on none of them: it cannot be counted by portion."""
    row = docket.element_row
    if row is None or docket.reading.get("stage") != "analysis" or not docket.parted:
        return
    for path, mark in _marks(docket):
        if text(mark.get("portion")) is None:
            yield path, docket.names()


def mark_number_not_positive(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A number of marks that is not a whole number from 1 up."""
    for path, mark in _marks(docket):
        many = mark.get("number")
        if many is not None and ((value := number(many)) is None or value < 1 or value != int(value)):
            yield path, {"number": shown(many)}


def mark_written_twice(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two marks alike in everything that is written of them."""
    seen: set[Any] = set()
    for path, mark in _marks(docket):
        kind = _kind(mark, know)
        alike = (*(text(mark.get(field)) for field in _SAME), number(mark.get("number")))
        if kind is not None and alike in seen:
            yield path, {"mark": term("mark_kind", kind.key)}
        seen.add(alike)


def mark_aspect_not_on_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A side that bones of that part of the body do not have, such as the cheek side of a shin."""
    if docket.element_row is not None:
        for path, mark in _marks(docket):
            aspect = text(mark.get("aspect"))
            regions = know.surface.regions.get(aspect or "")
            if regions is not None and docket.element_row.region not in regions:
                yield path, docket.names(aspect=term("aspect", aspect))


def pale_mark_may_be_new(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called butchery or working, and paler than the surface: made in digging, perhaps."""
    for path, mark in _marks(docket):
        kind = _kind(mark, know)
        if kind is not None and kind.group in _BY_HAND and mark.get("tone") == "paler":
            yield path, {"mark": term("mark_kind", kind.key), "new": term("mark_kind", "excavation_damage")}


def tool_against_mark(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tool that does not make such a mark, or any tool at all for a tooth mark."""
    for path, mark in _marks(docket):
        kind, tool = _kind(mark, know), text(mark.get("tool"))
        if kind is not None and know.is_word("tool", tool) and tool not in kind.tools:
            yield path, {"mark": term("mark_kind", kind.key), "tool": term("tool", tool)}


def tool_before_its_time(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tool that nobody had yet when the deposit was made."""
    latest = _latest_year(around)
    if latest is None:
        return
    region = text(around.site.get("region")) if around.site is not None else None
    for path, mark in _marks(docket):
        tool = text(mark.get("tool"))
        earliest = know.surface.earliest(tool, region or "") if tool is not None else None
        if tool is not None and earliest is not None and latest < earliest:
            years = {"latest": f"{latest:g}", "earliest": str(earliest)}
            yield path, {"tool": term("tool", tool), "open": term("tool", "unclear"), **years}


def mark_on_lost_surface(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A mark so fine that it goes with the outer surface, and the surface is lost."""
    if docket.values.get("preservation") == "lost":
        for path, mark in _marks(docket):
            kind = _kind(mark, know)
            if kind is not None and kind.fine:
                preservation = term("preservation", "lost")
                yield path, {"mark": term("mark_kind", kind.key), "preservation": preservation}


def cut_beside_trampling(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A cut without a tool, on a portion with trampling scratches: the two look alike."""
    trampled = {text(mark.get("portion")) for _, mark in _marks(docket) if mark.get("kind") == "trampling"}
    if trampled:
        for path, mark in _marks(docket):
            if mark.get("kind") == "cut" and text(mark.get("tool")) is None:
                if trampled & {None, text(mark.get("portion"))} or text(mark.get("portion")) is None:
                    yield path, {"mark": term("mark_kind", "cut"), "other": term("mark_kind", "trampling")}


def blow_without_old_break(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A blow that broke the bone in the past, and no break that is old."""
    breaks = text(docket.values.get("breaks"))
    if breaks in ("none", "fresh"):
        for path, mark in _marks(docket):
            kind = _kind(mark, know)
            if kind is not None and kind.key in _BY_BLOW:
                yield path, {"mark": term("mark_kind", kind.key), "breaks": term("break", breaks)}


def mark_on_possible_human(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Marks of hand or tooth on bone that may be human, before a specialist has spoken.

    People are cut, scraped and moved too, in the grave rite, in violence and long after: a mark clears nothing.
    """
    may_be = docket.caution >= human.CAUTION[human.QUERY] or know.is_a(docket.taxon or "", "human")
    # Only a verdict that counts has spoken: not one that cannot tell, or that has seen none of the answers.
    if not may_be or standing_of(docket, know) not in (human.STOP, human.QUERY):
        return
    for path, mark in _marks(docket):
        kind = _kind(mark, know)
        if kind is not None and (kind.group in _BY_HAND or kind.key == "human_gnawing"):
            yield path, {"mark": term("mark_kind", kind.key)}
            return


def portion_name(docket: Docket, portion: str, know: Knowledge) -> str:
    """The text key of a portion, or the word itself where the element has no such portion."""
    element = docket.element_row.key if docket.element_row is not None else ""
    known = portion in know.portion_keys.get(element, ())
    return term(f"portion.{element}", portion) if known else shown(portion)


def _marks(docket: Docket) -> Iterator[tuple[str, Values]]:
    return ((path, mark) for path, mark in docket.items("mark/") if isinstance(mark, Mapping))


def _kind(mark: Values, know: Knowledge) -> MarkKind | None:
    kind = text(mark.get("kind"))
    return know.surface.kinds.get(kind) if kind is not None else None


def _latest_year(around: Around) -> float | None:
    """The last year in which the deposit can have been made: its own dating, or else the site's."""
    for record in (around.context, around.site):
        dating = record.get("dating") if record is not None else None
        year = number(dating.get("to")) if isinstance(dating, Mapping) else None
        if year is not None:
            return year
    return None


RULES = by_name(
    mark_of_other_bone,
    mark_on_absent_portion,
    mark_without_portion,
    mark_number_not_positive,
    mark_written_twice,
    mark_aspect_not_on_bone,
    pale_mark_may_be_new,
    tool_against_mark,
    tool_before_its_time,
    mark_on_lost_surface,
    cut_beside_trampling,
    blow_without_old_break,
    mark_on_possible_human,
)
