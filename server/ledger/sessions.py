"""Who is signed in at the pages: one line a session, so that it can be ended here and not only in a browser's cookie.

The cookie holds a random id, the table its hash: neither a copy of the ledger nor a cookie kept from before a sign-out
opens anything. Not here: how long a session lasts without a page being asked for (server.review.desk), passwords.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select

from server.ledger import tables


@dataclass(frozen=True, slots=True)
class Session:
    """Of which account, and since when (ISO 8601 UTC)."""

    account: str
    began_at: str


def begin(connection: Connection, account: str, at: str, over_before: str) -> str:
    """A new session; its id, which is not kept. Lines that began before `over_before` are swept out."""
    connection.execute(delete(tables.session).where(tables.session.c.began_at < over_before))
    found = secrets.token_urlsafe(32)
    connection.execute(insert(tables.session), {"id": _hashed(found), "account": account, "began_at": at})
    return found


def find(connection: Connection, session: str) -> Session | None:
    """The session with this id, if it has not been ended."""
    row = connection.execute(select(tables.session).where(tables.session.c.id == _hashed(session))).first()
    return Session(row.account, row.began_at) if row is not None else None


def end(connection: Connection, session: str) -> None:
    """Ends one."""
    connection.execute(delete(tables.session).where(tables.session.c.id == _hashed(session)))


def end_all(connection: Connection, account: str) -> None:
    """Ends every session of an account."""
    connection.execute(delete(tables.session).where(tables.session.c.account == account))


def _hashed(session: str) -> str:
    return hashlib.sha256(session.encode("utf-8", "replace")).hexdigest()
