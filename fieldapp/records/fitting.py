"""Quick answers to "does this value surely fit its shape?", made from the shapes themselves.

Nearly every value fits, and marshmallow takes hundreds of microseconds to say so of one docket. A check made here says
True only where marshmallow has nothing to say; where it says False marshmallow is asked. So a shape stands in one place
(schemas), and a kind of field that is not known here is only slower, never judged otherwise.
Not here: what is wrong with a value. That is marshmallow's to say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from marshmallow import INCLUDE, Schema, fields, validate

from fieldapp.records.shapes import TakingBack, Tick

Fits = Callable[[Any], bool]

_LARGEST = 10**15
"""Whole numbers up to here are certain to be floats too."""


def fits(field: fields.Field[Any]) -> Fits:
    """A check that is True only of values at which the field finds nothing wrong."""
    base = _base(field)
    holds = [_holds(one) for one in field.validators]
    if base is None or not all(holds):
        return _never
    found = _all(base, [one for one in holds if one is not None])
    return _or_null(found) if field.allow_none else found


def _base(field: fields.Field[Any]) -> Fits | None:
    kind = type(field)
    if kind is fields.String:
        return _is_text
    if kind is fields.Boolean:
        return _is_truth
    if isinstance(field, fields.Integer) and kind is fields.Integer:
        return _is_whole
    if isinstance(field, fields.Float) and kind is fields.Float:
        return _is_number
    if isinstance(field, fields.List) and kind is fields.List:
        return _list(fits(field.inner))
    if isinstance(field, fields.Dict) and kind is fields.Dict and field.key_field and field.value_field:
        return _dict(fits(field.key_field), fits(field.value_field))
    if isinstance(field, fields.Nested) and kind is fields.Nested and not field.many:
        return _object(field.schema)
    if kind is Tick and (back := _object(TakingBack())):
        return lambda value: _is_truth(value) or back(value)
    return None


def _object(schema: Schema) -> Fits | None:
    if schema.unknown != INCLUDE or any(schema._hooks.values()) or schema.many:
        return None
    names = {field.data_key or name: field for name, field in schema.load_fields.items()}
    own = tuple((name, fits(field)) for name, field in names.items())
    required = frozenset(name for name, field in names.items() if field.required)

    def check(value: Any) -> bool:
        if type(value) is not dict or not required <= value.keys():
            return False
        # A plain loop: it is what nearly all the time is spent in.
        for name, inner in own:
            if name in value and not inner(value[name]):
                return False
        return True

    return check


def _list(inner: Fits) -> Fits:
    return lambda value: type(value) is list and all(map(inner, value))


def _dict(key: Fits, inner: Fits) -> Fits:
    if isinstance(inner, _Word):
        return lambda value: type(value) is dict and all(map(key, value)) and inner.are(value.values())
    return lambda value: type(value) is dict and all(map(key, value)) and all(map(inner, value.values()))


def _or_null(check: Fits) -> Fits:
    if isinstance(check, _Word):
        return _Word(check.words, null=True)
    if check is _is_text:
        return _is_text_or_null
    return lambda value: value is None or check(value)


def _all(base: Fits, holds: list[Fits]) -> Fits:
    if not holds:
        return base
    (first, *rest) = holds
    if not rest:
        return first if isinstance(first, _Word) and base is _is_text else lambda value: base(value) and first(value)
    return lambda value: base(value) and all(one(value) for one in holds)


def _holds(validator: Any) -> Fits | None:
    """A validator's check, for values that have the field's own type already."""
    kind = type(validator)
    if kind is validate.OneOf:
        return _Word(validator.choices)
    if kind is validate.Length and validator.equal is None:
        low, high = validator.min or 0, validator.max
        return lambda value: low <= len(value) and (high is None or len(value) <= high)
    if kind is validate.Range:
        return _asked(validator)
    if kind is validate.Regexp:
        return lambda value: validator.regex.match(value) is not None
    return None


class _Word:
    """Whether a text is one of some words; `null`: or nothing."""

    __slots__ = ("null", "words")

    def __init__(self, words: Iterable[str], null: bool = False) -> None:
        self.words = frozenset(words)
        self.null = null

    def __call__(self, value: Any) -> bool:
        return (type(value) is str and value in self.words) or (value is None and self.null)

    def are(self, values: Iterable[Any]) -> bool:
        """Whether all of several are."""
        if self.null:
            return all(map(self, values))
        return all(map(_is_text, values)) and self.words.issuperset(values)


def _asked(validator: Callable[[Any], Any]) -> Fits:
    """A cheap validator asked itself."""

    def check(value: Any) -> bool:
        try:
            validator(value)
        except Exception:
            return False
        return True

    return check


def _never(value: Any) -> bool:
    return False


def _is_text(value: Any) -> bool:
    return type(value) is str


def _is_text_or_null(value: Any) -> bool:
    return value is None or type(value) is str


def _is_truth(value: Any) -> bool:
    return value is True or value is False


def _is_whole(value: Any) -> bool:
    return type(value) is int


def _is_number(value: Any) -> bool:
    kind = type(value)
    return (kind is float or kind is int) and -_LARGEST < value < _LARGEST
