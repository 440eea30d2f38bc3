"""Column types that mean the same on SQLite and on PostgreSQL. Not here: any table.

Text    sorts by code point, holds NUL (which PostgreSQL's own text cannot), and takes what no database can write,
        half of a character pair, as "?"
Integer 64 bits
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import BigInteger, Dialect, TypeDecorator, types

LONGEST_KEY = 200
"""Characters of a text that stands in an index. PostgreSQL's take 2,700 bytes, for up to two such texts of four bytes
a character."""

Integer = BigInteger().with_variant(types.Integer(), "sqlite")


class Text(TypeDecorator[str]):
    """See the module. On PostgreSQL NUL is written as 1 1 and the character 1 as 1 2, which keeps the order."""

    impl = types.Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> Any:
        return types.Text(collation="C" if dialect.name == "postgresql" else None)

    def bind_processor(self, dialect: Dialect) -> Callable[[Any], Any]:
        return _escaped if dialect.name == "postgresql" else writable

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any] | None:
        return _plain if dialect.name == "postgresql" else None


def writable(value: str | None) -> str | None:
    """`value` as a database takes it."""
    if value is None or value.isascii():
        return value
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return value.encode("utf-8", "replace").decode("utf-8")
    return value


def _escaped(value: str | None) -> str | None:
    value = writable(value)
    if value is not None and ("\0" in value or "\1" in value):
        return value.replace("\1", "\1\2").replace("\0", "\1\1")
    return value


def _plain(value: str | None) -> str | None:
    if value is not None and "\1" in value:
        return value.replace("\1\1", "\0").replace("\1\2", "\1")
    return value
