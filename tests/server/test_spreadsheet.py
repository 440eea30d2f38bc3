"""No word begins a formula, whatever a spreadsheet parts cells by."""

from __future__ import annotations

import csv
import io

import pytest

from server.spreadsheet import plain


@pytest.mark.parametrize("word", [
    "=1+1", "+1", "-x", "@SUM(A1)", "\t=1", "\r=1", " =1", "a;=1+1", "a; @x", "pit\n=1", "pit\t+1", "=1;=2",
    "\N{FULLWIDTH EQUALS SIGN}1", "a;\N{FULLWIDTH PLUS SIGN}1",
])  # fmt: skip
@pytest.mark.parametrize("parts", [",", ";", "\t"])
def test_no_cell_begins_with_the_sign_of_a_formula(word: str, parts: str) -> None:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(["first", plain(word), "last"])
    for line in csv.reader(io.StringIO(out.getvalue(), newline=""), delimiter=parts):
        assert not any(cell.strip().startswith(tuple("=+-@＝＋－＠")) for cell in line), line  # noqa: RUF001


@pytest.mark.parametrize("word", ["", "pit 7", "sheep/goat", "a-b", "x=y", "3; 4", "a\nb"])
def test_any_other_word_stays_as_it_is(word: str) -> None:
    assert plain(word) == word
