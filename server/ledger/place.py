"""Where a ledger lies: a SQLite file, or a schema of a PostgreSQL database. Values only; nothing is opened here.

A password may stand in the URL; it is never shown: `str(place)` has none, nor has an error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from server.errors import LedgerAddress

SCHEMA = "bonedocket"
"""The schema where none is named."""

_POSTGRESQL = ("postgresql", "postgres", "postgresql+psycopg")
_NAME = re.compile(r"[a-z][a-z0-9_]{0,62}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Place:
    """Either `path` or `url` with `schema`."""

    path: Path | None = None
    url: URL | None = field(default=None, repr=False)
    schema: str = ""

    @classmethod
    def of(cls, where: Path | str | Place, schema: str = "") -> Place:
        """A path, or a URL as text. Raises LedgerAddress for what is neither."""
        if isinstance(where, Place):
            return where
        if isinstance(where, Path) or "://" not in where:
            return cls(path=Path(where))
        try:
            url = make_url(where)
        except (ArgumentError, ValueError):
            # Whatever it says may quote the password.
            raise LedgerAddress(what=where.partition(":")[0]) from None
        if url.drivername == "sqlite" and url.database:
            return cls(path=Path(url.database))
        schema = schema or SCHEMA
        if url.drivername not in _POSTGRESQL or not url.database or not _NAME.fullmatch(schema):
            raise LedgerAddress(what=url.drivername)
        return cls(url=url.set(drivername="postgresql+psycopg"), schema=schema)

    def __str__(self) -> str:
        if self.url is None:
            return self.path.name if self.path else ""
        one = self.url
        host = one.host or one.query.get("host") or "localhost"
        return f"postgresql://{one.username or ''}@{host}/{one.database} ({self.schema})"


def schema_for(code: str) -> str:
    """The schema of a site's ledger, by its code."""
    plain = re.sub(r"[^a-z0-9]", "_", "".join(code.split()).lower())
    return f"site_{plain}"[:63]
