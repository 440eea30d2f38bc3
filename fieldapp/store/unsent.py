"""Own changes that somebody has not answered for, found from the end of the journal, and read when they are sent.

To send ten thousand, one need neither read all of them first nor hold them. Not here: who has answered for what
(keeping), sending (sync).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import takewhile
from typing import NamedTuple, overload

from fieldapp.records.changes import kept
from fieldapp.store.journal import Journal
from fieldapp.store.live import bodies_of

LOOK_EVERY = 250
"""Changes of which one is read to see whether it was answered for."""


class Body(NamedTuple):
    """A change's id and text."""

    id: str
    body: str


_Found = bytes | Body
"""A line that holds one change, or what was read already."""


class Bodies(Sequence[Body]):
    """Changes in their order, each read from its line when it is asked for, which raises JournalDamaged."""

    def __init__(self, found: Sequence[_Found], read: Callable[[_Found], Body]) -> None:
        self._found = found
        self._read = read

    def __len__(self) -> int:
        return len(self._found)

    @overload
    def __getitem__(self, at: int) -> Body: ...
    @overload
    def __getitem__(self, at: slice) -> list[Body]: ...
    def __getitem__(self, at: int | slice) -> Body | list[Body]:
        return [self._read(one) for one in self._found[at]] if isinstance(at, slice) else self._read(self._found[at])


def unsent(
    journal: Journal, lines: Iterator[bytes], unread: Mapping[str, str], pushed: Mapping[str, int]
) -> Sequence[Body]:
    """Those with a higher number than `pushed` says of their notebook, oldest first. `lines`: journal.raw_lines_back.

    `unread`: ids of what this version cannot read, which is not sent. Raises JournalDamaged.
    """

    def read(one: _Found) -> Body:
        return one if isinstance(one, Body) else _own(journal, one)[0]

    def answered(one: _Found) -> bool:
        change = kept(read(one).body, "")
        return change.n <= pushed.get(change.notebook, 0)

    found: list[_Found] = []
    waiting: list[_Found] = []
    for one in _back(journal, lines, unread):
        waiting.append(one)
        # They were written in order and are sent in order: if one was not answered for, none after it was. So only one
        # in many has to be read.
        if len(waiting) > min(len(found), LOOK_EVERY):
            if answered(one):
                break
            found += waiting
            waiting = []
    found += takewhile(lambda one: not answered(one), waiting)
    return Bodies(found[::-1], read)


def _back(journal: Journal, lines: Iterator[bytes], unread: Mapping[str, str]) -> Iterator[_Found]:
    for raw in lines:
        if raw[9:16] == b"change " and not unread:
            yield raw
        elif raw[9:16] == b"change " or raw[9:15] == b"batch ":
            yield from (one for one in reversed(_own(journal, raw)) if one.id not in unread)


def _own(journal: Journal, raw: bytes) -> list[Body]:
    return [Body(noted, body) for own, noted, body in bodies_of(journal.entries(raw)) if own]
