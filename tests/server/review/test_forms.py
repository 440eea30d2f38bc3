"""What a form makes of any record and of anything that is typed: nothing is altered by itself, and nothing breaks."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.readings import blank_reading
from server.review import forms
from server.review.docket_form import DocketForm
from tests.server.tablets import an_id

ONCE = an_id("once")
SCALARS = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False), st.text(max_size=8))
ANYTHING = st.recursive(
    SCALARS,
    lambda of: st.one_of(st.lists(of, max_size=2), st.dictionaries(st.text(max_size=5), of, max_size=3)),
    max_leaves=5,
)
PATHS = st.sampled_from(
    [
        *(name.partition(".")[0] for name in forms.FIELDS["docket"]),
        *(f"{sort}/{n}" for sort in forms.ITEMS["docket"] for n in "12"),
        "reading",
        "unheard_of",
    ]
)
READINGS = st.builds(
    lambda element, taxon, state: {
        **blank_reading(element, taxon, knowledge(), "trench"),
        "portions": {one.key: state for one in knowledge().portions_of(element or "", taxon)},
    },
    st.sampled_from([None, "tibia", "skull", "rib", "astragalus"]),
    st.sampled_from([None, "sheep", "fowl", "large_mammal"]),
    st.sampled_from(["most", "absent", "not_examined"]),
)


def docket(values: dict[str, Any], sent: dict[str, str] | None) -> DocketForm:
    return DocketForm(values, ONCE, sent, {}, lambda kind, label: [], knowledge=knowledge())


@given(st.dictionaries(PATHS, ANYTHING, max_size=6), st.one_of(ANYTHING, READINGS))
def test_what_comes_back_as_it_was_shown_alters_nothing(values: dict[str, Any], reading: Any) -> None:
    values = {**values, "reading": reading}
    shown = docket(values, None)
    typed = {**shown.typed, "parts_of": shown.parts_of}
    # As a browser sends it and the desk takes it.
    back = docket(values, {name: text.replace("\0", "").replace("\n", "\r\n").strip() for name, text in typed.items()})
    assert back.altered() == {}
    assert back.faults == {}
    assert not back.asks_for_parts


@given(READINGS, st.dictionaries(st.sampled_from([*forms.FIELDS["docket"], "element", "taxon", "side", "rest", "stage",
    "new/tooth/0.wear", "new/mark/1.kind", "new/joins/0.docket", "new/measure/GL.mm", "rows/mark", "more", "parts_of"]),
    st.one_of(st.text(max_size=12), st.sampled_from(["tibia", "absent", "mark", "12,5"])), max_size=8))  # fmt: skip
def test_anything_may_be_typed(reading: Any, sent: dict[str, str]) -> None:
    form = docket({"reading": reading, "tooth/1": {"tooth": "M1"}}, sent)
    form.altered()
    for sort in forms.ITEMS["docket"]:
        assert len(form.items(sort)) < 100
    for name in form.faults:
        assert form.text(name) == sent.get(name, ""), "what was typed is still there"


@given(st.floats(min_value=-1e8, max_value=1e8), st.booleans())
def test_a_number_is_read_as_it_is_shown_with_a_point_or_a_comma(number: float, comma: bool) -> None:
    text = forms.shown(number)
    found = forms.number_of(text.replace(".", ",") if comma else text, whole=False)
    assert math.isclose(found, number, rel_tol=1e-9, abs_tol=1e-300)


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e999", "1e9", "x", "1,2,3", "1.5", "1_5"])
def test_what_is_no_number_is_not_taken(text: str) -> None:
    with pytest.raises(forms.CannotTake):
        forms.number_of(text, whole=True)
