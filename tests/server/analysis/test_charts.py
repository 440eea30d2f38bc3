"""Charts: every kind is drawn, the same each time, and nothing in one reaches for a network."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO

import pytest
from PIL import Image

from fieldapp.assets import texts
from fieldapp.domain.assemblage.results import Chart, Series
from server.analysis.charts import INK, MOST_SERIES, TONES, draw
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


def test_a_picture_says_how_many_bones_it_rests_on(wording, monkeypatch):
    shown: list[str] = []
    monkeypatch.setattr("matplotlib.text.Text.set_text", lambda self, words: shown.append(str(words)))
    one, two = (Series(name, ("a", "b"), (1.0, 2.0), n=n) for name, n in (("hand", (4, 9)), ("sieve", (5, 9))))
    draw(Chart("bars", series=(one, two)), wording, "Bars")
    assert {"a, n = 4 / 5", "b, n = 9"} <= {*shown}
    draw(Chart("lines", series=(replace(one, x=(1, 2), n=(31,)),)), wording, "A curve")
    draw(Chart("bars", y="share", series=(Series(None, ("a", "b"), (1.0, 2.0), n=(17,)),)), wording, "Shares")
    assert {"hand, n = 31", "Share (%), n = 17"} <= {*shown}


def test_whiskers_can_be_seen_on_the_bars_they_stand_on():
    ink, tone = (sum(int(one[at : at + 2], 16) for at in (1, 3, 5)) / 765 for one in (INK, TONES[0]))
    assert tone - ink > 0.4


def test_an_empty_chart_and_one_of_too_many_are_drawn_all_the_same(wording):
    assert draw(Chart("steps"), wording, "Nothing")
    many = tuple(Series(f"n{n}", (1, 2), (1.0, 2.0)) for n in range(MOST_SERIES + 3))
    assert b"svg" in draw(Chart("lines", series=many), wording, "Many")
