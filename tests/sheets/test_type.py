"""Type: nothing that was written vanishes, and no line is wider than its place."""

from __future__ import annotations

import unicodedata

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.sheets.type import Type


def _type() -> Type:
    font = TTFont(assets.font())
    scale = 1000 / font["head"].unitsPerEm
    return Type({code: font["hmtx"].metrics[glyph][0] * scale for code, glyph in font.getBestCmap().items()})


TYPE = _type()


def test_a_letter_is_as_wide_as_the_font_says() -> None:
    # DejaVu Sans, hmtx table: "x" is 1212 of 2048 units wide (read with fontTools).
    assert TYPE.width("x", 10) == pytest.approx(10 * 25.4 / 72 * 1212 / 2048)


def test_words_go_over_to_the_next_line_whole() -> None:
    lines = TYPE.lines("a small piece of a rib", 10, TYPE.width("a small piece", 10) + 0.01)
    assert lines == ("a small piece", "of a rib")


def test_a_word_wider_than_the_line_is_cut_and_kept() -> None:
    lines = TYPE.lines("x" * 100, 10, 20)
    assert len(lines) > 1
    assert "".join(lines) == "x" * 100


def test_a_break_in_the_note_is_a_break_on_paper() -> None:
    assert TYPE.lines("one\r\ntwo\n\nthree\n\n", 10, 100) == ("one", "two", "", "three")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Yağmur ıslak İğdir", "Yağmur ıslak İğdir"),  # noqa: RUF001
        ("Ελληνικά Łódź Čeština", "Ελληνικά Łódź Čeština"),
        ("e\u0301", "é"),
        ("bone \U0001f9b4", "bone [U+1F9B4]"),
        ("bell\x07", "bell[U+0007]"),
        ("骨", "[U+9AA8]"),
        ("soft\u00adhyphen", "softhyphen"),
    ],
)
def test_what_the_font_cannot_show_is_printed_as_its_number(text: str, shown: str) -> None:
    assert TYPE.printable(text) == shown


def test_a_mark_stays_with_its_letter_when_a_word_is_cut() -> None:
    for line in TYPE.lines("q\u0303" * 50, 10, 20):
        assert not unicodedata.combining(line[0])


@given(st.text(), st.floats(3, 60))
def test_no_line_is_too_wide_and_no_letter_is_lost(text: str, width: float) -> None:
    lines = TYPE.lines(text, 9, width)
    assert all(TYPE.width(line, 9) <= width + 1e-6 or len(line) == 1 for line in lines)
    assert sorted("".join(lines).replace(" ", "")) == sorted(TYPE.printable(text).replace(" ", "").replace("\n", ""))


@given(st.text(max_size=60), st.floats(8, 60))
def test_what_is_shortened_fits_and_says_that_it_was(text: str, width: float) -> None:
    shown, whole = TYPE.shortened(text, 10, width), TYPE.printable(text).replace("\n", " ").strip(" ")
    if TYPE.width(whole, 10) <= width:
        assert shown == TYPE.lines(whole, 10, width)[0], "in the order the eye meets it"
    else:
        assert "…" in shown
        assert TYPE.width(shown, 10) <= width + 1e-9
