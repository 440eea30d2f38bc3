"""What is made ready while somebody else works."""

from __future__ import annotations

import threading

import pytest

from fieldapp.sync.ahead import Ahead


def test_what_was_prepared_is_made_in_another_thread_and_given_once():
    made: list[tuple[int, str]] = []

    def make(at: int) -> str:
        made.append((at, threading.current_thread().name.partition("_")[0]))
        return f"from {at}"

    with Ahead(make) as ahead:
        assert ahead.take(0) == "from 0"
        ahead.prepare(5)
        ahead.prepare(5)
        assert [ahead.take(5), ahead.take(5)] == ["from 5", "from 5"]
    assert made == [(0, "MainThread"), (5, "ahead"), (5, "MainThread")]


def test_another_place_than_the_prepared_one_is_made_anew():
    with Ahead(lambda at: at * 2) as ahead:
        ahead.prepare(7)
        assert ahead.take(3) == 6
        assert ahead.take(7) == 14


def test_a_fault_while_preparing_is_told_to_whoever_takes_it():
    def fail(at: int) -> int:
        raise ValueError(at)

    with Ahead(fail) as ahead:
        ahead.prepare(1)
        with pytest.raises(ValueError, match="1"):
            ahead.take(1)
        ahead.prepare(2)  # and not to whoever goes away


def test_nothing_goes_on_after_its_end():
    before = threading.active_count()
    with Ahead(lambda at: at) as ahead:
        ahead.prepare(1)
    assert threading.active_count() == before
