"""Slows down whoever tries one password on many accounts: wrong ones are counted by where they come from.

Kept in the database, so that several workers count together. A guess is counted before the password is looked at and
forgiven when it was right, so that many at once gain nothing; one right password forgives no other guess.
Not here: wrong passwords in a row for one account (accounts), wrong enrolment codes (devices).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from datetime import datetime, timedelta

from sqlalchemy import Connection, delete, insert, select

from server.ledger import tables

FROM_ONE_PLACE, WITHIN = 20, timedelta(minutes=10)
"""Wrong passwords from one address, whatever the accounts. A whole hut behind one laptop mistypes less than that."""


def waits_until(
    connection: Connection, address: str, now: datetime, text: Callable[[datetime], str]
) -> datetime | None:
    """When this address may guess again, or None if it may now. `text`: how the ledger writes a moment."""
    column, place = tables.guess.c, _place(address)
    if not place:
        return None
    query = select(column.at).where(column.place == place, column.at > text(now - WITHIN))
    times = connection.scalars(query.order_by(column.at.desc()).limit(FROM_ONE_PLACE)).all()
    return datetime.fromisoformat(times[-1]) + WITHIN if len(times) == FROM_ONE_PLACE else None


def count(connection: Connection, guess: str, address: str, now: datetime, text: Callable[[datetime], str]) -> None:
    """Counts a guess, under an id by which it can be forgiven. Old ones are swept out."""
    connection.execute(delete(tables.guess).where(tables.guess.c.at <= text(now - WITHIN)))
    if place := _place(address):
        connection.execute(insert(tables.guess), {"id": guess, "place": place, "at": text(now)})


def forgive(connection: Connection, guess: str) -> None:
    """It was right."""
    connection.execute(delete(tables.guess).where(tables.guess.c.id == guess))


def _place(address: str) -> str:
    """An address as it is counted: IPv6 by its network, of which one machine has as many addresses as it likes."""
    try:
        read = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(read, ipaddress.IPv4Address):
        return str(read)
    if read.ipv4_mapped is not None:
        return str(read.ipv4_mapped)
    return str(ipaddress.IPv6Network((read, 64), strict=False))
