"""Lists of contexts are read as they are kept: any order, any of three separators, UTF-8 or not; faults by line."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server import context_list
from server.context_list import COLUMNS, MOST, Listed

WORDS = {
    "context_type": {"pit_fill": "pit_fill", "pit fill": "pit_fill", "grubenfüllung": "pit_fill", "grave": "grave"},
    "grave_like": {"yes": "yes", "no": "no"},
    "deposit": {"sealed": "sealed"},
}


def read(text: str) -> Listed:
    return context_list.read(text, WORDS)


def keys(listed: Listed) -> dict[int, list[str]]:
    return {row.line: [one.key for one in row.faults] for row in listed.rows}


def test_a_list_with_german_words_dashes_for_minus_and_a_line_in_quotes() -> None:
    text = (
        "Note;Number;From;To;TYPE;grave-like\n"
        "\n"
        '"dark;\nmany bones";1042;\N{EN DASH}750;-450;Grubenfüllung;NO\n'
        ";1043;;;pit fill;\n"
    )
    [first, second] = read(text).rows
    assert (first.number, first.note, first.line, first.faults) == ("1042", "dark; many bones", 4, ())
    assert first.values == {"dating": {"from": -750, "to": -450}, "type": "pit_fill", "grave_like": "no"}
    assert second.values == {"type": "pit_fill"}


def test_each_line_says_what_is_wrong_with_it_and_the_others_stand() -> None:
    text = "number,type,from,to\n1,pit fill,,\n,grave,,\n2,pti,,\n3,,iron age,\n4,,450,-750\n 1 ,,,\n5,,,,,x\n"
    listed = read(text)
    assert listed.faults == ()
    assert keys(listed) == {
        2: [], 3: ["no_number"], 4: ["word"], 5: ["year"], 6: ["reversed"], 7: ["twice"], 8: ["cells"],
    }  # fmt: skip
    assert listed.rows[2].faults[0].text == "pti"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "empty"),
        ("number;type\n", "only_head"),
        ("context;type\n1;grave\n", "column"),
        ("type;trench\ngrave;A\n", "no_number_column"),
        ("number;number\n1;1\n", "column_twice"),
        ("number\n" + "1\n" * (MOST + 1), "many"),
    ],
)
def test_what_is_no_list_is_not_read_at_all(text: str, fault: str) -> None:
    listed = read(text)
    assert fault in {one.key for one in listed.faults}
    assert listed.rows == ()


def test_a_file_is_read_in_the_letters_it_is_in_and_says_which() -> None:
    text = "number;note\n1;Gräberfeld\n"
    for data, letters in (
        (text.encode(), "utf-8"),
        (text.encode("utf-8-sig"), "utf-8"),
        (text.encode("cp1252"), "cp1252"),
        (text.encode("utf-16"), "utf-16"),
    ):
        found, told = context_list.text_of(data)
        assert (read(found).rows[0].note, told) == ("Gräberfeld", letters)
    with pytest.raises(UnicodeDecodeError):
        context_list.text_of(b"number\n\x81\x8d\n")


cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)


@given(
    st.lists(st.tuples(st.integers(1, 9999), cells, cells), min_size=1, max_size=8, unique_by=lambda one: one[0]),
    st.permutations(["number", "trench", "note"]),
    st.sampled_from([",", ";", "\t"]),
)
def test_what_a_spreadsheet_writes_is_read_whatever_its_order_and_separator(
    rows: list[tuple[int, str, str]], order: list[str], delimiter: str
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(order)
    for number, trench, note in rows:
        told = {"number": number, "trench": trench, "note": note}
        writer.writerow([told[one] for one in order])
    found = read(out.getvalue()).rows
    assert [one.number for one in found] == [str(number) for number, _, _ in rows]
    assert [one.values.get("trench", "") for one in found] == [" ".join(trench.split()) for _, trench, _ in rows]
    assert [one.note for one in found] == [" ".join(note.split()) for _, _, note in rows]
    assert all(one.faults == () for one in found)


@given(st.text(max_size=200), st.sampled_from([*COLUMNS, "number", "x"]))
def test_nothing_that_is_pasted_breaks_it(text: str, column: str) -> None:
    for whole in (text, f"number;{column}\n{text}"):
        listed = read(whole)
        assert listed.rows or listed.faults
