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
