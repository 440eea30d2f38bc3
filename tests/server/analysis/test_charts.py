"""Charts: every kind is drawn, the same each time, and nothing in one reaches for a network."""

from __future__ import annotations

import re
from io import BytesIO

import pytest
from PIL import Image

from fieldapp.assets import texts
from fieldapp.domain.assemblage.results import Chart, Series
from server.analysis.charts import MOST_SERIES, draw
from server.analysis.wording import Wording
from tests.server.analysis.made import KINDS


@pytest.fixture(scope="module")
def wording() -> Wording:
    return Wording(texts(), {})


@pytest.mark.parametrize("kind", KINDS)
def test_a_chart_of_each_kind_is_the_same_file_each_time(wording, kind):
    first, second = (draw(KINDS[kind], wording, "A title", "svg") for _ in range(2))
    assert first == second
    assert re.findall(rb'(?:href|src)="(?!#)[^"]*"', first) == []
    assert not re.search(rb"<script|@import|url\((?!#)", first)


def test_a_picture_is_large_enough_to_print(wording):
    with Image.open(BytesIO(draw(KINDS["bars"], wording, "A title", "png"))) as opened:
        assert opened.width >= 1200


def test_what_is_told_apart_by_hatch_needs_no_colour(wording):
    with Image.open(BytesIO(draw(KINDS["stacked"], wording, "A title", "png"))) as opened:
        grey = opened.convert("L")
    assert len({tone for _, tone in grey.getcolors(65536) or ()}) > 3


def test_an_empty_chart_and_one_of_too_many_are_drawn_all_the_same(wording):
    assert draw(Chart("steps"), wording, "Nothing")
    many = tuple(Series(f"n{n}", (1, 2), (1.0, 2.0)) for n in range(MOST_SERIES + 3))
    assert b"svg" in draw(Chart("lines", series=many), wording, "Many")
