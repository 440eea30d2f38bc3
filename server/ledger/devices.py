"""Which tablets are let in: one-use codes, tokens, letters. See fieldapp.records.enrolment for what a code proves.

A token is kept as its hash only and belongs to one notebook. A letter is never given to a second notebook: labels are
unique because of it. Not here: what a tablet may then do (it brings changes; what decides authority is set aside).
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import product

from sqlalchemy import Connection, delete, insert, select, update

from fieldapp.domain.labels import LabelError
from fieldapp.domain.labels import read as read_label
from fieldapp.records import enrolment
from server.errors import CodeRefused, NoSuchPerson, NotEnrolled, TokenWithdrawn, TooManyCodes
from server.ledger import events, tables
from server.ledger.ledger import Ledger

CODE_LIVES = timedelta(minutes=15)
SEEN_EVERY = timedelta(minutes=1)
WRONG_CODES, WITHIN = 10, timedelta(minutes=5)

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which muddy pencils make of 1 and 0."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code to be typed on one tablet, shown once."""

    text: str
    letter: str
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A tablet that has just been let in. `shared` is the key that proves the answer."""

    token: str
    letter: str
    shared: bytes


@dataclass(frozen=True, slots=True)
class Device:
    """A tablet that is or was let in."""

    notebook: str
    name: str
    letter: str
    enrolled_at: str
    seen_at: str | None
    withdrawn_at: str | None


class Devices:
    """See the module. `fingerprint`: SHA-256 of the cabin's certificate, hex."""

    def __init__(self, ledger: Ledger, fingerprint: str) -> None:
        self.ledger = ledger
        self.fingerprint = fingerprint
        self._noted: dict[str, datetime] = {}

    def open_code(self, name: str = "") -> Code:
        """A new one-use code, good for CODE_LIVES, with the letter it will give."""
        secret = enrolment.secret_from(secrets.token_bytes(enrolment.SECRET))
        expires = self.ledger.clock() + CODE_LIVES
        with self.ledger.database.writing() as connection:
            connection.execute(
                delete(tables.enrolment).where(
                    tables.enrolment.c.used_by.is_(None), tables.enrolment.c.expires_at < self.ledger.now()
                )
            )
            letter = self._next_letter(connection)
            row = {
                "id": self.ledger.new_id(),
                "key": enrolment.key(secret, self.fingerprint).hex(),
                "letter": letter,
                "name": name,
                "expires_at": self.ledger.text(expires),
                "used_by": None,
            }
            connection.execute(insert(tables.enrolment), row)
            events.note(connection, "code_opened", "cabin", self.ledger.now(), {"letter": letter, "name": name})
        return Code(enrolment.code(secret, self.fingerprint), letter, expires)

    def enrol(self, proof: str, notebook: str, name: str, letter: str = "") -> Enrolled:
        """Lets the notebook in whose proof fits an open code. `letter`: the one it has been writing labels with.

        A notebook that is enrolled already keeps its letter and gets a new token. Raises CodeRefused, TooManyCodes.
        """
        with self.ledger.database.reading() as connection:
            moment = self.ledger.clock() - WITHIN
            if events.since(connection, "code_refused", self.ledger.text(moment)) >= WRONG_CODES:
                raise TooManyCodes
        with self.ledger.database.writing() as connection:
            found = self._enrol(connection, proof, notebook, name, letter)
            if found is None:
                events.note(connection, "code_refused", notebook[:80], self.ledger.now(), {"name": name[:80]})
        if found is None:
            raise CodeRefused
        return found

    def _enrol(self, connection: Connection, proof: str, notebook: str, name: str, wish: str) -> Enrolled | None:
        column, now = tables.enrolment.c, self.ledger.now()
        open_codes = select(tables.enrolment).where(column.used_by.is_(None), column.expires_at >= now)
        for row in connection.execute(open_codes).all():
            shared = bytes.fromhex(row.key)
            if hmac.compare_digest(enrolment.tablets_proof(shared, notebook), proof):
                break
        else:
            return None
        token = secrets.token_urlsafe(32)
        letter = self._letter_for(connection, notebook, wish, row.letter)
        connection.execute(update(tables.enrolment).where(column.id == row.id).values(used_by=notebook))
        connection.execute(delete(tables.device).where(tables.device.c.notebook == notebook))
        values = {
            "notebook": notebook,
            "name": name or row.name,
            "letter": letter,
            "token": _hashed(token),
            "enrolled_at": now,
            "seen_at": None,
            "withdrawn_at": None,
        }
        connection.execute(insert(tables.device), values)
        self._noted.pop(notebook, None)
        events.note(connection, "enrolled", notebook, now, {"name": values["name"], "letter": letter})
        return Enrolled(token, letter, shared)

    def check(self, token: str, notebook: str) -> Device:
        """The tablet whose token this is. Raises NotEnrolled, TokenWithdrawn."""
        column = tables.device.c
        with self.ledger.database.reading() as connection:
            row = connection.execute(select(tables.device).where(column.token == _hashed(token))).first()
        if row is None or row.notebook != notebook:
            raise NotEnrolled
        if row.withdrawn_at is not None:
            raise TokenWithdrawn
        return _device(row)

    def seen(self, notebook: str) -> None:
        """Notes that a tablet was here now, to the minute: each note is a write of its own to the disk."""
        noted = self._noted.get(notebook)
        if noted is not None and timedelta(0) <= self.ledger.clock() - noted < SEEN_EVERY:
            return
        self._noted[notebook] = self.ledger.clock()
        with self.ledger.database.writing() as connection:
            connection.execute(
                update(tables.device).where(tables.device.c.notebook == notebook).values(seen_at=self.ledger.now())
            )

    def all(self) -> list[Device]:
        """Every tablet, by letter."""
        with self.ledger.database.reading() as connection:
            rows = connection.execute(select(tables.device).order_by(tables.device.c.letter))
            return [_device(row) for row in rows]

    def withdraw(self, letter: str) -> Device:
        """Lets the tablet with this letter in no more; what it has brought stays. Raises NoSuchPerson."""
        column = tables.device.c
        with self.ledger.database.writing() as connection:
            row = connection.execute(select(tables.device).where(column.letter == letter.upper())).first()
            if row is None:
                raise NoSuchPerson(name=letter)
            now = self.ledger.now()
            connection.execute(update(tables.device).where(column.letter == row.letter).values(withdrawn_at=now))
            events.note(connection, "withdrawn", row.notebook, now, {"name": row.name, "letter": row.letter})
        return _device(row)

    # -- letters

    def _letter_for(self, connection: Connection, notebook: str, wish: str, offered: str) -> str:
        holder: dict[str, str] = {one.letter: one.notebook for one in connection.execute(select(tables.device))}
        own = [letter for letter, one in holder.items() if one == notebook]
        # After a backup was put back, a tablet knows better than the cabin which letter it has.
        for letter in (*own, *(one for one in _letters() if one == wish), offered):
            if holder.get(letter, notebook) == notebook:
                return letter
        return self._next_letter(connection)

    def _next_letter(self, connection: Connection) -> str:
        used = set(connection.scalars(select(tables.device.c.letter)))
        used |= set(connection.scalars(select(tables.enrolment.c.letter)))
        # Labels that came from tablets whose enrolment this ledger has lost.
        used |= set(_letters_in(connection))
        return next(one for one in _letters() if one not in used)


def _letters() -> Iterator[str]:
    yield from LETTERS
    yield from ("".join(pair) for pair in product(LETTERS, repeat=2))


def _letters_in(connection: Connection) -> Iterator[str]:
    column = tables.record.c
    query = select(column.label).where(column.label.is_not(None), column.kind.not_in(("site", "person", "context")))
    for label in connection.scalars(query):
        try:
            yield read_label(label).letter
        except LabelError:
            continue


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _device(row: object) -> Device:
    return Device(*(getattr(row, name) for name in Device.__slots__))
