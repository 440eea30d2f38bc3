"""Which tablets are let in: one-use codes, tokens, letters. See fieldapp.records.enrolment for what a code proves.

A token is kept as its hash only and belongs to one notebook. No time that is written here is believed to lie in the
future: a cabin laptop's clock that is put back must not keep a code alive, nor an old guess counting, for a year.

A tablet that finds out that it is a copy, or was put back from one, asks for a *new life*: a token and a letter for
another notebook. The row of the old one stays, because the other copy goes on under it; to end that one too is the
administrator's choice. Not here: letters (letters), what a tablet may then do (it brings changes; what decides
authority is set aside).
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, bindparam, delete, insert, or_, select, update

from fieldapp.records import enrolment
from server.errors import (
    CodeRefused,
    DoneAlready,
    LifeTaken,
    NoSuchPerson,
    NotEnrolled,
    TokenWithdrawn,
    TooManyCodes,
    TooManyLives,
)
from server.ledger import events, letters, meta, tables
from server.ledger.ledger import CABIN, Ledger

CODE_LIVES = timedelta(minutes=15)
WRONG_CODES, WITHIN = 10, timedelta(minutes=5)
LIVES, LIVES_WITHIN = 20, timedelta(hours=12)
"""New lives on the whole site: letters are few, and a tablet that asks for them without end must not use them up."""
SEEN_AGAIN = timedelta(minutes=5)
"""How often it is noted that a tablet was here: each note is a write of its own to the disk."""

REASONS = ("lost", "broken", "replaced", "other")
"""Why a tablet is withdrawn."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code to be typed on one tablet, shown once."""

    text: str
    letter: str
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A tablet that has just been let in. `shared` is the key that proves the answer.

    held_by  whose the letter is that it had been writing with, if it gets another one
    """

    token: str
    letter: str
    shared: bytes
    held_by: str = ""


@dataclass(frozen=True, slots=True)
class Device:
    """A tablet that is or was let in."""

    notebook: str
    name: str
    letter: str
    enrolled_at: str
    seen_at: str | None
    withdrawn_at: str | None


@dataclass(frozen=True, slots=True)
class OpenCode:
    """A code that has been shown and not been used yet."""

    letter: str
    name: str
    expires_at: str


class Devices:
    """See the module. `fingerprint`: SHA-256 of the cabin's certificate, hex."""

    def __init__(self, ledger: Ledger, fingerprint: str) -> None:
        self.ledger = ledger
        self.fingerprint = fingerprint

    def open_code(self, name: str = "", *, once: str = "", by: Mapping[str, Any] = CABIN) -> Code:
        """A new one-use code, good for CODE_LIVES, with the letter it will give.

        `once`: the code's id, chosen by a form, so that the form sent twice makes one. Raises DoneAlready.
        """
        secret = enrolment.secret_from(secrets.token_bytes(enrolment.SECRET))
        expires = self.ledger.clock() + CODE_LIVES
        column = tables.enrolment.c
        with self.ledger.database.writing() as connection:
            if once and connection.scalar(select(column.id).where(column.id == once)):
                raise DoneAlready
            past = or_(column.expires_at < self.ledger.now(), column.expires_at > self.ledger.text(expires))
            connection.execute(delete(tables.enrolment).where(column.used_by.is_(None), past))
            letter = letters.free(connection)
            row = {
                "id": once or self.ledger.new_id(),
                "key": enrolment.key(secret, self.fingerprint).hex(),
                "letter": letter,
                "name": name,
                "expires_at": self.ledger.text(expires),
                "used_by": None,
            }
            connection.execute(insert(tables.enrolment), row)
            _note(connection, "code_opened", by, self.ledger.now(), {"letter": letter, "name": name})
        return Code(enrolment.code(secret, self.fingerprint), letter, expires)

    def enrol(self, proof: str, notebook: str, name: str, letter: str = "") -> Enrolled:
        """Lets the notebook in whose proof fits an open code. `letter`: the one it has been writing labels with.

        A notebook that is enrolled already keeps its letter and gets a new token, also one that was withdrawn. Where
        the answer was lost on the way, the same notebook may ask once more with the same code: until its token was
        used. Raises CodeRefused, TooManyCodes.
        """
        found: Enrolled | None = None
        since = self.ledger.text(self.ledger.clock() - WITHIN)
        told = {"name": name[:80]}
        with self.ledger.database.writing() as connection:
            # Counted and tried in one transaction: many at once gain nothing.
            too_many = events.between(connection, "code_refused", since, self.ledger.now()) >= WRONG_CODES
            if too_many:
                events.note_seldom(connection, "code_locked", "cabin", self.ledger.now(), told, unless_since=since)
            else:
                found = self._enrol(connection, proof, notebook, name, letter)
                if found is None:
                    events.note(connection, "code_refused", notebook[:80], self.ledger.now(), told)
        if too_many:
            raise TooManyCodes
        if found is None:
            raise CodeRefused
        return found

    def _enrol(self, connection: Connection, proof: str, notebook: str, name: str, wish: str) -> Enrolled | None:
        column, now = tables.enrolment.c, self.ledger.now()
        latest = self.ledger.text(self.ledger.clock() + CODE_LIVES)
        unheard = select(tables.device.c.notebook).where(
            tables.device.c.notebook == notebook, tables.device.c.seen_at.is_(None)
        )
        usable = or_(column.used_by.is_(None), column.used_by.in_(unheard))
        open_codes = select(tables.enrolment).where(usable, column.expires_at >= now, column.expires_at <= latest)
        for row in connection.execute(open_codes).all():
            shared = bytes.fromhex(row.key)
            if hmac.compare_digest(enrolment.tablets_proof(shared, notebook), proof):
                break
        else:
            return None
        token = secrets.token_urlsafe(32)
        given = letters.give(connection, notebook, wish, row.letter)
        letter = given.letter
        connection.execute(update(tables.enrolment).where(column.id == row.id).values(used_by=notebook))
        connection.execute(delete(tables.device).where(tables.device.c.notebook == notebook))
        values = {
            "notebook": notebook,
            "name": row.name or name,
            "letter": letter,
            "token": _hashed(token),
            "enrolled_at": now,
            "seen_at": None,
            "withdrawn_at": None,
        }
        connection.execute(insert(tables.device), values)
        events.note(connection, "enrolled", notebook, now, {"name": values["name"], "letter": letter})
        return Enrolled(token, letter, shared, given.held_by)

    def new_life(self, old: Device, notebook: str) -> Enrolled:
        """A token and a letter for `notebook`, under which the tablet `old` goes on. See the module.

        Asked again, because the answer was lost, it gives another token. Raises LifeTaken, TooManyLives.
        """
        now, moment = self.ledger.now(), self.ledger.text(self.ledger.clock() - LIVES_WITHIN)
        token = secrets.token_urlsafe(32)
        column, life = tables.device.c, tables.life.c
        with self.ledger.database.writing() as connection:
            row = connection.execute(select(tables.device).where(column.notebook == notebook)).first()
            if row is not None:
                came_from = connection.scalar(select(life.came_from).where(life.notebook == notebook))
                if came_from != old.notebook or row.seen_at is not None or row.withdrawn_at is not None:
                    raise LifeTaken
                connection.execute(
                    update(tables.device).where(column.notebook == notebook).values(token=_hashed(token))
                )
                return Enrolled(token, row.letter, b"")
            known = connection.scalar(select(tables.notebook.c.id).where(tables.notebook.c.id == notebook))
            if known is not None or notebook == meta.names(connection).notebook:
                raise LifeTaken
            if events.between(connection, "new_life", moment, now) >= LIVES:
                raise TooManyLives
            letter = letters.free(connection)
            values = {
                "notebook": notebook,
                "name": old.name,
                "letter": letter,
                "token": _hashed(token),
                "enrolled_at": now,
                "seen_at": None,
                "withdrawn_at": None,
            }
            connection.execute(insert(tables.device), values)
            connection.execute(insert(tables.life), {"notebook": notebook, "came_from": old.notebook, "at": now})
            noted = {"name": old.name, "letter": letter, "was": old.letter}
            events.note(connection, "new_life", notebook, now, noted)
        return Enrolled(token, letter, b"")

    def lives(self) -> dict[str, str]:
        """{notebook: the one it was before} of tablets that went on as new ones."""
        with self.ledger.database.reading() as connection:
            rows = connection.execute(select(tables.life.c.notebook, tables.life.c.came_from))
            return {row.notebook: row.came_from for row in rows}

    def check(self, token: str, notebook: str) -> Device:
        """The tablet whose token this is. Raises NotEnrolled, TokenWithdrawn; of the latter the log is told."""
        with self.ledger.database.reading() as connection:
            row = connection.execute(_BY_TOKEN, {"token": _hashed(token)}).first()
        if row is None or row.notebook != notebook:
            raise NotEnrolled
        if row.withdrawn_at is not None:
            self._refused(row)
            raise TokenWithdrawn
        if row.seen_at is None:
            # It has its token for certain: the code or the request that brought it is used up.
            self.seen(notebook)
        return _device(row)

    def _refused(self, row: Row[Any]) -> None:
        now = self.ledger.clock()
        fields, before = {"name": row.name, "letter": row.letter}, self.ledger.text(now - timedelta(hours=1))
        with self.ledger.database.writing() as connection:
            at = self.ledger.text(now)
            events.note_seldom(connection, "token_refused", row.notebook, at, fields, unless_since=before)

    def here(self, device: Device) -> None:
        """Notes that a tablet was here, unless that was noted a moment ago."""
        now = self.ledger.clock()
        if not self.ledger.text(now - SEEN_AGAIN) < (device.seen_at or "") <= self.ledger.text(now):
            self.seen(device.notebook)

    def seen(self, notebook: str) -> None:
        """Notes that a tablet was here now."""
        with self.ledger.database.writing() as connection:
            connection.execute(
                update(tables.device).where(tables.device.c.notebook == notebook).values(seen_at=self.ledger.now())
            )

    def all(self) -> list[Device]:
        """Every tablet, by letter."""
        with self.ledger.database.reading() as connection:
            rows = connection.execute(select(tables.device).order_by(tables.device.c.letter))
            return [_device(row) for row in rows]

    def of(self, notebook: str) -> Device | None:
        """The tablet with this notebook, let in or withdrawn; None if it never was."""
        with self.ledger.database.reading() as connection:
            row = connection.execute(select(tables.device).where(tables.device.c.notebook == notebook)).first()
        return _device(row) if row is not None else None

    def get(self, letter: str) -> Device:
        """The tablet with this letter. Raises NoSuchPerson."""
        with self.ledger.database.reading() as connection:
            return _device(_lettered(connection, letter))

    def open_codes(self) -> list[OpenCode]:
        """Codes that may still be typed, the oldest first."""
        column = tables.enrolment.c
        query = select(column.letter, column.name, column.expires_at).where(
            column.used_by.is_(None), column.expires_at >= self.ledger.now()
        )
        with self.ledger.database.reading() as connection:
            return [OpenCode(*row) for row in connection.execute(query.order_by(column.expires_at))]

    def came(self) -> dict[str, tuple[int, int]]:
        """{notebook: (highest number of a change that came, how far above a gap that is)}."""
        column = tables.notebook.c
        with self.ledger.database.reading() as connection:
            rows = connection.execute(select(column.id, column.highest, column.reached))
            return {row.id: (row.highest, row.highest - row.reached) for row in rows}

    def wrong_codes(self) -> int:
        """How many wrong codes were typed lately; from WRONG_CODES on nobody is let in for a while."""
        with self.ledger.database.reading() as connection:
            since = self.ledger.text(self.ledger.clock() - WITHIN)
            return events.between(connection, "code_refused", since, self.ledger.now())

    def rename(self, letter: str, name: str, by: Mapping[str, Any] = CABIN) -> Device:
        """Another name for a tablet; the letter stays for good. Raises NoSuchPerson."""
        with self.ledger.database.writing() as connection:
            row = _lettered(connection, letter)
            if row.name != name:
                connection.execute(
                    update(tables.device).where(tables.device.c.notebook == row.notebook).values(name=name)
                )
                fields = {"name": name, "before": row.name, "letter": row.letter}
                _note(connection, "renamed", by, self.ledger.now(), fields)
        return self.get(letter)

    def withdraw(self, letter: str, *, reason: str = "", by: Mapping[str, Any] = CABIN) -> Device:
        """Lets the tablet with this letter in no more; what it has brought stays. Raises NoSuchPerson.

        `reason`: a word of REASONS. One that is withdrawn already stays as it is.
        """
        with self.ledger.database.writing() as connection:
            row = _lettered(connection, letter)
            if row.withdrawn_at is None:
                now = self.ledger.now()
                connection.execute(
                    update(tables.device).where(tables.device.c.notebook == row.notebook).values(withdrawn_at=now)
                )
                fields = {"name": row.name, "letter": row.letter, "notebook": row.notebook, "reason": reason}
                _note(connection, "withdrawn", by, now, fields)
        return _device(row)


_BY_TOKEN = select(tables.device).where(tables.device.c.token == bindparam("token"))


def _lettered(connection: Connection, letter: str) -> Row[Any]:
    row = connection.execute(select(tables.device).where(tables.device.c.letter == letter.upper())).first()
    if row is None:
        raise NoSuchPerson(name=letter[:40])
    return row


def _note(connection: Connection, what: str, by: Mapping[str, Any], at: str, fields: Mapping[str, Any]) -> None:
    events.note(connection, what, str(by["person"] or by["name"]), at, {**fields, "by": by["name"]})


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _device(row: object) -> Device:
    return Device(*(getattr(row, name) for name in Device.__slots__))
