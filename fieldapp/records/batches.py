"""A batch of changes as it travels: without what the other side can work out for itself.

Two of a change's hashes cannot be packed and are most of what a small change weighs: its id, which is the hash of its
text, and `prev`, which in a run of one notebook's changes is the id of the one before. A batch therefore travels as

    bodies  texts in their order. A text's id is not sent; where it names the entry before as its `prev`, SAME stands
            there. An entry whose id is not the hash of its text (damaged, or kept unread) is {"id", "body"}
            For a receiver that has what they were written over (`known`), the ids in `over` are cut to MARK and eight
            characters, and the record, which they tell, to MARK
    check   hash of all ids: what was put together again is what was taken apart

Texts are the same to the byte on the other side. Not here: who sends what (sync, server.api).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from typing import Any

SAME = '"prev":"="'
"""No hash looks like it."""

MARK = '"~'
"""Begins what is left out. A text that holds it by itself is not shortened."""

MOST_LEFT_OUT = 50_000
"""Ids that may be left out of a batch, each of which makes it longer again where it arrives."""

_NAMED = re.compile(r'"~([0-9a-f]{8})"')
_HASH = re.compile(r"[0-9a-f]{64}")
_RECORD = '"record":"~"'

Find = Callable[[set[str]], Mapping[str, tuple[str, str]]]
"""From the beginnings of changes' ids to (id, record), where exactly one begins so."""


class Damaged(ValueError):
    """A batch that does not fit its check, or is none."""


def packed(entries: Sequence[tuple[str, str]], *, known: bool = False) -> dict[str, Any]:
    """(id, body) pairs as they travel. `known`: to somebody who has what they are written over."""
    bodies: list[Any] = []
    before = ""
    inside = {one for one, _ in entries}
    for one, body in entries:
        if hash_of(body) != one or SAME in body or MARK in body:
            bodies.append({"id": one, "body": body})
        else:
            if known and '"over":{}' not in body:
                body = _shortened(body, inside)
            named = f'"prev":"{before}"'
            bodies.append(body.replace(named, SAME) if before and body.count(named) == 1 else body)
        before = one
    return {"bodies": bodies, "check": check(one for one, _ in entries)}


def _shortened(body: str, inside: Set[str]) -> str:
    """Without the ids that it is written over and the record that they tell, if none of them comes in this batch."""
    try:
        parsed = json.loads(body)
        record, over = parsed["record"], {one for ids in parsed["over"].values() for one in ids}
    except (ValueError, RecursionError, LookupError, AttributeError, TypeError):
        return body
    short = {str(one)[:8] for one in over}
    if over & inside or len(short) < len(over) or not all(_HASH.fullmatch(str(one)) for one in over):
        return body
    own = f'"record":"{record}"'
    if body.count(own) == 1:
        body = body.replace(own, _RECORD)
    for one in over:
        body = body.replace(f'"{one}"', f'{MARK}{one[:8]}"')
    return body


def unpacked(batch: Any, find: Find | None = None) -> list[tuple[str, str]]:
    """The pairs that `packed` was given. Raises Damaged.

    Without `find` nothing was left out that only the receiver could know.
    """
    bodies = batch.get("bodies") if isinstance(batch, dict) else None
    if not isinstance(bodies, list):
        raise Damaged("a batch is an object with `bodies` and `check`")
    short = [one for body in bodies if isinstance(body, str) and MARK in body for one in _NAMED.findall(body)]
    if len(short) > MOST_LEFT_OUT:
        raise Damaged(f"a batch leaves out at most {MOST_LEFT_OUT:,} ids")
    known = find(set(short)) if find is not None and short else {}
    entries: list[tuple[str, str]] = []
    before = ""
    for sent in bodies:
        if isinstance(sent, str):
            body = sent.replace(SAME, f'"prev":"{before}"', 1)
            if MARK in body:
                body = _whole(body, known)
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


def _whole(body: str, known: Mapping[str, tuple[str, str]]) -> str:
    named = _NAMED.findall(body)
    if not named or not all(one in known for one in named):
        raise Damaged("the batch names a change that is not known, or that two could be meant by")
    body = body.replace(_RECORD, f'"record":{json.dumps(known[named[0]][1], ensure_ascii=False)}')
    return _NAMED.sub(lambda found: f'"{known[found[1]][0]}"', body)


def check(ids: Iterable[str]) -> str:
    """What says that these are the ids, in this order."""
    return hash_of("\n".join(ids))


def hash_of(text: str) -> str:
    """SHA-256 of any text, halves of character pairs included."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
