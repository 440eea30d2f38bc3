"""Two readings of one bone: the same, coarser, or in conflict."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.readings import blank_reading, coarser, compare, differences

K = knowledge()


def tibia(**changes: Any) -> dict[str, Any]:
    reading = blank_reading("tibia", "sheep_goat", K, "trench")
    reading["side"] = "left"
    reading["portions"]["distal_medial"] = "most"
    reading["fusion"]["distal"] = "fused"
    for path, value in changes.items():
        whole, _, key = path.partition("__")
        if key:
            reading[whole] = {**reading[whole], key: value}
        else:
            reading[whole] = value
    return reading


def test_a_blank_reading_writes_out_every_portion_and_every_centre() -> None:
    reading = blank_reading("femur", "pig", K, "scan")
    assert set(reading["portions"]) == {portion.key for portion in K.portions_of("femur")}
    assert set(reading["fusion"]) == {"head", "greater_trochanter", "lesser_trochanter", "distal"}
    assert set(reading["portions"].values()) | set(reading["fusion"].values()) == {"not_examined"}
    assert reading["stage"] == "scan"
    assert reading["side"] is None


def test_a_blank_reading_leaves_out_the_centres_that_the_taxon_does_not_have() -> None:
    assert blank_reading("phalanx_3", "cattle", K)["fusion"] == {}
    assert blank_reading("phalanx_3", "human", K)["fusion"] == {"proximal": "not_examined"}
    assert blank_reading("tibia", "fowl", K)["fusion"] == {"tarsals": "not_examined"}
    assert "tarsals" not in blank_reading("tibia", None, K)["fusion"]


def test_a_bone_of_the_midline_is_on_the_midline_from_the_start() -> None:
    assert blank_reading("atlas", None, K)["side"] == "midline"
    assert blank_reading("mandible", None, K)["side"] is None


def test_a_blank_reading_of_an_indeterminate_or_unknown_bone_has_no_portions() -> None:
    for element in ("long_bone", None, "no_such_bone"):
        reading = blank_reading(element, None, K)
        assert reading["portions"] == {}
        assert reading["fusion"] == {}


@pytest.mark.parametrize(
    ("field", "one", "other", "verdict"),
    [
        ("taxon", "sheep", "sheep_goat", "precision"),
        ("taxon", "sheep", "medium_mammal", "precision"),
        ("taxon", "sheep", "unknown", "precision"),
        ("taxon", "sheep", None, "precision"),
        ("taxon", "sheep", "goat", "conflict"),
        ("taxon", "sheep_goat", "pig", "conflict"),
        ("taxon", "human", "medium_mammal", "conflict"),
        ("taxon", "human", "mammal", "precision"),
        ("taxon", "fowl", "mammal", "conflict"),
        ("taxon", "sheep", "woolly_thing", "conflict"),
        ("side", "left", "unsided", "precision"),
        ("side", "left", None, "precision"),
        ("side", "unsided", None, "precision"),
        ("side", "left", "right", "conflict"),
        ("certainty", "certain", "cf", "precision"),
        ("element", "tibia", "long_bone", "precision"),
        ("element", "tibia", None, "precision"),
        ("element", "tibia", "femur", "conflict"),
        ("element", "astragalus", "long_bone", "conflict"),
        ("sex", "male", None, "precision"),
        ("sex", "male", "female", "conflict"),
        ("stage", "trench", "analysis", "precision"),
        ("compared", "own collection", "nothing", "precision"),
        ("portions__upper_shaft", "most", "not_examined", "precision"),
        ("portions__upper_shaft", "most", "part", "conflict"),
        ("portions__upper_shaft", "most", "absent", "conflict"),
        ("portions__upper_shaft", "part", "absent", "conflict"),
        ("fusion__proximal", "fused", "unfused", "conflict"),
        ("fusion__proximal", "fusing", "fused", "conflict"),
        ("fusion__proximal", "fusing", "unfused", "conflict"),
        ("fusion__proximal", "fused", "not_visible", "precision"),
        ("fusion__proximal", "unfused", "loose_epiphysis", "precision"),
        ("fusion__proximal", "fused", "loose_epiphysis", "conflict"),
        ("fusion__proximal", "not_examined", "not_visible", "precision"),
    ],
)
def test_what_is_precision_and_what_is_conflict(field: str, one: str | None, other: str | None, verdict: str) -> None:
    a, b = tibia(**{field: one}), tibia(**{field: other})
    assert compare(a, b, K) == verdict
    assert differences(a, b, K) == {field.replace("__", "/"): verdict}


def test_a_portion_that_was_not_written_counts_as_not_examined() -> None:
    a, b = tibia(), tibia()
    del b["portions"]["upper_shaft"]
    assert compare(a, b, K) == "same"


def test_a_conflict_in_one_field_outweighs_precision_in_others() -> None:
    assert compare(tibia(side="right", taxon="sheep"), tibia(taxon="sheep_goat"), K) == "conflict"


def test_the_coarser_of_two_readings_keeps_what_both_say() -> None:
    found = coarser(tibia(taxon="sheep", fusion__proximal="unfused"), tibia(taxon="sheep_goat", side="unsided"), K)
    assert found["taxon"] == "sheep_goat"
    assert found["side"] == "unsided"
    assert found["fusion"] == {"proximal": "not_examined", "tuberosity": "not_examined", "distal": "fused"}
    assert found["portions"]["distal_medial"] == "most"


def test_the_coarser_of_two_conflicting_readings_says_neither() -> None:
    found = coarser(tibia(taxon="sheep", portions__distal_medial="part"), tibia(taxon="pig", element="femur"), K)
    assert found["taxon"] == "medium_artiodactyl"
    assert found["element"] == "long_bone"
    assert found["portions"]["distal_medial"] == "not_examined"


def test_true_and_one_are_two_values() -> None:
    assert compare(tibia(sex=True), tibia(sex=1), K) == "conflict"


def test_a_reading_without_portions_stays_one() -> None:
    bare = {**tibia(), "portions": None}
    assert coarser(bare, copy.deepcopy(bare), K) == bare
    assert compare(bare, {**tibia(), "portions": {}}, K) == "same"


words = st.sampled_from([*K.taxa, *K.elements, *(word for words in K.words.values() for word in words), "", "odd word"])
odd = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | words | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words | st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
FIELDS = ("element", "side", "taxon", "certainty", "portions", "fusion", "sex", "stage", "compared", "later_field")


@st.composite
def readings(draw: st.DrawFn) -> Any:
    """Mostly readings as they are written, some with odd values in them, some that are none at all."""
    if draw(st.integers(0, 9)) == 0:
        return draw(odd)
    element = draw(st.sampled_from([None, "tibia", "femur", "long_bone", "atlas"]))
    taxon = draw(st.sampled_from([None, *K.taxa]))
    reading = blank_reading(element, taxon, K, draw(st.sampled_from(["trench", "scan", "analysis"])))
    reading["side"] = draw(st.sampled_from([None, "left", "right", "unsided", "midline"]))
    for part, states in (("portions", "portion_state"), ("fusion", "fusion_state")):
        for key in reading[part]:
            reading[part][key] = draw(st.sampled_from(K.words[states]))
    for field in draw(st.lists(st.sampled_from(FIELDS), max_size=2)):
        reading[field] = draw(odd)
    return reading


@given(readings(), readings())
def test_comparing_is_symmetric(a: Any, b: Any) -> None:
    assert compare(a, b, K) == compare(b, a, K)
    assert differences(a, b, K) == differences(b, a, K)
    assert coarser(a, b, K) == coarser(b, a, K)


@given(readings())
def test_a_reading_is_the_same_as_itself(a: Any) -> None:
    twin = copy.deepcopy(a)
    assert compare(a, twin, K) == "same"
    assert coarser(a, twin, K) == a


@given(readings(), readings())
def test_the_coarser_reading_conflicts_with_neither(a: Any, b: Any) -> None:
    bound = coarser(a, b, K)
    assert compare(bound, a, K) != "conflict"
    assert compare(bound, b, K) != "conflict"


@given(readings(), readings())
def test_taking_the_coarser_again_changes_nothing(a: Any, b: Any) -> None:
    bound = coarser(a, b, K)
    assert compare(coarser(bound, a, K), bound, K) == "same"
    assert compare(coarser(bound, b, K), bound, K) == "same"


@given(readings(), readings())
def test_a_finer_reading_settles_a_difference_of_precision(a: Any, b: Any) -> None:
    if compare(a, b, K) == "precision":
        bound = coarser(a, b, K)
        assert set(differences(bound, a, K).values()) <= {"precision"}
        assert set(differences(bound, b, K).values()) <= {"precision"}
