"""The human question: where a docket stands, given its readings and their assessments.

Readings only add up to the cautious side; a raise goes down by a valid assessment that names it, and by nothing else.
Not here: cryptography (records.signing says whether a signature holds), the questions of the aid, words for people.

Answers of a reading, most cautious first: `stop` (bone in the ground that may be human), `query` (already lifted),
`not_excluded` (too small, worn or burnt to say), `no_sign` (nothing here points to human; a specialist must confirm).
No reading at all is `not_asked`. An answer this version does not know counts as `query`: unclear is not no.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain.naming import ANIMAL, GROUP, NOTHING, Naming, named

HUMAN, STOP, QUERY, NOT_EXCLUDED, NOT_ASKED, NO_SIGN, NON_HUMAN = (
    "human",
    "stop",
    "query",
    "not_excluded",
    "not_asked",
    "no_sign",
    "non_human",
)
CAUTION = {HUMAN: 6, STOP: 5, QUERY: 4, NOT_EXCLUDED: 3, NOT_ASKED: 2, NO_SIGN: 1, NON_HUMAN: 0}
"""Where a docket may stand, and how cautious that is; joined dockets take the most cautious."""

RAISED = frozenset({HUMAN, STOP, QUERY})
"""The standings that a hold follows."""


@dataclass(frozen=True, slots=True)
class Assessment:
    """An assessment and what its signature proved.

    value   the assessment as written (see the schema `assessment`)
    signer  id of the person whose key signed it, "" where no signature holds
    role    the role that key was granted for, "" where no signature holds
    """

    value: Any
    signer: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True)
class Policy:
    """What the site has decided, and the names that count.

    zooarchaeologists  ids of those who may assess
    second_reader      whether one of them needs a second reader
    groups             whether two readers may clear a bone by a group and a part ("large ungulate, rib") and the signs
    names              what counts as a name at all
    """

    zooarchaeologists: frozenset[str] = frozenset()
    second_reader: bool = True
    groups: bool = False
    names: Naming = field(default_factory=Naming)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a docket stands.

    answer     one of CAUTION
    open       ids of the readings that no effective assessment has named
    cleared    ids of the readings that one has
    effective  ids of the assessments that count and that no later one has overturned
    void       {assessment id: why it does not count}
    """

    answer: str
    open: tuple[str, ...] = ()
    cleared: tuple[str, ...] = ()
    effective: tuple[str, ...] = ()
    void: Mapping[str, str] = field(default_factory=dict)

    @property
    def raised(self) -> bool:
        """Whether a hold follows it."""
        return self.answer in RAISED


def answer_of(reading: Any) -> str:
    """The answer of a reading as it counts, whatever was written."""
    answer = reading.get("answer") if isinstance(reading, Mapping) else None
    return answer if isinstance(answer, str) and answer in (STOP, QUERY, NOT_EXCLUDED, NO_SIGN, NOT_ASKED) else QUERY


def most_cautious(answers: Iterable[str]) -> str:
    """The most cautious of some answers; of none, `not_asked`."""
    return max(answers, key=CAUTION.__getitem__, default=NOT_ASKED)


def why_void(assessment: Assessment, policy: Policy) -> str:
    """Why an assessment cannot count, as a key; "" if it may (a second reader may still be wanting)."""
    value = assessment.value
    if not isinstance(value, Mapping) or value.get("verdict") not in (HUMAN, NON_HUMAN, "cannot_tell"):
        return "no_verdict"
    if not assessment.signer:
        return "no_valid_signature"
    if assessment.role == "zooarchaeologist" and assessment.signer not in policy.zooarchaeologists:
        return "not_named_by_policy"
    if assessment.role not in ("human_osteologist", "zooarchaeologist"):
        return "role_may_not_assess"
    if value["verdict"] == NON_HUMAN:
        found = named(value, policy.names)
        if found == NOTHING or (found == GROUP and not policy.groups):
            return "no_named_animal_and_part" if found == NOTHING else "group_not_enough"
        if value.get("bone_seen") != "bone":
            return "bone_not_seen"
    return ""


