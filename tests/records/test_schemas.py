"""Shapes: what fits is silent, what does not is named with its path, and nothing odd makes them raise."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records.schemas import SHAPES, problems_of

READING = {
    "element": "tibia",
    "side": "left",
    "taxon": "sheep_goat",
    "certainty": "certain",
    "portions": {"upper_shaft": "most"},
    "fusion": {"distal": "fused"},
    "sex": None,
    "stage": "trench",
    "compared": "",
}


def test_a_whole_reading_fits():
    assert problems_of("docket", {"reading": READING, "count": 1, "note/1": {"text": "gnawed"}}) == {}


@pytest.mark.parametrize(
    ("path", "value", "part"),
    [
        ("reading", {**READING, "side": "both"}, "side"),
        ("reading", {**READING, "portions": {"upper_shaft": "some"}}, "upper_shaft"),
        ("reading", {name: value for name, value in READING.items() if name != "fusion"}, "fusion"),
        ("human/1", {"answer": "animal"}, "answer"),
        ("count", 2.5, ""),
        ("count", "many", ""),
        ("weight_g", float("nan"), ""),
        ("deleted", "gone", ""),
        ("note/1", "words", ""),
    ],
)
def test_a_value_of_the_wrong_shape_is_named_with_its_path(path, value, part):
    found = problems_of("docket", {path: value})
    assert list(found) == [path]
    assert part in " ".join(found[path])


def test_paths_kinds_and_fields_of_a_newer_version_are_no_problem():
    assert problems_of("docket", {"scan/1": 7, "reading": {**READING, "season": "wet"}}) == {}
    assert problems_of("photo", {"sha256": 4}) == {}


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=8,
)


@given(st.sampled_from([*SHAPES, "unheard of"]), st.data())
def test_no_value_however_odd_makes_a_shape_raise(kind, data):
    names = [*SHAPES.get(kind, {}), "deleted", "else"]
    values = data.draw(st.dictionaries(st.sampled_from(names) | st.text(), _json, max_size=4))
    problems_of(kind, values)
