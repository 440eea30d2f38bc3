"""Is it human? What the answers to published criteria allow to be said, which is never that it is not.

Three outcomes, the most cautious first: `stop` (possible human), `cannot_tell` (treat as possible human), `confirm`
(nothing here points to human; a specialist must confirm). Each answer and circumstance raises on its own, and the
highest stands; nothing is weighed, added or multiplied, so no number of weak signs says anything. `confirm` needs one
strong sign that is no human's, of a complete end or a whole feature of the bone in hand, and nothing that raises.

Not here: what a specialist may sign (domain.human), what the table says (criteria), words for people. The aid has not
seen the bone. Whether it is right has been measured on nobody: its tests hold it to behaviour.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.criteria import JUDGES, POINTS, STRENGTHS, Criterion
from fieldapp.domain.knowledge import Knowledge

STOP, CANNOT_TELL, CONFIRM = "stop", "cannot_tell", "confirm"
OUTCOMES = (CONFIRM, CANNOT_TELL, STOP)
"""The mildest first."""
YES, NO, UNCLEAR, NOT_LOOKED = "yes", "no", "unclear", "not_looked"
ANSWERS = (YES, NO, UNCLEAR, NOT_LOOKED)
SMALL_MM = 30.0
"""Pieces under this are small: project decision, after the size that published practice asks a second reader for."""
MOST_HELPFUL = 4


@dataclass(frozen=True)
class Case:
    """What is known of a piece.

    element        "" for no idea, or one that the tables do not know
    kind           the kind of context in any words, "" for not told
    answers        {criterion: one of ANSWERS}; what is not in it was not asked
    size_mm        longest dimension;  photo  only pictures were seen
    pieces         how many pieces the answers are said of; None for not told
    circumstances  keys of the table that hold whatever the answers say: burnt, infant, worn, worked, grave
    """

    element: str = ""
    kind: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    size_mm: float | None = None
    photo: bool = False
    pieces: int | None = None
    circumstances: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an outcome is no milder, or for `confirm` what it rests on.

    key    of the sentence: sign, open, strong, other_bone, circumstance, photo, pieces, tested_only, no_strong, no_bone
    about  the criterion or circumstance it names, "" for none
    raises the outcome it asks for
    """

    key: str
    raises: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the aid says. `helpful`: criteria whose answer would help most, the most telling first."""

    outcome: str
    reasons: tuple[Reason, ...]
    helpful: tuple[str, ...]


def judge(case: Case, know: Knowledge) -> Verdict:
    """The outcome, its reasons (the gravest first), and what would have helped. Answers to unknown criteria raise."""
    strong = list(_strong(case, know))
    raising = [*_signs(case, know), *_round_it(case, know)]
    if not strong:
        raising.append(Reason("no_strong", CANNOT_TELL))
    outcome = max((one.raises for one in raising), key=OUTCOMES.index, default=CONFIRM)
    raising.sort(key=lambda one: -OUTCOMES.index(one.raises))
    # A strong sign is shown whatever the outcome: it is a reason to call the specialist soon, not a clearance.
    shown = [*raising, *(Reason("strong", CONFIRM, one) for one in strong)]
    return Verdict(outcome, tuple(shown), helpful(case, know))


def _strong(case: Case, know: Knowledge) -> Iterable[str]:
    """Strong signs of no human, seen on a complete end or a whole feature that the bone in hand has."""
    for key, answer in case.answers.items():
        one = know.criteria.get(key)
        if one is not None and answer == YES and one.complete and _is_strong(one) and belongs(one, case.element, know):
            yield key


def _is_strong(one: Criterion) -> bool:
    return one.points_to == "non_human" and one.strength == "strong"


def belongs(one: Criterion, element: str, know: Knowledge) -> bool:
    """Whether a criterion can be asked of an element; of an unknown one everything can."""
    return (
        not one.elements
        or element not in know.elements
        or any(element == own or know.is_part(element, own) or know.is_part(own, element) for own in one.elements)
    )


def _signs(case: Case, know: Knowledge) -> Iterable[Reason]:
    for key, answer in case.answers.items():
        one = know.criteria.get(key)
        if one is None:
            yield Reason("unknown", CANNOT_TELL, key)
        elif answer == YES:
            if one.raises:
                yield Reason("sign", one.raises, key)
            if one.points_to == "non_human" and not belongs(one, case.element, know):
                yield Reason("other_bone", CONFIRM, key)  # it counts for nothing, and that is said
            # A test is of the piece that was tested: the others of the bag are as unknown as before.
            if one.judge == "laboratory" and (case.pieces or 1) > 1:
                yield Reason("tested_only", STOP, key)
        elif answer == NO:
            if key == BONE_AT_ALL:
                yield Reason("no_bone", CANNOT_TELL, key)
        elif one.raises or key == BONE_AT_ALL:
            # Unclear is not no, and neither is not having looked.
            yield Reason("open", CANNOT_TELL, key)


BONE_AT_ALL = "an01"
"""The criterion that asks whether it is bone or tooth."""


def circumstances_of(case: Case, know: Knowledge) -> set[str]:
    """What lies round the piece, or has become of it: as told, by the kind of its context, and by its size."""
    kind = case.kind.lower()
    told = {key for key, one in know.circumstances.items() if any(word in kind for word in one.words)}
    small = {"small"} if case.size_mm is not None and case.size_mm < SMALL_MM else set()
    return told | small | set(case.circumstances)


def _round_it(case: Case, know: Knowledge) -> Iterable[Reason]:
    for key in sorted(circumstances_of(case, know)):
        one = know.circumstances.get(key)
        yield Reason("circumstance", one.raises if one is not None else CANNOT_TELL, key)
    if case.photo:
        yield Reason("photo", CANNOT_TELL)
    if (case.pieces or 1) > 1:
        yield Reason("pieces", CANNOT_TELL)


def questions(element: str, know: Knowledge, judges: Collection[str] = ("digger",)) -> tuple[str, ...]:
    """The criteria to ask of an element by whoever can answer them, most telling first.

    First what raises to a stop, then the strong signs of a complete end, then the rest; what says nothing at all is
    not asked.
    """
    asked = [
        one
        for one in know.criteria.values()
        if one.judge in judges and belongs(one, element, know) and (one.elements or element == "" or _anywhere(one))
        and (one.raises or one.points_to != "none" or one.key == BONE_AT_ALL)
    ]  # fmt: skip
    return tuple(one.key for one in sorted(asked, key=lambda one: _rank(one, element)))


def _anywhere(one: Criterion) -> bool:
    """Whether a criterion without elements is asked of any fragment, not only of burnt, young or shaft pieces."""
    return one.on in ("any_fragment", "immature_bone")


def _rank(one: Criterion, element: str) -> tuple[int, int, int, int]:
    own = 0 if one.elements and element else 1
    grave = 0 if one.raises == STOP else 1 if _is_strong(one) and one.complete else 2
    return grave, own, STRENGTHS.index(one.strength), POINTS.index(one.points_to)


def helpful(case: Case, know: Knowledge) -> tuple[str, ...]:
    """Criteria that are open and would help most. First of all whether it is bone, where that is in doubt."""
    doubt = [BONE_AT_ALL] if case.answers.get(BONE_AT_ALL, YES) != YES else []
    still = [
        key
        for judge in JUDGES  # what can be looked at on the spot comes before what waits for others
        for key in questions(case.element, know, (judge,))
        if case.answers.get(key, UNCLEAR) in (UNCLEAR, NOT_LOOKED) and know.criteria[key].strength != "weak"
    ]
    return tuple(dict.fromkeys([*doubt, *still]))[:MOST_HELPFUL]


ANSWER_OF = {STOP: (human.STOP, human.QUERY), CANNOT_TELL: (human.NOT_EXCLUDED,) * 2, CONFIRM: (human.NO_SIGN,) * 2}
"""{outcome: (answer to the human question for bone in the ground, and for bone already lifted)}."""


def answer_for(outcome: str, in_place: bool) -> str:
    """The answer to the human question that an outcome comes to."""
    return ANSWER_OF[outcome][0 if in_place else 1]


def keep(case: Case, verdict: Verdict, version: str) -> dict[str, Any]:
    """What is kept of it with the reading: the version of the criteria, every answer, and the outcome."""
    return {"criteria": version, "answers": dict(sorted(case.answers.items())), "outcome": verdict.outcome}
