"""The human question: readings add up to the cautious side, and only a valid assessment that saw a raise lowers it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain.human import (
    CAUTION,
    HUMAN,
    NO_SIGN,
    NON_HUMAN,
    NOT_ASKED,
    NOT_EXCLUDED,
    QUERY,
    STOP,
    Assessment,
    Policy,
    joined,
    released,
    standing,
)

NAMES = assets.knowledge().names
STRICT = Policy(names=NAMES)
ANSWERS = [STOP, QUERY, NOT_EXCLUDED, NO_SIGN, NOT_ASKED]


def reading(answer):
    return {"answer": answer}


def assessed(verdict, seen, role="human_osteologist", signer="p-ost", **more):
    value = {
        "verdict": verdict,
        "taxon": "cattle",
        "element": "metacarpal",
        "seen": list(seen),
        "bone_seen": "bone",
        **more,
    }
    return Assessment(value, signer, role)


def test_a_docket_nobody_asked_about_says_so():
    assert standing({}, {}, STRICT).answer == NOT_ASKED


def test_no_sign_of_human_never_hides_a_raise():
    readings = {"a": reading(STOP), "b": reading(NO_SIGN), "c": reading(NO_SIGN)}
    assert standing(readings, {}, STRICT).answer == STOP


@given(st.lists(st.sampled_from(ANSWERS), min_size=1), st.sampled_from(ANSWERS))
def test_another_reading_never_makes_a_docket_less_cautious(answers, more):
    readings = {str(i): reading(answer) for i, answer in enumerate(answers)}
    before = standing(readings, {}, STRICT).answer
    after = standing({**readings, "late": reading(more)}, {}, STRICT).answer
    assert CAUTION[after] >= CAUTION[before]


def test_a_named_animal_and_part_clears_the_readings_it_has_seen():
    result = standing({"a": reading(STOP)}, {"x": assessed(NON_HUMAN, ["a"])}, STRICT)
    assert (result.answer, result.cleared, result.raised) == (NON_HUMAN, ("a",), False)


def test_an_assessment_that_has_not_seen_a_newer_reading_does_not_clear_it():
    readings = {"a": reading(QUERY), "late": reading(STOP)}
    result = standing(readings, {"x": assessed(NON_HUMAN, ["a"])}, STRICT)
    assert (result.answer, result.open) == (STOP, ("late",))


def test_not_human_without_a_named_animal_and_part_clears_nothing():
    for more in (
        {"taxon": ""}, {"element": None}, {"taxon": "unknown"}, {"taxon": "human"}, {"taxon": "mammal"},
        {"taxon": "large_mammal"}, {"taxon": "medium_mammal"}, {"taxon": "mammal_or_human"}, {"taxon": "newer"},
        {"element": "long_bone"}, {"element": "unidentified_bone"}, {"element": "not a bone"}, {"element": ["rib"]},
        {"taxon": "large_ungulate"}, {"taxon": "large_ungulate", "criteria": {"rb01": "no"}},
    ):  # fmt: skip
        result = standing({"a": reading(QUERY)}, {"x": assessed(NON_HUMAN, ["a"], **more)}, STRICT)
        assert (result.answer, result.void) == (QUERY, {"x": "no_named_animal_and_part"})


SIGN = sorted(NAMES.signs)[0]


def test_a_group_and_a_part_clear_with_the_signs_seen_and_a_second_reader_only_where_the_policy_says_so():
    group = {"taxon": "large_ungulate", "element": "rib", "criteria": {SIGN: "yes"}}
    one = assessed(NON_HUMAN, ["a"], **group)
    two = assessed(NON_HUMAN, ["a"], signer="p-other", **group)
    readings, allowed = {"a": reading(QUERY)}, Policy(names=NAMES, groups=True)
    assert standing(readings, {"x": one, "y": two}, STRICT).void == {"x": "group_not_enough", "y": "group_not_enough"}
    assert standing(readings, {"x": one}, allowed).answer == QUERY
    assert standing(readings, {"x": one, "y": one}, allowed).answer == QUERY
    assert standing(readings, {"x": one, "y": two}, allowed).answer == NON_HUMAN
    named = assessed(NON_HUMAN, ["a"], signer="p-other")
    assert standing(readings, {"x": one, "y": named}, allowed).answer == NON_HUMAN


def test_no_group_that_counts_has_a_human_in_it_and_no_size_is_a_group():
    know = assets.knowledge()
    for key in NAMES.animals | NAMES.groups:
        assert not know.is_a("human", key), key
        assert know.taxa[key].kind != "size_class", key
    assert {"cattle", "sheep_goat", "equid"} <= NAMES.animals
    assert {"large_ungulate", "large_ruminant", "carnivore"} <= NAMES.groups


def test_pictures_alone_cannot_clear():
    result = standing({"a": reading(QUERY)}, {"x": assessed(NON_HUMAN, ["a"], bone_seen="pictures")}, STRICT)
    assert (result.answer, result.void) == (QUERY, {"x": "bone_not_seen"})


def test_cannot_tell_stays_flagged():
    assert standing({"a": reading(STOP)}, {"x": assessed("cannot_tell", ["a"])}, STRICT).answer == STOP


@pytest.mark.parametrize("role", ["recorder", "supervisor", "director", "administrator", ""])
def test_only_a_role_that_may_assess_clears(role):
    result = standing({"a": reading(QUERY)}, {"x": assessed(NON_HUMAN, ["a"], role=role)}, STRICT)
    assert result.answer == QUERY


def test_an_unsigned_assessment_clears_nothing_but_its_human_still_raises():
    nobody = Assessment({"verdict": HUMAN, "seen": []})
    assert standing({}, {"x": nobody}, STRICT).answer == QUERY
    unsigned = Assessment({"verdict": NON_HUMAN, "taxon": "pig", "element": "rib", "bone_seen": "bone", "seen": ["a"]})
    assert standing({"a": reading(STOP)}, {"x": unsigned}, STRICT).answer == STOP


def test_a_zooarchaeologist_clears_only_if_the_policy_names_them_and_with_the_second_reader_it_asks_for():
    one = assessed(NON_HUMAN, ["a"], "zooarchaeologist", "p-zoo")
    two = assessed(NON_HUMAN, ["a"], "zooarchaeologist", "p-zoo2")
    readings = {"a": reading(QUERY)}
    named = frozenset({"p-zoo", "p-zoo2"})
    assert standing(readings, {"x": one}, STRICT).answer == QUERY
    assert standing(readings, {"x": one}, Policy(named, second_reader=True, names=NAMES)).answer == QUERY
    assert standing(readings, {"x": one, "y": one}, Policy(named, second_reader=True, names=NAMES)).answer == QUERY
    assert standing(readings, {"x": one, "y": two}, Policy(named, second_reader=True, names=NAMES)).answer == NON_HUMAN
    assert standing(readings, {"x": one}, Policy(named, second_reader=False, names=NAMES)).answer == NON_HUMAN


def test_human_stands_against_a_mild_assessment_made_meanwhile():
    readings = {"a": reading(QUERY)}
    both = {"x": assessed(HUMAN, ["a"]), "y": assessed(NON_HUMAN, ["a"], signer="p-other")}
    assert standing(readings, both, STRICT).answer == HUMAN


def test_a_later_assessment_that_saw_the_earlier_one_and_the_reading_overturns_it():
    readings = {"a": reading(QUERY)}
    both = {"x": assessed(HUMAN, ["a"]), "y": assessed(NON_HUMAN, ["a", "x"], signer="p-other")}
    assert standing(readings, both, STRICT).answer == NON_HUMAN


def test_overturning_an_assessment_opens_what_only_that_one_had_seen():
    readings = {"a": reading(QUERY)}
    both = {"x": assessed(HUMAN, ["a"]), "y": assessed(NON_HUMAN, ["x"], signer="p-other")}
    assert standing(readings, both, STRICT).answer == QUERY


@pytest.mark.parametrize("odd", [None, 3, [], {}, {"answer": None}, {"answer": "perhaps"}, {"answer": ["stop"]}])
def test_a_reading_that_cannot_be_understood_counts_as_possibly_human(odd):
    assert standing({"a": odd}, {}, STRICT).answer == QUERY


_any = st.recursive(
    st.none() | st.booleans() | st.text(max_size=8) | st.sampled_from([*ANSWERS, HUMAN, NON_HUMAN, "a", "x"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["answer", "verdict", "taxon", "element", "seen", "bone_seen"]), inner)
    ),
    max_leaves=10,
)


@given(st.dictionaries(st.text(max_size=2), _any, max_size=3), st.dictionaries(st.text(max_size=2), _any, max_size=3))
def test_whatever_was_written_there_is_a_standing(readings, assessments):
    signed = {one: Assessment(value, "p", "human_osteologist") for one, value in assessments.items()}
    assert standing(readings, signed, STRICT).answer in CAUTION


@given(st.dictionaries(st.text(max_size=2), _any, min_size=1, max_size=3))
def test_nothing_unsigned_ever_clears_a_raise(assessments):
    unsigned = {one: Assessment(value) for one, value in assessments.items()}
    assert standing({"a": reading(STOP)}, unsigned, STRICT).answer == STOP


def test_dockets_that_are_one_bone_take_the_most_cautious_answer():
    mild, raised = standing({"a": reading(NO_SIGN)}, {}, STRICT), standing({"b": reading(QUERY)}, {}, STRICT)
    assert joined([mild, raised]) == QUERY
    assert joined([]) == NOT_ASKED


def test_a_release_covers_the_readings_it_names_and_a_later_one_opens_the_hold_again():
    word = {"seen": ["a"]}
    assert released(["a"], [(word, "director")])
    assert not released(["a"], [(word, "human_osteologist")])
    assert not released(["a", "b"], [(word, "director")])
    assert not released([], [])
