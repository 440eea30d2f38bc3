"""Rates of what is seen on the surface: how many of the pieces that can show a thing do show it.

For: who counts, who can show a mark, where on the bone, the interval of a rate, and how fresh and how whole bones were
when they broke. Not for: what the marks mean, or drawing.

Adopted here (project decisions, where nothing else is said):

- Pieces are those of dockets, each with its count, since a docket is of pieces alike. Tallies are no single readings:
  they count where their burning is recorded and nowhere else. Dockets said to be one bone count once, with what the
  first that names bone and animal says, and with marks of kinds, and at places, that only another has. Pieces that fit
  together count as one (unless asked for singly): all that any of them has, and of the surface what the first says.
- A docket whose readings differ in animal, bone, portions or material, or that some have deleted and others not, counts
  in no rate and is listed.
- A piece *can show* a mark of the fine kinds (the table mark_kinds says which: cuts, scrapes, polish, trampling) if its
  surface is crisp or good, and it was not read unwashed in the trench alone; any other mark unless the surface is lost.
  Where nobody says how the surface is, it is taken as able, or left out, as is asked for.
- On a portion a mark can be seen if something of the portion is there, most of it or part. A mark without a portion
  counts for the bone as a whole.
- A mark on a piece that could not show it by these rules is told apart and is in no rate: else bad surfaces would count
  only when something was found on them.
- *Intervals* are Wilson's, of 95 %: Wilson 1927 (recalled).
- *Fracture freshness*: the sum of three scores of 0 to 2 (angle, outline, texture of the broken face), 0 fresh to 6
  dry: Outram 2001 (recalled). Only where all three are scored, on marrow-bearing shafts, and not on new breaks alone.
- *Completeness* of a piece: the nominal shares of its portions of which over half is there, added up.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fieldapp.domain import counting
from fieldapp.domain.assemblage.shares import percent, wilson
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.knowledge import Knowledge

FINE_SURFACE = frozenset({"crisp", "good"})
LOST = "lost"
_FULLER = {"absent": 0, "part": 1, "most": 2}


@dataclass(frozen=True, slots=True)
class Rate:
    """`n` of `of` pieces."""

    n: int
    of: int

    @property
    def percent(self) -> float | None:
        """Parts of a hundred; None of none."""
        return percent(self.n, self.of)

    @property
    def interval(self) -> tuple[float, float] | None:
        """Wilson's interval of it, in parts of a hundred; None of none."""
        ends = wilson(self.n, self.of)
        return (100 * ends[0], 100 * ends[1]) if ends is not None else None


@dataclass(frozen=True)
class Pieces:
    """What counts, and what does not because its readings differ."""

    found: tuple[Specimen, ...]
    disputed: tuple[Specimen, ...]

    def dockets(self) -> list[Specimen]:
        """Without tallies, and without loose teeth, whose surface is another matter."""
        return [one for one in self.found if one.kind != TALLY and not is_tooth(one)]


def is_tooth(one: Specimen) -> bool:
    """Whether it is a tooth by itself."""
    return one.material == "tooth" or one.element == "loose_tooth"


def pieces(specimens: Iterable[Specimen], refits: bool = True) -> Pieces:
    """Each piece of bone once. `refits`: whether pieces that fit together are one."""
    readings: dict[str, list[Specimen]] = {}
    for one in specimens:
        if one.material not in counting.NOT_BONE:
            readings.setdefault(one.id, []).append(one)
    bones: dict[str, Specimen] = {}
    disputed = []
    for those in readings.values():
        one = those[0]
        # All readings are here, or one of them is what everybody says.
        settled = any(other.sure for other in those) or len(those) == one.readings
        if not settled or any(_place(other) != _place(one) for other in those):
            disputed.append(one)
            continue
        key = one.bone or one.id
        bones[key] = again(bones[key], one) if key in bones else one
    found: dict[str, Specimen] = {}
    for one in bones.values():
        key = (one.fitted if refits else "") or one.id
        found[key] = joined(found[key], one) if key in found else one
    return Pieces(tuple(found.values()), tuple(disputed))


def _place(one: Specimen) -> tuple[object, ...]:
    return one.taxon, one.element, one.material, dict(one.portions)


def again(one: Specimen, other: Specimen) -> Specimen:
    """One bone under two dockets: what the first that names bone and animal says of it, and marks that only the other
    has."""
    if not (one.taxon and one.element) and other.taxon and other.element:
        one, other = other, one
    seen, changed = {(mark.kind, mark.portion) for mark in one.marks}, set(one.changes)
    return replace(
        one,
        surface={**other.surface, **one.surface},
        marks=(*one.marks, *(mark for mark in other.marks if (mark.kind, mark.portion) not in seen)),
        changes=(*one.changes, *(change for change in other.changes if change not in changed)),
    )


def joined(one: Specimen, other: Specimen) -> Specimen:
    """Pieces that fit, one of each docket's, as one piece: what is there of either, and the marks of both."""
    portions = dict(one.portions)
    for portion, state in other.portions.items():
        if _FULLER[state] > _FULLER[portions.get(portion, "absent")]:
            portions[portion] = state
    surface = {**other.surface, **one.surface}
    marks, changes = (*one.marks, *other.marks), (*one.changes, *other.changes)
    count = one.count + other.count - 1
    return replace(one, count=count, portions=portions, marks=marks, changes=changes, surface=surface)


