"""Ticks of a bag's steps: what stands does not hang on the order in which words came."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.domain.steps import is_ticked, taking_back, ticks

IDS = st.sampled_from(["a", "b", "c", "d"])
SAID = st.dictionaries(IDS, st.one_of(st.just(True), st.none(), st.lists(IDS).map(taking_back)))


@given(SAID, st.randoms())
def test_the_order_in_which_words_came_alters_nothing(said: dict[str, Any], shuffle: Any) -> None:
    turned = list(said.items())
    shuffle.shuffle(turned)
    assert sorted(ticks(dict(turned))) == sorted(ticks(said))


@given(SAID)
def test_a_new_tick_always_stands_and_a_taking_back_of_all_leaves_none(said: dict[str, Any]) -> None:
    assert is_ticked({**said, "new": True})
    assert not is_ticked({**said, "back": taking_back(said)})


def test_what_is_no_list_of_changes_takes_nothing_back() -> None:
    for odd in ({"takes_back": "a"}, {"takes_back": [["a"]]}, {"takes_back": None}, {}, False, "a"):
        assert ticks({"a": True, "b": odd}) == ["a"]
