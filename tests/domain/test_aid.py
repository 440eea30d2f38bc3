"""The aid: what answers allow to be said. It is held to behaviour; whether it is right nobody has measured.

The cases are told in the project's own words after published finds. What each of them asks of an aid is a decision of
the project; the facts of the find are the source's, which is named. Eight human pieces support no error rate: with
none missed of eight the upper 95 % bound is about 31 % (exact; see the test of it against scipy).
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.domain.aid import (
    ANSWERS,
    CANNOT_TELL,
    CONFIRM,
    NO,
    NOT_LOOKED,
    OUTCOMES,
    STOP,
    UNCLEAR,
    YES,
    Case,
    answer_for,
    judge,
    keep,
    questions,
)

KNOW = assets.knowledge()


def outcome(case: Case) -> str:
    return judge(case, KNOW).outcome


def yes(*keys: str) -> dict[str, str]:
    return dict.fromkeys(keys, YES)


WEAK_ANIMAL = [key for key, one in KNOW.criteria.items() if (one.points_to, one.strength) == ("non_human", "weak")]

HUMAN_CASES: dict[str, tuple[Case, tuple[str, ...]]] = {
    # Owsley, Mires & Keith 1985, J. Forensic Sci. (abstract seen)
    "six splinters, said to be deer": (Case(answers={"sh01": UNCLEAR}), (STOP, CANNOT_TELL)),
    # Easton villa, burial 7 (page seen)
    "a newborn under a villa": (Case(answers=yes("im03", "im04", "im05", "mn02", "an14")), (STOP,)),
    # Brown et al. 2016, Denisova 11 (paper seen)
    "a splinter of a cave": (Case(element="long_bone", size_mm=24), (CANNOT_TELL,)),
    # Dekker et al. 2021, bone points (abstract seen)
    "a shaped point": (Case(answers=yes("an07")), (CANNOT_TELL,)),
    # Ubelaker et al. 2004, six pieces (abstract seen)
    "a piece without form": (Case(), (CANNOT_TELL,)),
}
OTHER_CASES: dict[str, tuple[Case, str]] = {
    # A bear's paw in West Virginia, 2004 (report seen)
    "five fingers in an envelope": (Case(answers=yes("ha07")), STOP),
    # A bear's paw in Nebraska (report seen)
    "five fingers, one face grooved": (Case(answers={"ha07": YES, "ha04": NO}), STOP),
    # Orce VM-0 (summaries seen)
    "a vault piece with rock on it": (Case(element="skull", answers={"cv02": YES, "cv03": UNCLEAR}), STOP),
    "the same after cleaning": (Case(element="skull", answers={"cv02": YES, "cv03": NO}), STOP),
    # Jersey 2008 (forum copy of a report seen)
    "a curved piece that was wood": (Case(element="skull", answers={"cv02": YES, "an01": UNCLEAR}), STOP),
    # Maryland 2002 (newspaper seen)
    "a leg bone beside a boot": (Case(answers=yes("an13")), STOP),
    # A deer at a truck stop (report seen)
    "long bones without a skull": (
        Case(element="long_bone", answers={"hu02": NOT_LOOKED, "fe04": NOT_LOOKED}),
        CANNOT_TELL,
    ),
    # Hillson's handbook (page of contents seen)
    "a cannon bone": (Case(element="metapodial", answers=yes("ha09")), CONFIRM),
    "a cannon bone, and no idea which bone": (Case(answers=yes("ha09")), CONFIRM),
    # Dixon et al. 2010, Alder Creek (abstract seen)
    "one of thousands, burnt": (Case(size_mm=9, circumstances={"burnt"}), CANNOT_TELL),
    # made up
    "nothing answered": (Case(), CANNOT_TELL),
    "ten weak signs": (Case(answers=yes(*WEAK_ANIMAL)), CANNOT_TELL),
    "two rollers in a grave": (Case(answers=yes("ha09", "an09")), STOP),
    "two rollers in a grave by its context": (Case(kind="grave", answers=yes("ha09")), STOP),
    "two rollers beside an urn": (Case(kind="urn pit", answers=yes("ha09")), STOP),
    "both ends joined, from a picture": (Case(answers=yes("im01"), size_mm=40, photo=True), CANNOT_TELL),
    "two rollers from a picture": (Case(answers=yes("ha09"), photo=True), CANNOT_TELL),
    "one burnt piece of forty tested": (Case(answers=yes("sh07"), pieces=40), STOP),
    "two rollers on one of forty": (Case(answers=yes("ha09"), pieces=40), CANNOT_TELL),
    "two rollers on a rib": (Case(element="rib", answers=yes("ha09")), CANNOT_TELL),
    "joined forearm bones, no end": (Case(element="radius", answers=yes("ra01")), CANNOT_TELL),
    "two rollers, and whether it is a grave is unclear": (Case(answers={"ha09": YES, "an09": UNCLEAR}), CANNOT_TELL),
}


@pytest.mark.parametrize("name", HUMAN_CASES)
def test_no_published_human_piece_comes_to_the_mildest_outcome(name: str) -> None:
    case, allowed = HUMAN_CASES[name]
    assert outcome(case) in allowed


@pytest.mark.parametrize("name", OTHER_CASES)
def test_each_other_case_comes_to_what_it_asks_for(name: str) -> None:
    case, required = OTHER_CASES[name]
    assert outcome(case) == required


def test_a_piece_that_may_not_be_bone_is_first_of_all_to_be_tested_for_that() -> None:
    case, _ = OTHER_CASES["a curved piece that was wood"]
    assert judge(case, KNOW).helpful[0] == "an01"


def test_eight_human_pieces_support_no_error_rate() -> None:
    # scipy.stats.binomtest, exact (Clopper-Pearson) interval, one-sided at 95 %.
    from scipy.stats import binomtest

    bound = binomtest(0, 8, alternative="less").proportion_ci(0.95, "exact").high
    assert bound == pytest.approx(0.312, abs=0.001)


# -- whatever is answered --

KEYS = sorted(KNOW.criteria)
answers = st.dictionaries(st.sampled_from(KEYS), st.sampled_from(ANSWERS), max_size=8)
strong_first = st.builds(
    lambda rest, strong: {**rest, **strong},
    answers,
    st.dictionaries(st.sampled_from(["ha09", "fo04", "ha01", "to04", "an11"]), st.just(YES), max_size=2),
)
cases = st.builds(
    Case,
    element=st.sampled_from(["", "femur", "metacarpal", "rib", "skull", "astragalus", "long_bone", "loose_tooth"]),
    kind=st.sampled_from(["", "ditch_fill", "midden", "grave", "cremation_deposit"]),
    answers=strong_first,
    size_mm=st.one_of(st.none(), st.floats(1, 400)),
    photo=st.booleans(),
    pieces=st.one_of(st.none(), st.integers(1, 40)),
    circumstances=st.frozensets(st.sampled_from(["infant", "burnt", "worn", "worked"]), max_size=1),
)


def milder(one: str, other: str) -> bool:
    return OUTCOMES.index(one) < OUTCOMES.index(other)


def answered(case: Case, changes: dict[str, str | None]) -> Case:
    new = {key: said for key, said in {**case.answers, **changes}.items() if said is not None}
    return dataclasses.replace(case, answers=new)


@given(case=cases)
def test_dropping_a_sign_of_no_human_never_makes_it_milder(case: Case) -> None:
    for key, said in case.answers.items():
        one = KNOW.criteria[key]
        # That one piece of several was tested is itself a doubt about the others, and goes with the answer.
        if one.points_to == "non_human" and said == YES and not (one.judge == "laboratory" and (case.pieces or 1) > 1):
            assert not milder(outcome(answered(case, {key: None})), outcome(case))


@given(case=cases, key=st.sampled_from(KEYS), said=st.sampled_from([UNCLEAR, NOT_LOOKED]))
def test_unclear_and_not_looked_at_are_never_milder_than_no(case: Case, key: str, said: str) -> None:
    if KNOW.criteria[key].points_to == "human":
        assert not milder(outcome(answered(case, {key: said})), outcome(answered(case, {key: NO})))


@given(case=cases, key=st.sampled_from(KEYS))
def test_a_sign_of_human_never_makes_it_milder_and_one_of_weight_stops(case: Case, key: str) -> None:
    one = KNOW.criteria[key]
    if one.points_to == "human" and key not in case.answers:
        after = outcome(answered(case, {key: YES}))
        assert not milder(after, outcome(case))
        assert one.strength == "weak" or after == STOP


@given(case=cases, keys=st.sets(st.sampled_from(WEAK_ANIMAL)))
def test_no_number_of_weak_signs_makes_it_milder(case: Case, keys: set[str]) -> None:
    for key in keys:
        if case.answers.get(key, NO) == NO:
            continue
        keys = keys - {key}
    assert not milder(outcome(answered(case, dict.fromkeys(keys, YES))), outcome(case))


@given(case=cases)
def test_the_mildest_needs_a_strong_sign_and_nothing_that_raises(case: Case) -> None:
    found = judge(case, KNOW)
    if found.outcome != CONFIRM:
        return
    assert not case.photo
    assert (case.pieces or 1) == 1
    assert not case.circumstances
    assert case.kind not in ("grave", "cremation_deposit")
    said = {key for key, answer in case.answers.items() if answer == YES}
    assert any(KNOW.criteria[key].complete and KNOW.criteria[key].strength == "strong" for key in said)
    assert not any(KNOW.criteria[key].points_to == "human" for key in said)
    assert {one.key for one in found.reasons} <= {"strong", "other_bone"}


@given(case=cases)
def test_every_outcome_but_the_mildest_has_a_reason_of_its_gravity(case: Case) -> None:
    found = judge(case, KNOW)
    assert found.reasons[0].raises == found.outcome


# -- what is asked --


@pytest.mark.parametrize("element", ["", *sorted(KNOW.elements)])
def test_a_digger_is_asked_what_a_digger_can_answer_the_gravest_first(element: str) -> None:
    asked = questions(element, KNOW)
    assert asked
    assert {KNOW.criteria[key].judge for key in asked} == {"digger"}
    raises = [KNOW.criteria[key].raises == STOP for key in asked]
    assert raises == sorted(raises, reverse=True)


def test_what_is_said_never_says_animal() -> None:
    texts = assets.texts()
    said = [text for key, text in texts.items() if key.startswith("aid.")]
    assert said
    assert not [text for text in said if "animal" in text.lower() or "not human" in text.lower()]


def test_what_becomes_of_an_outcome_is_an_answer_as_cautious() -> None:
    assert answer_for(STOP, in_place=True) == human.STOP
    assert answer_for(STOP, in_place=False) == human.QUERY
    assert answer_for(CANNOT_TELL, in_place=True) == human.NOT_EXCLUDED
    assert answer_for(CONFIRM, in_place=False) == human.NO_SIGN


def test_version_and_every_answer_are_kept() -> None:
    case = Case(answers={"ha09": YES, "an09": NO})
    kept: dict[str, Any] = keep(case, judge(case, KNOW), assets.criteria_version())
    assert kept == {"criteria": assets.criteria_version(), "answers": dict(case.answers), "outcome": CONFIRM}


def test_the_share_of_answers_that_come_to_each_outcome_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """All combinations of answers to a digger's six first questions of a bone, and needless stops among the cases."""
    counted: Counter[str] = Counter()
    for element in ("metacarpal", "astragalus", "rib", "femur"):
        asked = questions(element, KNOW)[:6]
        for said in product(ANSWERS, repeat=len(asked)):
            counted[outcome(Case(element=element, answers=dict(zip(asked, said, strict=True))))] += 1
    whole = sum(counted.values())
    animal = [case for case, _ in OTHER_CASES.values()]
    stops = sum(outcome(case) == STOP for case in animal)
    with capsys.disabled():
        shares = ", ".join(f"{one} {100 * counted[one] / whole:.1f} %" for one in reversed(OUTCOMES))
        print(
            f"\nof {whole} combinations: {shares}; of {len(animal)} pieces that are no human's or made up: {stops} stop"
        )
    assert 0 < counted[CONFIRM] < counted[CANNOT_TELL] < counted[STOP]
