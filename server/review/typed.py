"""A third value of a plain path, typed at a disagreement: which paths take one, how it is asked for and read.

Not here: readings, items with parts, links to other records, what asks for care; they are not typed in passing.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from marshmallow import fields, validate

from fieldapp.assets import knowledge
from fieldapp.domain.rules.words import PLAIN
from fieldapp.records.fold import Record
from fieldapp.records.schemas import SHAPES

NUMBER, WHOLE, WORDS, CHOICE = "number", "whole", "words", "choice"
_ELSEWHERE = frozenset({"bag", "context", "sample", "fraction", "grave_like", "label", "number"})
"""Paths whose value names another record or this one, or asks for care: one of the versions is taken."""


class Input(NamedTuple):
    """How a third value is typed, and the words to choose from."""

    sort: str
    choices: tuple[str, ...] = ()


def third_input(record: Record, path: str) -> Input | None:
    """How a third value of this path is typed; None where it cannot be."""
    if "/" in path or path in _ELSEWHERE:
        return None
    shape = SHAPES.get(record.kind, {}).get(path)
    if isinstance(shape, fields.Integer):
        return Input(WHOLE)
    if isinstance(shape, fields.Float):
        return Input(NUMBER)
    if not isinstance(shape, fields.String):
        return None
    given = next((one.choices for one in shape.validators if isinstance(one, validate.OneOf)), ())
    listed = tuple(map(str, given)) or knowledge().words.get(PLAIN.get(record.kind, {}).get(path, ""), ())
    return Input(CHOICE, listed) if listed else Input(WORDS)


def read_typed(asked: Input, typed: str) -> Any:
    """The value that was typed; None for none, and for what is no such value."""
    if not typed:
        return None
    if asked.sort in (NUMBER, WHOLE):
        try:
            number = float(typed.replace(",", "."))
        except ValueError:
            return None
        if not math.isfinite(number) or abs(number) > 1e9 or number < 0 or "_" in typed:
            return None
        whole = number == int(number)
        return int(number) if whole and asked.sort == WHOLE else number if asked.sort == NUMBER else None
    return typed if asked.sort == WORDS or typed in asked.choices else None
