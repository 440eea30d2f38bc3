"""Batches that travel without their hashes: the same to the byte on the other side, and never something else."""

from __future__ import annotations

import copy
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records import batches
from tests.records.makers import Pen

texts = st.text(st.characters(), max_size=20)


def chain(count: int) -> list[tuple[str, str]]:
    pen = Pen("A")
    return [(one.id, one.body) for one in (pen.write({"count": n}) for n in range(count))]


def over_the_wire(batch: dict) -> dict:
    return json.loads(json.dumps(batch))


def test_a_chain_travels_without_its_hashes_and_arrives_to_the_byte():
    entries = chain(5)
    batch = batches.packed(entries)
    assert [len(body) for body in batch["bodies"][1:]] == [len(body) - 63 for _, body in entries[1:]]
    assert batches.unpacked(over_the_wire(batch)) == entries


@given(st.lists(st.tuples(st.booleans(), st.sampled_from([0, 1, 2, 3, 4, 5]), texts), max_size=12))
def test_any_entries_arrive_as_they_were(picks):
    """Chains with holes, repeats, other texts between, ids that do not fit, halves of character pairs."""
    own = chain(6)
    entries = []
    for fits, number, text in picks:
        one, body = own[number] if text < "m" else (batches.hash_of(text), text)
        entries.append((one if fits else text, body))
    assert batches.unpacked(over_the_wire(batches.packed(entries))) == entries


def test_a_text_that_holds_the_mark_itself_arrives_as_it_was():
    first, (one, body) = chain(1)[0], (batches.hash_of('{"prev":"="}'), '{"prev":"="}')
    assert batches.unpacked(over_the_wire(batches.packed([first, (one, body)]))) == [first, (one, body)]


@pytest.mark.parametrize("at", range(4))
def test_what_was_altered_left_out_or_turned_round_is_found(at):
    batch = batches.packed(chain(4))
    altered = copy.deepcopy(batch)
    altered["bodies"][at] = altered["bodies"][at].replace('"count"', '"weight"')
    without = {**batch, "bodies": batch["bodies"][:at] + batch["bodies"][at + 1 :]}
    turned = {**batch, "bodies": [*batch["bodies"][at:], *batch["bodies"][:at]]} if at else {**batch, "check": "x"}
    for one in (altered, without, turned):
        with pytest.raises(batches.Damaged):
            batches.unpacked(one)


@pytest.mark.parametrize("batch", [None, [], {}, {"bodies": 3}, {"bodies": [3]}, {"bodies": [{"id": 1}], "check": ""}])
def test_what_is_no_batch_is_refused(batch):
    with pytest.raises(batches.Damaged):
        batches.unpacked(batch)


# -- for somebody who has what they are written over


def edits(count: int) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """(what the receiver has, changes over it): of one record each."""
    pen = Pen("A")
    first = [pen.write({"count": n, "note": "~3 cm"}, record=f"r{n}") for n in range(count)]
    then = [pen.write({"count": -n}, {"count": [one.id]}, record=one.record) for n, one in enumerate(first)]
    return [(one.id, one.record) for one in first], [(one.id, one.body) for one in then]


def finding(there: list[tuple[str, str]]) -> batches.Find:
    return lambda beginnings: {one[:8]: (one, record) for one, record in there if one[:8] in beginnings}


def test_what_the_receiver_has_is_named_by_eight_characters_and_arrives_to_the_byte():
    there, entries = edits(5)
    batch = batches.packed(entries, known=True)
    short = [len(body) for body in batch["bodies"][1:]]
    # 63 of `prev`, 55 of what it is written over, one of the record's name.
    assert short == [len(body) - 63 - 55 - 1 for _, body in entries[1:]]
    assert batches.unpacked(over_the_wire(batch), finding(there)) == entries
    # A page for a tablet is never shortened so.
    assert all(isinstance(body, str) and batches.MARK not in body for body in batches.packed(entries)["bodies"])


@pytest.mark.parametrize(
    "find",
    [
        None,
        lambda beginnings: {},
        lambda beginnings: {one: (one + "0" * 56, "r0") for one in beginnings},
    ],
)
def test_a_receiver_that_has_something_else_finds_the_batch_damaged(find):
    _, entries = edits(2)
    with pytest.raises(batches.Damaged):
        batches.unpacked(over_the_wire(batches.packed(entries, known=True)), find)


def test_what_is_written_over_a_change_of_the_same_batch_names_it_in_full():
    pen = Pen("A")
    first = pen.write({"count": 1})
    second = pen.write({"count": 2}, {"count": [first.id]})
    entries = [(one.id, one.body) for one in (first, second)]
    batch = batches.packed(entries, known=True)
    assert first.id in batch["bodies"][1]
    assert batches.unpacked(over_the_wire(batch)) == entries


over = st.dictionaries(
    st.sampled_from(["count", "note", "x"]),
    st.lists(st.sampled_from(["", "x", "~" * 8, *("abc"[n] * 64 for n in range(3))])),
)


@given(st.lists(st.tuples(over, st.sampled_from(["r", "~", '"', "ä", "r\\"]), texts), max_size=6))
def test_whatever_changes_are_written_over_they_arrive_as_they_were(picks):
    pen = Pen("A")
    made = [pen.write({"note": note}, over, record=record) for over, record, note in picks]
    there = [(one, made[0].record) for one in ("a" * 64, "b" * 64, "c" * 64)] if made else []
    entries = [(one.id, one.body) for one in made if one.record == made[0].record]
    assert batches.unpacked(over_the_wire(batches.packed(entries, known=True)), finding(there)) == entries
