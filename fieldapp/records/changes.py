"""One change: what one person saved at one moment, as text that is never altered again.

For writing a change, reading one that came from elsewhere, and knowing it again by its hash. Not for
storing changes (store, ledger) nor for merging them (fold).

A change is carried as its **body**: one line of JSON text. Its id is the SHA-256 of exactly that text, so a
field this version does not know, or a newer format, survives every journey byte for byte. The body holds

    notebook  UUID of this life of the notebook that wrote it
    n         1, 2, 3 … without gaps within the notebook
    prev      id of the notebook's change n - 1, "" for the first
    site, record, kind
    set       {path: value}; any JSON value
    over      {path: [change ids]}: the heads the form showed when it was opened; on a deletion, every head seen
    by        {person, name, role} as the notebook knew them
    at        ISO 8601 time with zone; orders the display and decides nothing
    format    1

Errors: UnreadableChange carries what could be told of a body that is not a change; the body itself is the
caller's to keep.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

FORMAT = 1
BODY_LIMIT = 1_000_000
"""Characters. A change is a form that somebody filled in; a longer body is kept unread."""

DEEPEST = 64
"""Levels of nesting. Deeper ones can be read and then not be written down again."""

BIGGEST_N = 2**53

_REQUIRED: tuple[tuple[str, type], ...] = (
    ("notebook", str),
    ("n", int),
    ("prev", str),
    ("site", str),
    ("record", str),
    ("kind", str),
    ("set", dict),
    ("over", dict),
    ("by", dict),
    ("at", str),
    ("format", int),
)


class UnreadableChange(ValueError):
    """A body that is no change. `reason` says why, exactly, and `key` is that of a text which says it to a reader in
    their language; `notebook` and `n` are None where they cannot be told."""

    def __init__(self, why: str, reason: str, notebook: str | None = None, n: int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.key = f"cabin.aside.{why}"
        self.notebook = notebook
        self.n = n


class Change:
    """A readable change. `id` is the hash of `body`; the other attributes are the parsed body's."""

    __slots__ = ("at", "body", "by", "format", "id", "kind", "n", "notebook", "over", "prev", "record", "set", "site")

    def __init__(self, body: str, change_id: str, parsed: Mapping[str, Any]) -> None:
        self.body = body
        self.id = change_id
        self.notebook: str = parsed["notebook"]
        self.n: int = parsed["n"]
        self.prev: str = parsed["prev"]
        self.site: str = parsed["site"]
        self.record: str = parsed["record"]
        self.kind: str = parsed["kind"]
        self.set: dict[str, Any] = parsed["set"]
        self.over: dict[str, list[str]] = parsed["over"]
        self.by: dict[str, Any] = parsed["by"]
        self.at: str = parsed["at"]
        self.format: int = parsed["format"]

    def __repr__(self) -> str:
        return f"Change({self.id[:8]} n={self.n} {self.kind} {self.record[:8]} {sorted(self.set)})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Change) and other.id == self.id

    def __hash__(self) -> int:
        return hash(self.id)


def canonical(value: Any) -> str:
    """`value` as JSON text: sorted keys, no spaces, no NaN. Raises ValueError or TypeError on what JSON lacks."""
    return _written(value)


# Made once: asked for at every comparison of two values.
_written = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False).encode


def change_id(body: str) -> str:
    """The id of a change: SHA-256 of its body in UTF-8, lower-case hex. Raises UnreadableChange if it has none."""
    try:
        return hashlib.sha256(body.encode("utf-8")).hexdigest()
    except UnicodeEncodeError as error:
        raise UnreadableChange("half_pair", "it holds half of a character pair, which no file can hold") from error


