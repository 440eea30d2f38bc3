"""Which messages tablet and cabin can speak, so that an older one and a newer one still understand each other.

Each says the newest format it knows and the oldest it still speaks; they speak the newest that both know. What is not
known in a message is passed over. Not here: the format of a change (changes.FORMAT), which travels unread if need be.
"""

from __future__ import annotations

import hashlib

MESSAGES = 1
"""Raise it when a message changes its meaning; adding a field is no such change."""

OLDEST = 1
"""Raise it only when an older side could no longer be answered rightly."""


BATCH = PAGE = 1000
"""Changes that a cabin takes, and gives, at a time."""


class NoCommonFormat(ValueError):
    """The two have no format in common. `newer`: the other side is the newer one."""

    def __init__(self, newer: bool) -> None:
        super().__init__("newer" if newer else "older")
        self.newer = newer


def agreed(newest: int, oldest: int) -> int:
    """The format to speak with a side that knows those between `oldest` and `newest`. Raises NoCommonFormat."""
    if oldest > MESSAGES:
        raise NoCommonFormat(newer=True)
    if newest < OLDEST:
        raise NoCommonFormat(newer=False)
    return min(newest, MESSAGES)


def tag(epoch: str, head: int, mark: str, own: int) -> str:
    """Stands for all that a tablet has to know to have nothing to ask for: the cabin's epoch, the number and id of its
    last change, how far the tablet's own changes have come, and the format that both speak."""
    return hashlib.sha256(f"{epoch} {head} {mark} {own} {MESSAGES}".encode()).hexdigest()[:16]


SERVICE = "_bonedocket._tcp.local."
"""Under which a cabin announces itself on its network: TXT `site` (code), `short` (fingerprint), `path`."""
