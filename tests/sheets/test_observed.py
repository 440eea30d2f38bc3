"""What was observed reads as a line, and an odd value never stops a sheet."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.sheets.observed import observed

TEXTS = assets.texts()


def test_a_measurement_reads_as_code_and_millimetres() -> None:
    assert observed("measure/a", {"code": "GL", "mm": 182.5, "estimated": False, "note": ""}, TEXTS) == "GL, 182.5 mm"


def test_a_portion_is_named_as_the_bone_in_hand_names_it() -> None:
    said = observed("mark/a", {"kind": "odd_mark", "portion": "upper_shaft", "number": 3}, TEXTS, "tibia")
    assert said == "odd_mark, number 3, upper shaft"


def test_what_says_nothing_is_left_out() -> None:
    assert observed("mark/a", {"kind": "odd_mark", "tool": None, "note": "", "tone": None}, TEXTS) == "odd_mark"
    assert observed("burn_colour", None, TEXTS) == ""


# Any value of a change: those hold finite numbers only.
odd = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(["mark/a", "tooth/a", "weathering", "", "/"]), odd, odd)
def test_any_value_has_a_line(path: str, value: Any, element: Any) -> None:
    assert isinstance(observed(path, value, TEXTS, element), str)