def write(
    *,
    notebook: str,
    n: int,
    prev: str,
    site: str,
    record: str,
    kind: str,
    set: Mapping[str, Any],
    over: Mapping[str, Sequence[str]],
    by: Mapping[str, Any],
    at: str,
) -> Change:
    """A new change. Paths of `over` with no ids are left out. Raises UnreadableChange for values JSON lacks."""
    parsed = {
        "notebook": notebook,
        "n": n,
        "prev": prev,
        "site": site,
        "record": record,
        "kind": kind,
        "set": dict(set),
        "over": {path: sorted(ids) for path, ids in over.items() if ids},
        "by": dict(by),
        "at": at,
        "format": FORMAT,
    }
    try:
        body = canonical(parsed)
    except (ValueError, TypeError, RecursionError) as error:
        raise UnreadableChange("value", f"a value cannot be written down: {error}", notebook, n) from error
    # Parsed again, so that the change in memory is the change on disk (tuples, keys that were numbers …).
    return read(body)


def read(body: str, expected_id: str | None = None) -> Change:
    """The change in `body`. Raises UnreadableChange if it is none, or if its hash is not `expected_id`.

    Unknown fields, unknown kinds, unknown paths and newer formats are no errors.
    """
    if len(body) > BODY_LIMIT:
        raise UnreadableChange("long", f"it is longer than {BODY_LIMIT:,} characters")
    found = change_id(body)
    if expected_id is not None and found != expected_id:
        raise UnreadableChange("damaged", "its text does not match its hash: it was damaged or altered on the way")
    try:
        parsed = _DECODER.decode(body)
    except (ValueError, RecursionError) as error:
        raise UnreadableChange("not_json", f"it is not JSON: {error}") from error
    if not isinstance(parsed, dict):
        raise UnreadableChange("no_object", "it is not a JSON object")
    _require(parsed)
    _require_writable(parsed, body)
    return Change(body, found, parsed)


def kept(body: str, change_id: str) -> Change:
    """The change in a body that was read before, and kept where nothing alters it: not looked at again."""
    return Change(body, change_id, _DECODER.decode(body))


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no number")


def _finite(text: str) -> float:
    value = float(text)
    if math.isinf(value):
        raise ValueError(f"{text[:20]} is too large a number")
    return value


_DECODER = json.JSONDecoder(parse_float=_finite, parse_constant=_no_constant)


def _require_writable(parsed: dict[str, Any], body: str) -> None:
    """What can be read and then not be written down again (a snapshot, a ledger) is no change either."""
    place = parsed["notebook"], parsed["n"]
    if body.count("[") + body.count("{") > DEEPEST and _depth(parsed) > DEEPEST:
        raise UnreadableChange("nested", f"it is nested more than {DEEPEST} levels deep", *place)
    if "\\u" in body:
        try:
            canonical(parsed).encode("utf-8")
        except UnicodeEncodeError as error:
            raise UnreadableChange("half_pair", "it holds half of a character pair, which no file can hold") from error


def _depth(value: Any) -> int:
    deepest, todo = 0, [(value, 1)]
    while todo:
        one, level = todo.pop()
        deepest = max(deepest, level)
        below = one.values() if isinstance(one, dict) else one if isinstance(one, list) else ()
        todo.extend((item, level + 1) for item in below if isinstance(item, dict | list))
    return deepest


def _require(parsed: dict[str, Any]) -> None:
    notebook, n = parsed.get("notebook"), parsed.get("n")
    known_notebook = notebook if isinstance(notebook, str) else None
    known_n = n if type(n) is int else None
    for name, wanted in _REQUIRED:
        # `type is`, not isinstance: true is an int to Python and not a number of ours.
        if type(parsed.get(name)) is not wanted:
            raise UnreadableChange(
                "field", f"its field '{name}' is missing or of the wrong type", known_notebook, known_n
            )
    if not 1 <= parsed["n"] <= BIGGEST_N:
        raise UnreadableChange("number", f"its number is not between 1 and {BIGGEST_N}", known_notebook)
    for ids in parsed["over"].values():
        if type(ids) is not list or not all(type(one) is str for one in ids):
            raise UnreadableChange("over", "its field 'over' does not hold lists of ids", known_notebook, known_n)
