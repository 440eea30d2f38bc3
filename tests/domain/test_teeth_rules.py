"""The rules about teeth: quiet on sound jaws, right about order, and never raising whatever a record says."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.rules import teeth as tooth_rules
from fieldapp.domain.rules.findings import Docket
from fieldapp.domain.teeth import COMING, GONE, JAWS
from tests.domain.cases.records import docket, reading
from tests.domain.cases.teeth import j, jaw, loose, tooth, worn
from tests.domain.test_rules import fired

K = assets.knowledge()
T = K.teeth
TEXTS = assets.texts()
OWN = {**tooth_rules.RULES, **tooth_rules.ALWAYS_RULES}

with (Path(__file__).parents[1] / "data" / "outside" / "grant_wear_published.csv").open(encoding="utf-8") as opened:
    # Grant 1982 scores, from memory
    GRANT = {one["code"]: int(one["numerical_score"]) for one in csv.DictReader(opened) if one["kind"] == "wear"}


def test_nothing_is_found_in_sound_jaws_and_loose_teeth() -> None:
    sound = [
        jaw(worn("dP4", "g"), worn("M1", "e"), worn("M2", "E", stage="erupting"), taxon="sheep_goat", stage="analysis"),
        jaw(worn("P4", "f"), worn("M1", "k"), worn("M2", "g"), worn("M3", "d"), stage="analysis", age="adult"),
        jaw(*(tooth(key) for key in ("I1", "I2", "I3", "C", "P1", "P2", "P3", "P4")), taxon="pig"),
        jaw(*(worn(key, "9A", "payne_1987") for key in ("M1", "M2")), worn("M3", "11G", "payne_1987"), taxon="sheep"),
        jaw(tooth("C", seat="socket_only", stage=None), tooth("M1", crown_height_mm=8), taxon="dog", stage="analysis"),
        jaw(tooth("P2", crown_height_mm=60), tooth("M3", stage="lost_in_life"), taxon="horse", stage="analysis"),
        jaw(*(tooth(key) for key in ("dP2", "dP3", "dP4")), tooth("M1", stage="erupting"), age="juvenile"),
        jaw(tooth("M1", side="left"), tooth("M1", side="right"), element="mandible", side="midline", taxon="human"),
        jaw(tooth("M3"), taxon=None),
        loose(worn("M3", "g", jaw="lower"), stage="analysis").values,
        loose(tooth("C", jaw="upper"), taxon="red_deer", position="C").values,
        loose(worn("M1_2", "g", jaw="lower")).values,
        docket(reading("loose_tooth", "medium_mammal", stage="analysis")),
        docket(reading("mandible", "pig", side="left", stage="analysis")),
    ]
    for values in sound:
        found = [problem.rule for problem in rules.check_docket(values, rules.Around(), K) if problem.rule in OWN]
        assert found == [], values


def test_a_tooth_is_as_far_through_as_its_wear_code_says_where_nothing_else_does() -> None:
    found = tooth_rules.items(Docket(jaw(worn("M1", "½", stage=None), worn("M2", "V", stage=None)), K), K)
    assert [one.state for one in found] == ["half_up", "in_crypt"]
    assert "eruption_order" in fired(j(worn("M1", "V", stage=None), worn("M2", "½", stage=None)))


def test_a_tooth_has_the_jaw_and_side_of_its_bone_unless_its_own_are_written() -> None:
    one, other = tooth_rules.items(Docket(jaw(tooth(), tooth(jaw="upper", side="right")), K), K)
    assert (one.jaw, one.side, other.jaw, other.side) == ("lower", "left", "upper", "right")
    (skull,) = tooth_rules.items(Docket(jaw(tooth(), element="skull", side="midline"), K), K)
    assert (skull.jaw, skull.side) == ("upper", None)


@given(st.dictionaries(st.sampled_from(["M1", "M2", "M3"]), st.sampled_from(sorted(GRANT)), min_size=2))
def test_wear_runs_from_the_front_backwards_after_the_published_scores(wear: dict[str, str]) -> None:
    # Grant 1982 scores as recalled in grant_wear_published
    scores = [GRANT[wear[key]] for key in sorted(wear)]
    found = fired(j(*(worn(key, code) for key, code in wear.items())))
    assert ("wear_order" in found) == (scores != sorted(scores, reverse=True))


@given(st.dictionaries(st.sampled_from(["M1", "M2", "M3"]), st.sampled_from(COMING), min_size=2))
def test_molars_come_through_from_the_front_backwards(said: dict[str, str]) -> None:
    steps = [COMING.index(said[key]) for key in sorted(said)]
    found = fired(j(*(tooth(key, stage=state) for key, state in said.items()), taxon=None))
    assert ("eruption_order" in found) == (steps != sorted(steps, reverse=True))


def test_one_clash_is_spoken_of_once() -> None:
    order = fired(j(tooth("M1", stage="in_crypt"), tooth("M3")))
    assert "eruption_order" in order
    assert "tooth_age_clash" not in order
    milk = fired(j(tooth("dI1"), tooth("I1")))
    assert "milk_tooth_with_worn_successor" in milk
    assert "tooth_age_clash" not in milk


states = st.sampled_from([*COMING, *GONE, "not_visible", "odd"])
taxa = st.sampled_from([*T.dentitions, "medium_mammal", "odd"])
odd_values = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=3) | st.just([]) | st.just({})
odd_teeth = st.fixed_dictionaries(
    {},
    optional={
        "tooth": st.sampled_from(sorted(T.teeth)) | odd_values,
        "jaw": st.sampled_from(JAWS) | odd_values,
        "side": st.sampled_from(["left", "right", "midline"]) | odd_values,
        "seat": st.sampled_from(["in_jaw", "loose", "socket_only"]) | odd_values,
        "stage": states | odd_values,
        "scheme": st.sampled_from(sorted(T.schemes)) | odd_values,
        "wear": st.sampled_from(["a", "g", "U", "½", "9A", "11G", "G"]) | odd_values,
        "crown_height_mm": odd_values,
    },
)
odd_jaws = st.builds(
    lambda element, taxon, age, position, teeth: jaw(
        *teeth, element=element, taxon=taxon, age=age, position=position, stage="analysis"
    ),
    st.sampled_from(["mandible", "skull", "loose_tooth", "humerus", "long_bone"]),
    taxa,
    st.sampled_from([*K.words["age_class"], None]),
    st.sampled_from(sorted(T.teeth)) | odd_values,
    st.lists(odd_teeth | odd_values, max_size=5),
)


@given(odd_jaws, odd_jaws)
def test_no_teeth_at_all_make_a_rule_raise_and_every_sentence_is_filled_in(one: Any, other: Any) -> None:
    group = {"relation": "articulated_observed", "member/a": True, "member/b": True}
    found = (
        *rules.check_docket(one, rules.Around(), K),
        *rules.check_group(group, {"a": one, "b": other}, K),
    )
    for problem in found:
        said = rules.sentence(problem, TEXTS)
        if problem.rule in OWN or problem.rule in tooth_rules.GROUP_RULES:
            assert "rule." not in said
            assert "tooth." not in said
            assert "wear_scheme." not in said
            assert all(f"({name})" not in said for name in ("tooth", "jaw", "scheme", "word", "state", "other"))


def test_two_jaws_of_one_animal_may_hold_the_same_tooth_of_different_sides() -> None:
    left, right = jaw(tooth("M3")), jaw(tooth("M3"), side="right")
    group = {"relation": "articulated_observed", "member/a": True, "member/b": True}
    assert "group_same_tooth_twice" not in {one.rule for one in rules.check_group(group, {"a": left, "b": right}, K)}
    assert "group_same_tooth_twice" in {one.rule for one in rules.check_group(group, {"a": left, "b": left}, K)}
    group["relation"] = "associated"
    assert not {one.rule for one in rules.check_group(group, {"a": left, "b": left}, K)} & set(tooth_rules.GROUP_RULES)
