"""How far a report is: what is told while one is made. Not for: making one (contents, making), or showing it (jobs)."""

from __future__ import annotations

from collections.abc import Callable

WORKING_OUT, WRITING = "working_out", "writing"
"""What is going on: tables are worked out, then files are written."""

Told = Callable[[str, str, int, int], None]
"""Hears what is going on, which table or file, how many are done, and how many there are in all."""


def to_nobody(state: str, what: str, done: int, of: int) -> None:
    """Where nobody asks."""
