"""Pieces that may be of one bone: what two readings hold of it together, and whether the pieces might join.

A candidate is two pieces of one element, one side and animals that may be the same, neither of which has over half of a
portion that the other has over half of, each with something the other lacks, with borders that meet on the plate and
breaks that may be one break; their fusion does not contradict (common practice, no source). It is a hint to lay the
pieces together; only hands at the bone say that they fit. Not here: who has said so (paths `joins/` and `not_same/`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.plates import Plate
from fieldapp.domain.readings import differences

MOST, PART = "most", "part"
_NEW, _OLD = frozenset({"fresh", "both"}), frozenset({"old", "both"})
_SIDES = ("left", "right", "midline")

_GLANCES = 40
PAIRS_AT_ONCE = 50_000
"""So many pairs of a context are looked at, and no more: the page says so where there are others."""


class Piece(NamedTuple):
    """A docket as it is compared. `apart`: ids of those of which somebody has already said how they belong to it."""

    id: str
    reading: Mapping[str, Any]
    breaks: Any = None
    apart: frozenset[str] = frozenset()


class Held(NamedTuple):
    """What two readings say of a portion. `how`: "twice" (over half of it in both: not one bone), "first" or "second"
    (only in that one), "shared" (a part of it in one or both: the break may run through it), "" (in neither)."""

    portion: str
    first: Any
    second: Any
    how: str


class Candidates(NamedTuple):
    """Pairs that might join, the likelier first; `whole`: whether every pair was looked at."""

    pairs: list[tuple[str, str]]
    whole: bool


Touching = Callable[[str, "str | None"], Mapping[str, frozenset[str]]]
"""(element, animal) -> {portion: those it borders on}; empty where no plate tells."""


def touching(plates: Iterable[Plate]) -> dict[str, frozenset[str]]:
    """{portion: those that share a line with it in any of these views}: neighbours share their points exactly."""
    found: dict[str, set[str]] = {}
    for plate in plates:
        points = {key: set(shape) for key, shape in plate.portions.items()}
        for one in points:
            meets = {other for other in points if other != one and len(points[one] & points[other]) > 1}
            found.setdefault(one, set()).update(meets)
    return {one: frozenset(meets) for one, meets in found.items()}


def held(one: Any, other: Any, known: Iterable[str] = ()) -> list[Held]:
    """What two readings of one element hold, portion by portion; `known`: its portions, in the order to list them."""
    first, second = _portions(one), _portions(other)
    keys = [*known, *(key for key in (*first, *second) if key not in set(known))]
    return [
        Held(key, first.get(key), second.get(key), _how(first.get(key), second.get(key))) for key in dict.fromkeys(keys)
    ]


def may_join(one: Piece, other: Piece, know: Knowledge, touch: Touching) -> bool:
    """Whether two pieces are a candidate: see the module. Any values, never an error."""
    if other.id in one.apart or one.id in other.apart or one.id == other.id:
        return False
    element, side = one.reading.get("element"), one.reading.get("side")
    if not isinstance(element, str) or element != other.reading.get("element"):
        return False
    if side not in _SIDES or side != other.reading.get("side") or not _one_animal(one, other, know):
        return False
    if not _one_break(one.breaks, other.breaks):
        return False
    return _complete(one, other, touch) and _fusion_agrees(one.reading, other.reading, know)


def candidates(pieces: Sequence[Piece], know: Knowledge, touch: Touching, at_once: int = PAIRS_AT_ONCE) -> Candidates:
    """Those among the pieces of one context. Bounded: only pieces of one element and side are compared at all."""
    alike: dict[tuple[str, str], list[tuple[Piece, frozenset[str]]]] = {}
    for piece in pieces:
        element, side = piece.reading.get("element"), piece.reading.get("side")
        if isinstance(element, str) and side in _SIDES and piece.breaks != "none":
            most = frozenset(key for key, state in _portions(piece.reading).items() if state == MOST)
            alike.setdefault((element, str(side)), []).append((piece, most))
    found: list[tuple[tuple[bool, bool], str, str]] = []
    left, glances = at_once, at_once * _GLANCES
    for group in alike.values():
        for n, (one, most) in enumerate(group):
            # Most pairs share a portion: a glance tells.
            others = [other for other, its in group[n + 1 :] if most.isdisjoint(its)]
            glances -= len(group) - n - 1
            for other in others:
                if left <= 0 or glances < 0:
                    return Candidates(_likelier_first(found), False)
                left -= 1
                if may_join(one, other, know, touch):
                    fresh = _is_new(one.breaks) and _is_new(other.breaks)
                    named = one.reading.get("taxon") == other.reading.get("taxon")
                    found.append(((not fresh, not named), one.id, other.id))
    return Candidates(_likelier_first(found), True)


def _likelier_first(found: list[tuple[tuple[bool, bool], str, str]]) -> list[tuple[str, str]]:
    """New breaks on both, then one name for the animal, first; else as the pieces came."""
    return [(one, other) for _, one, other in sorted(found, key=lambda each: each[0])]


def _portions(reading: Any) -> Mapping[str, Any]:
    found = reading.get("portions") if isinstance(reading, Mapping) else None
    return found if isinstance(found, Mapping) else {}


def _how(first: Any, second: Any) -> str:
    there = (first in (MOST, PART), second in (MOST, PART))
    if first == MOST and second == MOST:
        return "twice"
    if all(there):
        return "shared"
    return "first" if there[0] else "second" if there[1] else ""


def _one_animal(one: Piece, other: Piece, know: Knowledge) -> bool:
    first, second = one.reading.get("taxon"), other.reading.get("taxon")
    return isinstance(first, str) and isinstance(second, str) and (first == second or know.share(first, second))


def _is_new(breaks: Any) -> bool:
    return isinstance(breaks, str) and breaks in _NEW


def _one_break(first: Any, second: Any) -> bool:
    """A fresh break fits a fresh one. Where nobody wrote down how a piece broke, it may be either."""
    if "none" in (first, second):
        return False
    told = all(isinstance(one, str) and (one in _NEW or one in _OLD) for one in (first, second))
    return not told or {first, second} != {"fresh", "old"}


def _complete(one: Piece, other: Piece, touch: Touching) -> bool:
    ways = {one.how for one in held(one.reading, other.reading)}
    if "twice" in ways or not {"first", "second"} <= ways:
        return False
    mine, theirs = (
        {key for key, state in _portions(each.reading).items() if state in (MOST, PART)} for each in (one, other)
    )
    if mine & theirs:
        return True  # A part in each: the break runs through it.
    borders = touch(one.reading["element"], one.reading.get("taxon"))
    return not borders or any(borders.get(key, frozenset()) & theirs for key in mine)


def _fusion_agrees(one: Mapping[str, Any], other: Mapping[str, Any], know: Knowledge) -> bool:
    fusion = ({"fusion": one.get("fusion")}, {"fusion": other.get("fusion")})
    return "conflict" not in differences(*fusion, know).values()
