"""The sheets' words stand in the order of their language, and their figures say what was weighed and measured."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.sheets.entries import Reading
from fieldapp.sheets.words import Words, number


@pytest.mark.parametrize(("language", "said"), [("en", "left tibia, sheep"), ("de", "Tibia, links, Schaf")])
def test_a_reading_is_called_as_one_says_it(language: str, said: str) -> None:
    reading = Reading("tibia", "left", "sheep", "certain", None, "scan", "", "ruminant", (), ())
    assert Words(assets.texts(language)).title(reading) == said


@given(st.floats(1e-6, 1e6))
def test_no_figure_becomes_nothing_or_another_one(value: float) -> None:
    assert abs(float(number(value)) - value) <= (0.05 * value if value < 0.1 else 0.005001)


def test_figures_have_no_decimals_that_they_do_not_have() -> None:
    figures = {0.004: "0.004", 0.05: "0.05", 0.1 + 0.2: "0.3", 12.0: "12", 54.25: "54.25", 0.0: "0", -0.001: "-0.001"}
    assert {one: number(one) for one in figures} == figures
