"""Field labels: read however they are spaced, and a slip of the pen shows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import grid
from stdnum.iso7064 import mod_37_36

from fieldapp.domain.labels import ALPHABET, Label, LabelError, check_character, read

labels = st.builds(
    Label, st.from_regex(r"[A-Z0-9]{2,10}", fullmatch=True), st.sampled_from("ABCXYZ"), st.integers(1, 9_999_999)
)


@given(st.text(ALPHABET, min_size=1, max_size=24))
def test_the_check_character_is_that_of_iso_7064_mod_37_36(text):
    """Outside check: python-stdnum's implementation of ISO 7064 MOD 37,36."""
    assert check_character(text) == mod_37_36.calc_check_digit(text)


def test_the_published_release_identifier_checks():
    """Outside check: the worked example of the Global Release Identifier standard as python-stdnum documents it."""
    assert grid.is_valid("A12425GABC1234002M")
    assert check_character("A12425GABC1234002") == "M"


@given(labels)
def test_a_label_is_read_back_as_printed(label):
    assert read(str(label)) == label
    assert read(str(label).lower().replace("-", "")) == label


@given(labels, st.data())
def test_one_wrong_character_or_two_swapped_neighbours_show(label, data):
    text = str(label)
    places = [i for i, one in enumerate(text) if one.isdigit() and i > text.index(" ") + 1 and i < len(text) - 2]
    place = data.draw(st.sampled_from(places))
    wrong = data.draw(st.sampled_from([one for one in "0123456789" if one != text[place]]))
    changed = text[:place] + wrong + text[place + 1 :]
    # A leading zero drops out of the number; any other slip must be caught.
    if not changed.split(" ")[1][1:].startswith("0"):
        with pytest.raises(LabelError):
            read(changed)


@pytest.mark.parametrize(
    "text", ["", "HLG26", "B417-K", "HLG26 417-K", "HLG26 B-K", "hello", "HLG26 B417-", "HLG26 Bé1-K"]
)
def test_what_has_not_the_shape_of_a_label_is_refused(text):
    with pytest.raises(LabelError) as caught:
        read(text)
    assert caught.value.reason == "shape"
