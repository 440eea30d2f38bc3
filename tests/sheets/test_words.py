"""The sheets' words stand in the order of their language."""

from __future__ import annotations

import pytest

from fieldapp import assets
from fieldapp.sheets.entries import Reading
from fieldapp.sheets.words import Words


@pytest.mark.parametrize(("language", "said"), [("en", "left tibia, sheep"), ("de", "Tibia, links, Schaf")])
def test_a_reading_is_called_as_one_says_it(language: str, said: str) -> None:
    reading = Reading("tibia", "left", "sheep", "certain", None, "scan", "", "ruminant", (), ())
    assert Words(assets.texts(language)).title(reading) == said
