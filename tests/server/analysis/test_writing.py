"""Tables as files: other programs read them back, and no word from a record becomes a formula."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import texts
from fieldapp.domain.assemblage.results import Column, Result, Row, Span
from fieldapp.domain.assemblage.selection import Selection
from server.analysis.wording import NOTHING, Wording
from server.analysis.writing import as_csv, as_json, as_text
from tests.server.analysis.made import RESULT


@pytest.fixture
def wording() -> Wording:
    return Wording(texts(), {})


def test_a_table_has_a_line_a_row_with_its_pile_and_both_ends_of_a_range(wording):
    lines = list(csv.DictReader(io.StringIO(as_csv([RESULT], wording))))
    assert [(line["taxon"], line["nisp_low"], line["nisp_high"], line["records"]) for line in lines] == [
        ("cattle", "3", "5", "2"),
        ("pig", "3", "3", "1"),
        ("total", "6", "8", "3"),
    ]
    assert {(line["by"], line["way"], line["selection"]) for line in lines} == {
        ("phase", "sieve:4", "by=phase,taxon=cattle|pig")
    }


def test_a_number_brings_its_noun_and_a_nought_no_sign(wording):
    noted = [wording.say("left_out.impossible", n=n, pieces=n) for n in (1, 2)]
    assert ("1 docket, 1 piece" in noted[0], "2 dockets, 2 pieces" in noted[1]) == (True, True)
    assert wording.figure(Column("residual", "number", 1), -0.04) == "0.0"
    assert wording.figure(Column("residual", "number", 1), -0.06) == "-0.1"


def test_a_measured_range_keeps_its_digits_and_is_no_range_where_both_ends_read_alike(wording):
    column = Column("count_weight", "interval")
    assert wording.cell(column, Span(331.99999999999994, 332)) == "332.0"
    assert wording.cell(Column("count_nisp", "span"), Span(3, 5)) == "3 to 5"


def test_a_source_says_in_words_whether_it_was_seen(wording):
    assert wording.source("Silver 1969 (memory)") == "Silver 1969 (from memory, not checked)"
    assert wording.source("Lyman (text) (verified:http://x)") == "Lyman (text) (seen at http://x)"
    assert wording.source("project decision: over half (of it)") == "project decision: over half (of it)"


def test_no_cell_begins_a_formula(wording):
    found = [cell for line in csv.reader(io.StringIO(as_csv([RESULT], wording))) for cell in line]
    assert "'@SUM(A1)" in found
    assert not [cell for cell in found if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]


@given(st.lists(st.tuples(st.text(), st.floats(), st.floats(allow_nan=False, allow_infinity=False)), max_size=5))
def test_any_words_and_figures_make_a_file_that_can_be_read_back(rows):
    columns = (Column("a"), Column("b", "number"), Column("c", "span"))
    made = Result("x", Selection(), None, columns, tuple(Row((a, b, Span(c, c))) for a, b, c in rows))
    said = Wording(texts(), {})
    assert len(list(csv.reader(io.StringIO(as_csv([made], said), newline="")))) == len(rows) + 1
    assert len(json.loads(as_json([made], said))[0]["rows"]) == len(rows)
    assert as_text([made], said)


def test_json_names_the_records_behind_each_row_and_what_was_left_out(wording):
    (told,) = json.loads(as_json([RESULT], wording))
    assert told["rows"][0] == {"cells": ["cattle", [3, 5], 62.5, "@SUM(A1)"], "records": ["a", "b"], "total": False}
    assert told["left_out"] == [{"why": "possible_human", "records": ["h"], "pieces": 2}]
    assert told["sources"] == ["a source (seen)"]


def test_what_cannot_be_said_is_a_dash_and_no_nought(wording):
    shown = as_text([RESULT], wording)
    line = next(one for one in shown.splitlines() if one.strip().startswith("pig"))
    assert NOTHING in line
    assert "3 to 5" in shown
    assert "possibly human" in shown
