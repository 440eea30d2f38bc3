"""The form of a journal's line. Pure: bytes in, entries out, and back.

    crc32hex SP kind SP payload LF

The checksum (CRC-32 as in zlib, eight lower-case hex digits) covers `kind SP payload`. A payload holds no LF. Several
entries that belong to one save, and any entry whose payload holds an LF, go into one line of kind `batch`, whose
payload is JSON `[[kind, payload], …]`: a line is there or it is not, and so is the save.

Kinds are lower-case words. Those this version does not know are kept as they are.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

BATCH = "batch"
_KIND = re.compile(r"[a-z_]{1,32}")


class Entry(NamedTuple):
    """One thing written down: its kind and its text."""

    kind: str
    payload: str


class BadLine(ValueError):
    """Bytes that are no line as this module writes them. The text says why."""


class Piece(NamedTuple):
    """The bytes of one line as they lie in a file: number from 1, offset of the first byte, LF or not."""

    number: int
    offset: int
    raw: bytes
    ended: bool

    @property
    def end(self) -> int:
        """The offset just behind the line and its LF."""
        return self.offset + len(self.raw) + self.ended


def encode(entries: Sequence[Entry]) -> bytes:
    """The one line that holds `entries`. Raises ValueError for no entries, a kind that is no word, a broken text."""
    if not entries:
        raise ValueError("a line without entries")
    for kind, _ in entries:
        if not _KIND.fullmatch(kind) or kind == BATCH:
            raise ValueError(f"{kind!r} is no kind of line")
    kind, payload = entries[0]
    if len(entries) > 1 or "\n" in payload:
        kind, payload = BATCH, json.dumps(entries, ensure_ascii=False, separators=(",", ":"))
    content = f"{kind} {payload}".encode()
    return b"%08x %b\n" % (zlib.crc32(content), content)


def decode(raw: bytes) -> list[Entry]:
    """The entries of a line without its LF. Raises BadLine."""
    content = raw[9:]
    if raw[:9] != b"%08x " % zlib.crc32(content):
        raise BadLine("its checksum does not match")
    try:
        kind, space, payload = content.decode().partition(" ")
    except UnicodeDecodeError as error:
        raise BadLine("it is not UTF-8") from error
    if not space or not _KIND.fullmatch(kind):
        raise BadLine("it has no kind")
    if kind != BATCH:
        return [Entry(kind, payload)]
    try:
        parts = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise BadLine("its list is no JSON") from error
    if not isinstance(parts, list) or not parts or not all(_is_entry(one) for one in parts):
        raise BadLine("its list does not hold entries")
    return [Entry(*one) for one in parts]


def _is_entry(one: object) -> bool:
    return (
        isinstance(one, list)
        and len(one) == 2
        and all(isinstance(part, str) for part in one)
        and one[0] != BATCH
        and _KIND.fullmatch(one[0]) is not None
    )


def pieces(data: bytes, offset: int = 0, number: int = 1) -> Iterator[Piece]:
    """`data` cut at its LFs; the first piece is line `number` and starts at byte `offset` of the file."""
    *ended, rest = data.split(b"\n")
    for raw in ended:
        yield Piece(number, offset, raw, True)
        offset += len(raw) + 1
        number += 1
    if rest:
        yield Piece(number, offset, rest, False)
