"""The order of words in lists that people read.

That ä stands by a and ß by ss is the order of German dictionaries, DIN 5007 variant 1 (memory).
"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.domain.alphabet import alphabetical, bare

WORDS = st.text(st.sampled_from("aAäÄàbBzZøßstﬁ -/1"), max_size=6)


def test_marked_letters_stand_by_the_plain_ones_and_capitals_by_small_ones() -> None:
    found = ["Zeh", "Ästling", "Auster", "asteln", "Öse", "Opal", "Uhu", "Übel", "Straße", "Strasse", "Strauß"]
    assert sorted(found, key=alphabetical) == [
        "asteln", "Ästling", "Auster", "Opal", "Öse", "Strasse", "Straße", "Strauß", "Übel", "Uhu", "Zeh",
    ]  # fmt: skip


def test_a_letter_that_is_not_taken_apart_stands_by_its_like() -> None:
    assert sorted(["p", "ø", "n", "z", "æ", "b"], key=alphabetical) == ["æ", "b", "n", "ø", "p", "z"]


def test_a_name_comes_before_a_longer_one_that_begins_with_it() -> None:
    found = ["sheep/goat", "sheepdog", "sheep", "sheep or deer"]
    assert sorted(found, key=alphabetical) == ["sheep", "sheep or deer", "sheep/goat", "sheepdog"]


@given(st.lists(WORDS), st.randoms())
def test_the_order_of_words_does_not_hang_on_how_they_came(found: list[str], chance: object) -> None:
    shuffled = list(found)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert sorted(shuffled, key=alphabetical) == sorted(found, key=alphabetical)


@given(WORDS)
def test_a_word_made_bare_stays_so_and_holds_no_capitals(word: str) -> None:
    assert bare(bare(word)) == bare(word)
    assert bare(word.upper()) == bare(word)
