"""The steps of a bag, washed, dried, marked, weighed: which ticks stand.

A tick is a change that says true. One that was wrong is taken back by a change that names it; nothing else does, so
what somebody ticks at the same moment, or again, stands. Not for: the log of a hold, of which nothing is taken back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

TAKES_BACK = "takes_back"


def is_ticked(said: Mapping[str, Any]) -> bool:
    """Whether a step is done by what was ever said of it, {change: value}."""
    return bool(ticks(said))


def ticks(said: Mapping[str, Any]) -> list[str]:
    """The changes that tick a step and that none takes back."""
    gone = {one for value in said.values() for one in _taken_back(value)}
    return [change for change, value in said.items() if value is True and change not in gone]


def taking_back(shown: Iterable[str]) -> dict[str, list[str]]:
    """The value that takes back the ticks among the changes that were shown."""
    return {TAKES_BACK: sorted(shown)}


def _taken_back(value: Any) -> Iterable[str]:
    named = value.get(TAKES_BACK) if isinstance(value, Mapping) else None
    return [one for one in named if isinstance(one, str)] if isinstance(named, list) else []
