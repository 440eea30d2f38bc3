"""A batch of changes as it travels: without what the other side can work out for itself.

Two of a change's hashes cannot be packed and are most of what a small change weighs: its id, which is the hash of its
text, and `prev`, which in a run of one notebook's changes is the id of the one before. A batch therefore travels as

    bodies  texts in their order. A text's id is not sent; where it names the entry before as its `prev`, SAME stands
            there. An entry whose id is not the hash of its text (damaged, or kept unread) is {"id", "body"}
    check   hash of all ids: what was put together again is what was taken apart

Texts are the same to the byte on the other side. Not here: who sends what (sync, server.api).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any

SAME = '"prev":"="'
"""No hash looks like it."""


class Damaged(ValueError):
    """A batch that does not fit its check, or is none."""


def packed(entries: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """(id, body) pairs as they travel."""
    bodies: list[Any] = []
    before = ""
    for one, body in entries:
        if hash_of(body) != one or SAME in body:
            bodies.append({"id": one, "body": body})
        else:
            named = f'"prev":"{before}"'
            bodies.append(body.replace(named, SAME) if before and body.count(named) == 1 else body)
        before = one
    return {"bodies": bodies, "check": check(one for one, _ in entries)}


def unpacked(batch: Any) -> list[tuple[str, str]]:
    """The pairs that `packed` was given. Raises Damaged."""
    bodies = batch.get("bodies") if isinstance(batch, dict) else None
    if not isinstance(bodies, list):
        raise Damaged("a batch is an object with `bodies` and `check`")
    entries: list[tuple[str, str]] = []
    before = ""
    for sent in bodies:
        if isinstance(sent, str):
            body = sent.replace(SAME, f'"prev":"{before}"', 1)
            entry = (hash_of(body), body)
        elif isinstance(sent, dict) and isinstance(sent.get("id"), str) and isinstance(sent.get("body"), str):
            entry = (sent["id"], sent["body"])
        else:
            raise Damaged("an entry is a text, or an object with the texts `id` and `body`")
        entries.append(entry)
        before = entry[0]
    if batch.get("check") != check(one for one, _ in entries):
        raise Damaged("the batch does not fit its check")
    return entries


def check(ids: Iterable[str]) -> str:
    """What says that these are the ids, in this order."""
    return hash_of("\n".join(ids))


def hash_of(text: str) -> str:
    """SHA-256 of any text, halves of character pairs included."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
