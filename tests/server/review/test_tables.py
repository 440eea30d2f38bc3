"""Lists are searched, narrowed down, sorted and paged by their address alone."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from hypothesis import example, given
from hypothesis import strategies as st

from fieldapp.domain.ids import context_id
from server.review.tables import ON_A_PAGE, Column, Table
from tests.server.review.scene import Scene
from tests.server.tablets import SITE, Tablet

app = Flask(__name__)
COLUMNS: tuple[Column[tuple[str, int]], ...] = (
    Column("name", lambda one: one[0]),
    Column("n", lambda one: one[1], many_first=True),
)
ONLY = {"some": lambda one: one[1] > 0}

rows = st.lists(st.tuples(st.sampled_from(["", "Pit", "pit 2", "Ditch"]), st.integers(0, 3)), max_size=130)
addresses = st.fixed_dictionaries(
    {},
    optional={
        "find": st.sampled_from(["", "pit", "PIT 2", "2 pit", "x", " "]),
        "only": st.sampled_from(["", "some", "other"]),
        "sort": st.sampled_from(["name", "-name", "n", "-n", "--n", "other", ""]),
        "page": st.sampled_from(["0", "1", "2", "3", "99", "x", "-1"]),
    },
)


def table(rows, address) -> Table:
    with app.test_request_context(query_string=address):
        return Table(rows, COLUMNS, text=lambda one: one[0], only=ONLY)


@given(rows, addresses)
@example([("", 1), ("Pit", 0), ("", 0), ("Ditch", 2)], {"sort": "name"})
@example([("", 1), ("Pit", 0), ("", 0), ("Ditch", 2)], {"sort": "-name"})
def test_the_pages_together_are_what_fits_in_its_order(rows, address):
    whole, number = [], 1
    while True:
        found = table(rows, {**address, "page": number})
        whole += found.rows
        assert len(found.rows) <= ON_A_PAGE
        if number >= found.last:
            break
        number += 1
    words = address.get("find", "").casefold().split()
    fits = [one for one in rows if all(word in one[0].casefold() for word in words)]
    if address.get("only") == "some":
        fits = [one for one in fits if one[1] > 0]
    assert (found.total, found.found) == (len(rows), len(fits))
    sort = address.get("sort", "")
    at = {"name": 0, "n": 1}.get(sort.removeprefix("-"))
    if at is None:
        assert whole == fits
        return
    assert sorted(whole) == sorted(fits)
    said = [one[at] for one in whole if one[at] != ""]
    assert said == sorted(said, reverse=sort.startswith("-"))
    # What says nothing comes last, whichever way round.
    assert all(one[at] == "" for one in whole[len(said) :])


def test_a_heading_sorts_and_then_turns_round_and_keeps_what_was_looked_for():
    found = table([], {"find": "pit", "sort": "name", "page": "3"})
    assert (found.sorted_by("name"), found.sorted_by("n")) == ("ascending", "none")
    assert found.sort_link("name") == "?find=pit&sort=-name"
    assert found.sort_link("n") == "?find=pit&sort=-n"
    assert table([], {"sort": "-n"}).sort_link("n") == "?sort=n"
    assert found.link(page=2) == "?find=pit&sort=name&page=2"


@pytest.fixture
def many(scene: Scene) -> Scene:
    tablet = Tablet("of many")
    for number in range(1, 131):
        tablet.write(
            "context", context_id(SITE, f"2{number:03}"),
            {"number": f"2{number:03}", "type": "pit_fill" if number % 2 else "ditch_fill", "trench": f"T{number % 3}"},
        )  # fmt: skip
    scene.cabin.ledger.accept(tablet.entries(), tablet.id)
    scene.send()
    return scene


def numbers(page: str) -> list[str]:
    return re.findall(r'<th scope="row"[^>]*><a href="[^"]*">([^<]*)</a>', page)


def test_a_hundred_contexts_are_paged_sorted_and_found(many: Scene) -> None:
    visitor = many.signed_in("supervisor")
    first = visitor.get("/review/contexts").text
    assert len(numbers(first)) == ON_A_PAGE
    assert 'aria-sort="none"' in first
    newest = visitor.get("/review/contexts?sort=-number").text
    assert numbers(newest)[:2] == ["2130", "2129"]
    assert 'aria-sort="descending"' in newest
    found = visitor.get("/review/contexts?find=ditch+T1&sort=number").text
    assert numbers(found)[0] == "2004"
    assert len(numbers(found)) == len([n for n in range(1, 131) if n % 2 == 0 and n % 3 == 1])
    raised = visitor.get("/review/contexts?only=raised").text
    assert 0 < len(numbers(raised)) < 10
    nothing = visitor.get("/review/contexts?find=%3Cscript%3E").text
    assert numbers(nothing) == []
    assert "<script>" not in nothing
    assert 'href="?"' in nothing