def number(those: Iterable[Specimen]) -> int:
    """How many pieces."""
    return sum(one.count for one in those)


def can_show(one: Specimen, fine: bool, recorded_only: bool = False) -> bool:
    """Whether a mark would be seen on a piece. `fine`: one that goes with the outer surface."""
    surface = one.surface.get("preservation")
    if not isinstance(surface, str):
        return not recorded_only and not (fine and one.stage == "trench")
    if fine:
        return surface in FINE_SURFACE and one.stage != "trench"
    return bool(surface != LOST)


def is_fine(kind: str, knowledge: Knowledge) -> bool:
    """Whether a kind of mark goes with the outer surface; one that the tables do not have is taken so."""
    row = knowledge.surface.kinds.get(kind)
    return row is None or row.fine


def group_of(kind: str, knowledge: Knowledge) -> str:
    """The group of a kind of mark: "butchery", "gnawing" ...; "unclear" for one that the tables do not have."""
    row = knowledge.surface.kinds.get(kind)
    return row.group if row is not None else "unclear"


@dataclass(frozen=True, slots=True)
class Seen:
    """A rate with what stands behind it.

    rate       of those that can show it
    elsewhere  pieces that have it and could not be expected to show it: in no rate
    marks      how many marks, one without a number counting as one; on each of pieces alike
    records    ids of the pieces that have it
    """

    rate: Rate
    elsewhere: int
    marks: int
    records: tuple[str, ...]


def seen(those: Iterable[Specimen], able: Iterable[Specimen], kinds: Collection[str], portion: str = "") -> Seen:
    """How many of some pieces have a mark of some kinds; `able`: those of them that can show it; `portion`: there, of
    the pieces of which anything of it is there."""
    can = {one.id: one.count for one in able if not portion or one.portions.get(portion) in ("most", "part")}
    marked: dict[str, int] = {}
    marks = 0
    for one in those:
        if one.marks and (not portion or one.portions.get(portion) in ("most", "part")):
            own = [mark for mark in one.marks if mark.kind in kinds and (not portion or mark.portion == portion)]
            if own:
                marked[one.id] = one.count
                marks += one.count * sum(mark.number or 1 for mark in own)
    shown = sum(count for id_, count in marked.items() if id_ in can)
    return Seen(Rate(shown, sum(can.values())), sum(marked.values()) - shown, marks, tuple(marked))


def shares(those: Iterable[Specimen], value: Callable[[Specimen], str | None]) -> tuple[dict[str, list[Specimen]], int]:
    """({word: pieces}, number of those that say anything): who says nothing is in no share."""
    found: dict[str, list[Specimen]] = {}
    for one in those:
        word = value(one)
        if word is not None:
            found.setdefault(word, []).append(one)
    return found, sum(number(each) for each in found.values())


def freshness(one: Specimen) -> int | None:
    """The sum of the three scores of a broken face, 0 to 6; None unless all three are scored 0 to 2."""
    scores = one.surface.get("fracture")
    if not isinstance(scores, Mapping):
        return None
    own = [scores.get(key) for key in ("angle", "outline", "texture")]
    good = [each for each in own if type(each) is int and 0 <= each <= 2]
    return sum(good) if len(good) == len(own) else None


def has_marrow(one: Specimen, knowledge: Knowledge) -> bool:
    """Whether the freshness of a piece is meant to be scored: a marrow-bearing shaft of a mammal (the table marrow), or
    a piece of such a shaft of which nobody can say which bone it is."""
    marrow = knowledge.surface.marrow
    groups = set(marrow.get(one.element or "", ()))
    element = knowledge.elements.get(one.element or "")
    if element is not None and element.kind == "indeterminate":
        groups = {group for key, own in marrow.items() if knowledge.is_part(key, element.key) for group in own}
        if one.taxon is None:
            return bool(groups)
    return any(knowledge.is_a(one.taxon or "", group) for group in groups)


@dataclass(frozen=True, slots=True)
class Wholeness:
    """How much of its bone a piece is. `share`: 0 to 1; `most` of `portions` portions are over half there."""

    share: float
    most: int
    portions: int

    @property
    def whole(self) -> bool:
        """Every portion is over half there."""
        return self.most == self.portions


def wholeness(one: Specimen, knowledge: Knowledge) -> Wholeness | None:
    """How whole a piece is; None where no portion was looked at, or the bone has none."""
    rows = knowledge.portions_of(one.element or "", one.taxon)
    examined = [row for row in rows if row.key in one.portions]
    if not rows or not examined:
        return None
    most = [row for row in rows if one.portions.get(row.key) == "most"]
    return Wholeness(sum(row.share for row in most), len(most), len(rows))


SIZES = (10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
"""Where classes of fragment length end, in millimetres, each as wide as the others (project decision)."""


def size_of(mm: float, ends: Sequence[int] = SIZES) -> tuple[int, int | None]:
    """The class of a length: from so many millimetres on, below so many (None: no end)."""
    below = next((end for end in ends if mm < end), None)
    return max((end for end in ends if end <= mm), default=0), below


def always_recorded(site: Mapping[str, Any], field: str) -> bool:
    """Whether a site's protocol says that a field is filled in of every fragment: only then does nothing mean none."""
    protocol = site.get("protocol")
    always = protocol.get("always") if isinstance(protocol, Mapping) else None
    return isinstance(always, list | tuple) and field in always