def _seen(assessment: Assessment) -> frozenset[str]:
    seen = assessment.value.get("seen")
    return frozenset(one for one in seen if isinstance(one, str)) if isinstance(seen, list) else frozenset()


def standing(readings: Mapping[str, Any], assessments: Mapping[str, Assessment], policy: Policy) -> Standing:
    """Where a docket stands. `readings` and `assessments` by id ("<path>@<change id>").

    An assessment that has not seen a reading does not clear it. `cannot_tell` clears nothing. A verdict `human`
    stands until a later effective assessment has seen it; one that is void still raises to `query`.
    """
    if not assessments:  # nearly every docket
        return Standing(most_cautious(map(answer_of, readings.values())), tuple(sorted(readings)))
    void = {one: why for one, item in assessments.items() if (why := why_void(item, policy))}
    valid = {one: item for one, item in assessments.items() if one not in void}
    # An assessment that a later one has overturned covers nothing any more: what it had seen is open again
    # unless the later one has seen it too.
    naming = _by_seen(valid.values())
    standing_ones = {one: item for one, item in valid.items() if not _settled(naming.get(one, ()), policy)}
    effective = _by_seen(standing_ones.values())

    def settled(one: str) -> bool:
        return _settled(effective.get(one, ()), policy)

    open_readings = tuple(sorted(one for one in readings if not settled(one)))
    cleared = tuple(sorted(one for one in readings if settled(one)))
    # An unsigned "this is human" is still somebody saying so.
    answers = [answer_of(readings[one]) for one in open_readings]
    answers += [
        QUERY
        for one in void
        if isinstance(value := assessments[one].value, Mapping) and value.get("verdict") == HUMAN and not settled(one)
    ]
    answers += [HUMAN for item in standing_ones.values() if item.value["verdict"] == HUMAN]
    if not answers:
        answers = [NON_HUMAN if cleared else NOT_ASKED]
    elif set(answers) == {NOT_ASKED} and cleared:
        answers = [NON_HUMAN]
    return Standing(
        answer=max(answers, key=CAUTION.__getitem__),
        open=open_readings,
        cleared=cleared,
        effective=tuple(sorted(standing_ones)),
        void=void,
    )


def _by_seen(assessments: Iterable[Assessment]) -> dict[str, list[Assessment]]:
    """{id of a reading or an assessment: the assessments that name it}."""
    found: dict[str, list[Assessment]] = {}
    for item in assessments:
        for one in _seen(item):
            found.setdefault(one, []).append(item)
    return found


def _settled(naming: Sequence[Assessment], policy: Policy) -> bool:
    """Whether the assessments that name a reading or an assessment settle it."""
    return any(_enough(naming, verdict, policy) for verdict in (HUMAN, NON_HUMAN))


def _enough(naming: Sequence[Assessment], verdict: str, policy: Policy) -> bool:
    agreeing = [item for item in naming if item.value["verdict"] == verdict]
    alone = any(
        (item.role == "human_osteologist" or not policy.second_reader)
        and (verdict == HUMAN or named(item.value, policy.names) == ANIMAL)
        for item in agreeing
    )
    return alone or len({item.signer for item in agreeing}) >= 2


def joined(standings: Iterable[Standing]) -> str:
    """The answer for dockets that are one bone: the most cautious of theirs. No docket: `not_asked`."""
    return most_cautious(one.answer for one in standings)


def released(readings: Iterable[str], releases: Iterable[tuple[Any, str]]) -> bool:
    """Whether a hold is released: (value, role its signature proved) pairs; a later reading opens it again."""
    seen: set[str] = set()
    for value, role in releases:
        if role == "director" and isinstance(value, Mapping) and isinstance(value.get("seen"), list):
            seen.update(one for one in value["seen"] if isinstance(one, str))
    wanted = set(readings)
    return bool(seen) and wanted <= seen
