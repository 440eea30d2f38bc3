"""Which part of a site is asked for, as one line that is read back to the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.selection import (
    CHOICES,
    TOGETHER,
    UNRECORDED,
    Selection,
    SelectionError,
    Unit,
    parse,
    units,
)
from fieldapp.domain.assemblage.specimens import Specimen

WORDS = st.lists(st.text(st.characters(exclude_categories=("Cs", "Cc", "Zs")), min_size=1), max_size=3, unique=True)


@st.composite
def selections(draw):
    known = knowledge()
    return Selection(
        **{name: draw(st.sampled_from(words)) for name, words in CHOICES.items()},
        trench=tuple(draw(WORDS)),
        phase=tuple(draw(WORDS)),
        context=tuple(draw(WORDS)),
        taxon=tuple(draw(st.lists(st.sampled_from(sorted(known.taxa)), max_size=2, unique=True))),
        element=tuple(draw(st.lists(st.sampled_from(sorted(known.elements)), max_size=2, unique=True))),
    )


@given(selections())
def test_a_selection_is_read_back_from_its_own_line(selection):
    assert parse(selection.text(), knowledge()) == selection


def test_the_usual_selection_is_an_empty_line():
    assert Selection().text() == ""
    assert parse(" ", knowledge()) == Selection()


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("taxon=gryphon", "taxon"),
        ("by=moon", "by"),
        ("colour=red", "colour"),
        ("by", "by"),
        ("phase=", "phase"),
        ("taxon", "taxon"),
        ("context=|", "context"),
    ],
)
def test_a_choice_that_means_nothing_is_named(line, field):
    with pytest.raises(SelectionError) as error:
        parse(line, knowledge())
    assert error.value.field == field


def test_an_animal_is_asked_for_with_all_that_lies_under_it():
    selection = parse("taxon=sheep_goat", knowledge())
    taken = [one for one in ("sheep", "goat", "sheep_goat", "pig", "medium_mammal", None)
             if selection.takes(Specimen("x", taxon=one), "", knowledge())]  # fmt: skip
    assert taken == ["sheep", "goat", "sheep_goat"]


def test_what_was_got_by_hand_and_by_sieve_lies_in_units_of_its_own_unless_put_together_by_name():
    found = [
        Specimen("a", recovery="hand"),
        Specimen("b", recovery="sieve", mesh_mm=4.0),
        Specimen("c", recovery="sieve", mesh_mm=2.0),
        Specimen("d"),
    ]
    apart = units(found, Selection())
    assert {unit.way: [one.id for one in specimens] for unit, specimens in apart.items()} == {
        "hand": ["a"],
        "sieve:2": ["c"],
        "sieve:4": ["b"],
        UNRECORDED: ["d"],
    }
    assert [*units(found, Selection(ways=TOGETHER))] == [Unit("site", "", TOGETHER)]
