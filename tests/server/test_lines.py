"""The lines of long lists say what the records say, whatever came in which order."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.ledger import lines
from server.ledger.lines import sort_key
from tests.server.tablets import SITE, Tablet, an_id, context_id

PIT, DITCH = context_id(SITE, "99"), context_id(SITE, "100")


def look(ledger) -> None:
    while ledger.check_due():
        pass


def push(ledger, tablet: Tablet) -> None:
    ledger.accept(tablet.entries(), tablet.id)


def of(ledger, name: str):
    with ledger.database.reading() as connection:
        found = connection.execute(lines.DOCKETS.add_columns(*lines.LINE).where(lines.LINE.record == an_id(name)))
        return found.mappings().one_or_none()


@pytest.mark.parametrize(
    "labels",
    [
        ["99", "100", "1042", "1042a", "1057", "A1", "A2", "A10", ""],
        ["HLG26 A9-X", "HLG26 A10-Q", "HLG26 B1-7", "hlg26 b2-k"],
    ],
)
def test_labels_sort_by_their_numbers_and_nothing_comes_last(labels):
    assert sorted(reversed(labels), key=sort_key) == labels


@given(st.text(max_size=40), st.integers(0, 10**30), st.integers(0, 10**30), st.text(max_size=5))
def test_of_two_labels_that_differ_in_a_number_the_smaller_comes_first(before, one, other, after):
    before, after = before.rstrip("0123456789"), after.lstrip("0123456789")
    small, great = sort_key(f"{before}{min(one, other)}{after}"), sort_key(f"{before}{max(one, other)}{after}")
    assert small <= great
    assert (small == great) == (one == other)


def test_a_docket_lies_where_its_bag_lies_also_when_the_bag_comes_later_and_moves(ledger):
    tablet = Tablet()
    tablet.docket("a", bag=an_id("bag"), context=None, label="HLG26 A10-Q", ask=True, count=3)
    push(ledger, tablet)
    look(ledger)
    assert of(ledger, "a")["context"] is None
    first = tablet.write("bag", an_id("bag"), {"label": "1", "context": PIT})
    tablet.write("context", PIT, {"number": "99"})
    push(ledger, tablet)
    look(ledger)
    line = of(ledger, "a")
    assert (line["context"], line["place"], line["asks"], line["pieces"]) == (PIT, sort_key("99"), True, 3)
    tablet.write("bag", an_id("bag"), {"context": DITCH}, {"context": [first.id]})
    tablet.write("context", DITCH, {"number": "100"})
    push(ledger, tablet)
    look(ledger)
    assert of(ledger, "a")["place"] == sort_key("100")
    with ledger.database.reading() as connection:
        assert lines.numbers(connection)[DITCH].dockets == 1


def test_a_deleted_docket_leaves_the_lists_and_one_put_back_is_in_them_again(ledger):
    tablet = Tablet()
    tablet.docket("a", label="HLG26 A10-Q")
    push(ledger, tablet)
    look(ledger)
    heads = _heads(ledger, an_id("a"))
    gone = tablet.write("docket", an_id("a"), {"deleted": True}, {**heads, "deleted": []})
    push(ledger, tablet)
    look(ledger)
    assert of(ledger, "a") is None
    tablet.write("docket", an_id("a"), {"deleted": None}, {"deleted": [gone.id]})
    push(ledger, tablet)
    look(ledger)
    assert of(ledger, "a") is not None


def test_a_disagreement_and_a_problem_are_counted_until_they_are_mended(ledger):
    one, other = Tablet("one"), Tablet("other")
    first = one.docket("a", count="some")
    second = other.docket("a", count="many")
    push(ledger, one)
    push(ledger, other)
    look(ledger)
    line, problems = of(ledger, "a"), ledger.problems(record=an_id("a"))
    assert (line["conflicts"], line["problems"]) == (1, len(problems))
    assert line["gravest"] == max(lines.GRAVITY[one.level] for one in problems) > lines.GRAVITY["note"]
    one.write("docket", an_id("a"), {"count": 2}, {"count": [first.id, second.id]})
    push(ledger, one)
    look(ledger)
    line = of(ledger, "a")
    assert (line["conflicts"], line["pieces"], line["problems"]) == (0, 2, len(ledger.problems(record=an_id("a"))))
    assert line["problems"] < len(problems)


MOVES = ("to pit", "to ditch", "out of the bag", "into the bag", "renumbered", "bag deleted")


@pytest.mark.parametrize("seed", range(3))
def test_lines_kept_as_things_move_are_those_of_a_ledger_worked_out_anew(ledger, seed):
    rng, tablet = random.Random(seed), Tablet()
    tablet.docket("a", bag=an_id("bag"), context=PIT)
    tablet.write("bag", an_id("bag"), {"label": "1", "context": PIT})
    for n in range(10):
        push(ledger, tablet)
        if rng.random() < 0.7:
            look(ledger)
        move = rng.choice(MOVES)
        bag, docket = _heads(ledger, an_id("bag")), _heads(ledger, an_id("a"))
        if move in ("to pit", "to ditch"):
            tablet.write("bag", an_id("bag"), {"context": PIT if move == "to pit" else DITCH}, bag)
        elif move == "renumbered":
            tablet.write("context", DITCH, {"number": str(90 + 30 * n)}, _heads(ledger, DITCH))
        elif move == "bag deleted":
            tablet.write("bag", an_id("bag"), {"deleted": True}, {**bag, "deleted": bag.get("deleted", [])})
        else:
            tablet.write("docket", an_id("a"), {"bag": an_id("bag") if move == "into the bag" else None}, docket)
    push(ledger, tablet)
    look(ledger)
    kept = _all(ledger)
    ledger.rebuild()
    look(ledger)
    assert _all(ledger) == kept


def _heads(ledger, record: str) -> dict[str, list[str]]:
    found = ledger.record(record)
    return {path: sorted(ids) for path, ids in found.head_ids().items()} if found else {}


def _all(ledger):
    with ledger.database.reading() as connection:
        dockets = connection.execute(lines.DOCKETS.add_columns(*lines.LINE).order_by(lines.LINE.record)).all()
        return [tuple(one) for one in dockets], lines.contexts(connection)
