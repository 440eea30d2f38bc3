"""What a form brings back: the heads it showed, and figures as people type them.

A form about a record carries `heads`, JSON {path: [change ids]}, as it was when it was opened. What is written names
them in `over`, and only what differs from what they say is written: somebody else's newer word is neither lost nor
written over unseen. Not here: which fields a form has, what is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from flask import abort, request

from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.review import desk, opened
from server.review.forms import same
from server.review.opened import Opened
from server.review.showing import as_text

MOST = 1e9
"""No balance and no ruler shows as much."""


class NoFigure(ValueError):
    """What was typed is no figure that a balance or a ruler shows."""


def heads(record: Record, paths: Iterable[str], *, again: bool = False) -> str:
    """What a form about some paths of a record carries; `again`: the form that was sent comes back with a fault, and
    still shows what it showed."""
    if again:
        return request.form.get("heads", "")
    there = record.head_ids()
    return canonical({path: there.get(path, []) for path in paths})


def shown(record: Record, paths: Sequence[str], heads: Any = None) -> Opened:
    """What a form about `paths` showed; `heads`: as they came in, where the form is about several records. Ends the
    request where they are not this record's own."""
    found = opened.form(record) if heads is None else opened.read(record, heads)
    return found if set(found.heads) <= set(paths) else abort(400)


def changed(shown: Opened, typed: Mapping[str, Any]) -> dict[str, Any]:
    """What of `typed` is not what the form showed; nothing, an empty text and a no are one. A path whose heads it did
    not show is left alone; of one that it showed in dispute, what was typed settles it."""
    return {
        path: value
        for path, value in typed.items()
        if path in shown.heads and (len(shown.versions(path)) > 1 or not _same(shown.value(path), value))
    }


def _same(shown: Any, typed: Any) -> bool:
    """Whether a field came back as it was shown: what stands there may be odd, or written with more white space or
    other noughts than a browser sends back, and is then left as it is."""
    if isinstance(typed, Mapping):
        return canonical(shown) == canonical(typed)
    one, other = (None if value is False else value for value in (shown, typed))
    return one == other if is_figure(one) and is_figure(other) else _same_text(as_text(one), as_text(other))


def _same_text(one: str, other: str) -> bool:
    return same(one, other, lines="\n" in one + other)


def figure(name: str) -> float | None:
    """A figure of the form, nought or more; with a point or a comma. None where nothing was typed. Raises NoFigure."""
    text = desk.field(name)
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise NoFigure(name) from None
    if not 0 <= value < MOST or "_" in text:
        raise NoFigure(name)
    return int(value) if value.is_integer() else value


def is_figure(value: Any) -> bool:
    """Whether a record's value is a number; true and false are none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
