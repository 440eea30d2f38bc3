"""Which tables there are, by topic: what the commands, the desk and the report offer.

For: finding a table by its key. Not for: any figure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from server.analysis.asking import Table


def _counts() -> tuple[Table, ...]:
    from server.analysis import count_statistics, counts

    return *counts.TABLES, *count_statistics.TABLES


def _ages() -> tuple[Table, ...]:
    from server.analysis import ages

    return ages.TABLES


def _sizes() -> tuple[Table, ...]:
    from server.analysis import sizes

    return sizes.TABLES


def _surface() -> tuple[Table, ...]:
    from server.analysis import surface

    return surface.TABLES


TOPICS: Mapping[str, Callable[[], tuple[Table, ...]]] = {
    "counts": _counts,
    "ages": _ages,
    "sizes": _sizes,
    "surface": _surface,
}
"""{topic: its tables, the most asked for first}. Asked late, so that no topic's libraries are loaded for another's."""


def tables(topic: str) -> tuple[Table, ...]:
    """The tables of a topic; () for one that there is not."""
    return TOPICS[topic]() if topic in TOPICS else ()


def table(topic: str, key: str) -> Table | None:
    """A table by its key; None if there is none."""
    return next((one for one in tables(topic) if one.key == key), None)
