"""People at the cabin: one account a person and role, with a password and a personal key that signs.

The public half of a key is granted in the person's record (`key/<id>`), written by the cabin's own notebook; the
private half lies here, encrypted under the password, and is opened for one signature at a time. There is no default
password: `add` makes a random one and hands it out once. Wrong passwords are counted before they are checked, so that
many tries at once gain nothing; after five the account waits, longer each time, and after twenty from one address
(guessing) that address. A session (sessions) ends with the account, and with the password it was begun with.
Not here: what a role may do (the table of roles: `may`), cookies (server.review).
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Connection, Row, func, insert, select, update

from fieldapp.assets import knowledge
from fieldapp.domain.alphabet import alphabetical
from fieldapp.records import signing
from fieldapp.records.enrolment import ALPHABET
from fieldapp.records.shapes import ROLES
from server.errors import (
    AccountExists,
    DoneAlready,
    LastAdministrator,
    NoSuchPerson,
    NoSuchRole,
    PlaceLocked,
    SignInLocked,
    SignInRefused,
)
from server.ledger import events, guessing, sessions, tables
from server.ledger.ledger import CABIN, Ledger

FREE_TRIES = 5
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=30), timedelta(minutes=15)
PUT_BACK = timedelta(minutes=2)
"""By how much a clock that is set by the network may go back without ending sessions."""
LONGEST_SESSION = timedelta(hours=12)


def may(role: str, act: str) -> str:
    """What the table of roles says: "yes", "no", "policy" (if the site's policy names the person) or "zone"."""
    return knowledge().allowed(act, role)


@dataclass(frozen=True, slots=True)
class Account:
    """A person in a role. `by` is what their changes carry."""

    id: str
    person: str
    name: str
    role: str
    key: str
    active: bool

    @property
    def by(self) -> dict[str, str]:
        return {"person": self.person, "name": self.name, "role": self.role}


@dataclass(frozen=True, slots=True)
class Unlocked:
    """A personal key, opened: for fieldapp.records.signing, and not to be kept."""

    account: Account
    private: Ed25519PrivateKey

    def sign(self, value: Mapping[str, Any], *, site: str, record: str, path: str) -> dict[str, Any]:
        """`value` signed for this place."""
        one = self.account
        return signing.sign(
            value, private=self.private, person=one.person, key=one.key, site=site, record=record, path=path
        )


class Accounts:
    """See the module. `hasher` is passed in by tests that cannot wait."""

    def __init__(self, ledger: Ledger, hasher: PasswordHasher | None = None) -> None:
        self.ledger = ledger
        self._hasher = hasher or PasswordHasher()
        self._nobody = self._hasher.hash(secrets.token_hex())
        self.elsewhere: Sequence[Accounts] = ()
        """The other sites' of the same server: who was lent there has one password."""

    # -- who there is

    def all(self) -> list[Account]:
        """Every account, by name and role."""
        with self.ledger.database.reading() as connection:
            found = [_account(row) for row in connection.execute(select(tables.account))]
        return sorted(found, key=lambda one: (alphabetical(one.name), one.role))

    def get(self, account: str) -> Account | None:
        """The account with this id, if it is there and active."""
        with self.ledger.database.reading() as connection:
            row = connection.execute(select(tables.account).where(tables.account.c.id == account)).first()
        return _account(row) if row is not None and row.active else None

    # -- sessions

    def begin_session(self, account: Account) -> str:
        """A new session of somebody whose password was right: the id that goes into the cookie, not kept here."""
        over = self.ledger.text(self.ledger.clock() - LONGEST_SESSION)
        with self.ledger.database.writing() as connection:
            return sessions.begin(connection, account.id, self.ledger.now(), over)

    def in_session(self, session: str) -> Account | None:
        """Whose session this is, if it goes on and the account is active.

        A session of another site of the same server is one here too for who was lent: the same person, role and key.
        """
        now = self.ledger.clock()
        # From the future is a session of before this laptop's clock was put back: it would hardly ever end.
        first, last = self.ledger.text(now - LONGEST_SESSION), self.ledger.text(now + PUT_BACK)
        for one in (self, *self.elsewhere):
            with one.ledger.database.reading() as connection:
                found = sessions.find(connection, session)
            if found is not None:
                account = one.get(found.account) if first <= found.began_at <= last else None
                return account if one is self or account is None else self._same(account)
        return None

    def _same(self, whose: Account) -> Account | None:
        """The active account here of the same person and role with the same key."""
        with self.ledger.database.reading() as connection:
            rows = _rows(connection, whose.person)
        found = [one for one in rows if (one.role, one.key) == (whose.role, whose.key) and one.active]
        return _account(found[0]) if found else None

    def end_session(self, session: str, account: Account) -> None:
        """Signs out: whoever has kept the cookie has nothing."""
        for one in (self, *self.elsewhere):
            with one.ledger.database.writing() as connection:
                if sessions.end(connection, session):
                    fields = {"name": account.name, "role": account.role}
                    events.note(connection, "sign_out", account.person, self.ledger.now(), fields)

    # -- making, changing, ending

    def add(
        self, name: str, role: str, *, person: str | None = None, once: str = "", by: Mapping[str, Any] = CABIN
    ) -> tuple[Account, str]:
        """A new account and its password, which is not kept. `person`: the id of somebody who gets one role more.

        `once`: the account's id, chosen by a form, so that the form sent twice makes one. Raises DoneAlready.
        """
        if role not in ROLES:
            raise NoSuchRole(role=role, roles=", ".join(ROLES))
        password = random_password()
        new_id = self.ledger.new_id
        account = Account(once or new_id(), person or new_id(), name, role, new_id(), True)
        private = Ed25519PrivateKey.generate()
        row = {
            "id": account.id,
            "person": account.person,
            "name": name,
            "role": role,
            "key": account.key,
            "password": self._hasher.hash(password),
            "private": _locked(private, password),
            "active": True,
            "wrong": 0,
        }
        with self.ledger.database.writing() as connection:
            if once and connection.scalar(select(tables.account.c.id).where(tables.account.c.id == once)):
                raise DoneAlready
            there = _rows(connection, account.person)
            if person is not None and not there:
                raise NoSuchPerson(name=person)
            if any(one.role == role for one in there):
                raise AccountExists(name=there[0].name, role=role)
            if there:
                row["name"] = there[0].name
            connection.execute(insert(tables.account), row)
            values: dict[str, Any] = {f"key/{account.key}": _grant(private, role)}
            if not there:
                # The record names the role the person was first entered with; each key has a role of its own.
                values |= {"name": name, "role": role, "active": True}
            self.ledger.write_in(connection, "person", account.person, values, {}, by)
            self._note(connection, "person_added", by, row)
        return _account_of(row), password

    def lend(self, person: str, role: str, to: Accounts, by: Mapping[str, Any] = CABIN) -> Account:
        """Lets somebody of this site into another one of the same server, with the same password and key.

        Raises NoSuchPerson, AccountExists.
        """
        with self.ledger.database.reading() as connection:
            lent = {**_one(connection, person, role)._mapping, "id": self.ledger.new_id(), "active": True}
            # What was signed with another key than the present one stays valid here; there it never counted.
            granted = {f"key/{lent['key']}": self._granted(connection, person, lent["key"])}
        with to.ledger.database.writing() as connection:
            there = _rows(connection, person)
            if any(one.role == role for one in there):
                raise AccountExists(name=lent["name"], role=role)
            connection.execute(insert(tables.account), lent)
            new = {} if there else {"name": lent["name"], "role": role, "active": True}
            to.ledger.write_in(connection, "person", person, granted | new, {}, by)
            to._note(connection, "person_lent", by, lent)
        return _account_of(lent)

    def change_password(self, person: str, role: str, old: str, new: str, address: str = "") -> None:
        """Another password, at every site the person was lent to; the personal key stays, sessions end.

        Raises like `sign_in`."""
        unlocked = self.unlock(person, old, role, address)
        values = {"password": self._hasher.hash(new), "private": _locked(unlocked.private, new)}
        for one in (self, *self.elsewhere):
            one._follow(unlocked.account, values, {}, "password_changed", unlocked.account.by)

    def reset(self, person: str, role: str, by: Mapping[str, Any] = CABIN, *, over: str = "") -> str:
        """A new random password for one that is lost, with a new key: the old one cannot be opened any more.

        What the old key signed stays valid; a key is revoked by `withdraw`. Here an account that was switched off
        is let in again; at the other sites it stays as it was. `over`: the key that the form showed; if it is another
        by now, DoneAlready is raised.
        """
        password, key = random_password(), self.ledger.new_id()
        private = Ed25519PrivateKey.generate()
        with self.ledger.database.reading() as connection:
            account = _account(_one(connection, person, role))
        values = {
            "password": self._hasher.hash(password),
            "private": _locked(private, password),
            "key": key,
            "wrong": 0,
            "locked_until": None,
        }
        grant = {f"key/{key}": _grant(private, role)}
        if over not in ("", account.key) or not self._follow(
            account, values | {"active": True}, grant, "password_reset", by
        ):
            raise DoneAlready
        for one in self.elsewhere:
            one._follow(account, values, grant, "password_reset", by)
        return password

    def _follow(
        self, whose: Account, values: Mapping[str, Any], grant: Mapping[str, Any], what: str, by: Mapping[str, Any]
    ) -> bool:
        """Sets `values` in the account here that has the same person, role and key; whether there is one."""
        found = False
        with self.ledger.database.writing() as connection:
            for row in _rows(connection, whose.person):
                if (row.role, row.key) == (whose.role, whose.key):
                    found, here = True, tables.account.c.id == row.id
                    connection.execute(update(tables.account).where(here).values(dict(values)))
                    sessions.end_all(connection, row.id)
                    if grant:
                        self.ledger.write_in(connection, "person", whose.person, grant, {}, by)
                    self._note(connection, what, by, _named(whose))
        return found

    def _granted(self, connection: Connection, person: str, key: str) -> Any:
        record = self.ledger.record_in(connection, person)
        assert record is not None
        return record.value(f"key/{key}")

    def withdraw(self, person: str, role: str, *, revoke_keys: bool, by: Mapping[str, Any] = CABIN) -> None:
        """Lets an account in no more. With `revoke_keys` nothing its keys ever signed counts any longer.

        Raises LastAdministrator for the only one that is active.
        """
        with self.ledger.database.writing() as connection:
            row = _one(connection, person, role)
            if row.role == "administrator" and row.active and _administrators(connection) == 1:
                raise LastAdministrator(name=row.name)
            connection.execute(update(tables.account).where(tables.account.c.id == row.id).values(active=False))
            sessions.end_all(connection, row.id)
            if revoke_keys:
                record = self.ledger.record_in(connection, person)
                assert record is not None
                heads = record.head_ids()
                revoked = {
                    f"key/{key}": {**value, "revoked": True}
                    for key, value in record.items("key").items()
                    if isinstance(value, dict) and value.get("role") == role
                }
                over = {path: heads[path] for path in revoked}
                self.ledger.write_in(connection, "person", person, revoked, over, by)
            self._note(connection, "keys_revoked" if revoke_keys else "person_withdrawn", by, _named(_account(row)))

    # -- letting in

    def sign_in(self, person: str, role: str, password: str, address: str = "") -> Account:
        """The account, if the password fits. `address`: where it was typed. Raises SignInRefused, SignInLocked."""
        return _account(self._checked(person, role, password, address, "sign_in"))

    def unlock(self, person: str, password: str, role: str, address: str = "") -> Unlocked:
        """The personal key, for one signature. Raises like `sign_in`."""
        row = self._checked(person, role, password, address, "key_opened")
        private = serialization.load_pem_private_key(row.private.encode("ascii"), password.encode("utf-8"))
        assert isinstance(private, Ed25519PrivateKey)
        return Unlocked(_account(row), private)

    def locked_key(
        self, person: str, role: str, password: str, address: str = "", *, letter: str = "", notebook: str = ""
    ) -> tuple[Account, str]:
        """The personal key as it is kept, still locked, for a tablet that is to sign offline. Raises like `sign_in`.

        Which tablet has it, by `letter` and `notebook`, is noted: one day it may be lost.
        """
        row = self._checked(person, role, password, address, "key_handed_out", letter=letter, notebook=notebook)
        return _account(row), row.private

    def _checked(self, person: str, role: str, password: str, address: str, what: str, **about: str) -> Row[Any]:
        """The account whose password this is. `what`: the sort of line in the log if it fits, with `about` in it."""
        guess, now = secrets.token_hex(8), self.ledger.clock()
        with self.ledger.database.writing() as connection:
            row = next((one for one in _rows(connection, person) if one.role == role), None)
            locked = self._locked_out(connection, row, address, now)
            if locked is not None:
                told = {"person": person, "role": role, "address": address}
                minute, at = self.ledger.text(now - timedelta(minutes=1)), self.ledger.text(now)
                events.note_seldom(connection, "sign_in_locked", person, at, told, unless_since=minute)
            else:
                # Counted as wrong until it is known to be right.
                guessing.count(connection, guess, address, now, self.ledger.text)
                if row is not None:
                    self._count(connection, row, row.wrong + 1, now)
        if locked is not None:
            raise locked
        try:
            # Somebody who is not there is looked for as long as somebody who is.
            self._hasher.verify(row.password if row is not None else self._nobody, password)
        except (VerificationError, InvalidHashError):
            row = None
        with self.ledger.database.writing() as connection:
            if row is None or not row.active:
                told = {"person": person, "role": role, "address": address}
                events.note(connection, "sign_in_refused", person, self.ledger.now(), told)
            else:
                self._count(connection, row, 0, now)
                guessing.forgive(connection, guess)
                if what == "key_handed_out":
                    about |= {"person": person, "key": row.key}
                fields = {"name": row.name, "role": row.role, **about}
                events.note(connection, what, person, self.ledger.now(), fields)
        if row is None or not row.active:
            raise SignInRefused
        return row

    def _locked_out(
        self, connection: Connection, row: Row[Any] | None, address: str, now: datetime
    ) -> SignInLocked | None:
        until = datetime.fromisoformat(row.locked_until) if row is not None and row.locked_until else now
        # No lock is longer than that: this laptop's clock has been put back since.
        if now < until <= now + LONGEST_WAIT:
            return SignInLocked(until=_hour(until, now))
        place = guessing.waits_until(connection, address, now, self.ledger.text)
        return PlaceLocked(until=_hour(place, now)) if place is not None else None

    def _count(self, connection: Connection, row: Row[Any], wrong: int, now: datetime) -> None:
        wait = min(FIRST_WAIT * 2 ** min(wrong - FREE_TRIES, 10), LONGEST_WAIT) if wrong >= FREE_TRIES else None
        values = {"wrong": wrong, "locked_until": (now + wait).isoformat() if wait else None}
        connection.execute(update(tables.account).where(tables.account.c.id == row.id).values(values))

    def _note(self, connection: Connection, what: str, by: Mapping[str, Any], row: Mapping[str, Any]) -> None:
        fields = {name: row[name] for name in ("person", "name", "role")} | {"by": by["name"]}
        events.note(connection, what, str(by["person"] or by["name"]), self.ledger.now(), fields)


def _hour(moment: datetime, now: datetime) -> str:
    """On the clock of who is to wait; the second after, so that it is not too early."""
    return (moment + timedelta(seconds=1)).astimezone(now.tzinfo).strftime("%H:%M:%S")


def random_password() -> str:
    """Sixteen characters of 32 in groups of four: 80 bits."""
    characters = "".join(secrets.choice(ALPHABET) for _ in range(16)).lower()
    return "-".join(characters[at : at + 4] for at in range(0, 16, 4))


def _grant(private: Ed25519PrivateKey, role: str) -> dict[str, Any]:
    return {"public": signing.public_text(private), "role": role, "revoked": False}


def _locked(private: Ed25519PrivateKey, password: str) -> str:
    return private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(password.encode("utf-8")),
    ).decode("ascii")


def _rows(connection: Connection, person: str) -> list[Row[Any]]:
    return list(connection.execute(select(tables.account).where(tables.account.c.person == person)))


def _one(connection: Connection, person: str, role: str) -> Row[Any]:
    for row in _rows(connection, person):
        if row.role == role:
            return row
    raise NoSuchPerson(name=f"{person} ({role})")


def _administrators(connection: Connection) -> int:
    """How many of them are active."""
    column = tables.account.c
    query = select(func.count()).select_from(tables.account).where(column.role == "administrator", column.active)
    return connection.scalar(query) or 0


def _account(row: Row[Any]) -> Account:
    return Account(row.id, row.person, row.name, row.role, row.key, row.active)


def _account_of(row: Mapping[str, Any]) -> Account:
    return Account(*(row[name] for name in ("id", "person", "name", "role", "key", "active")))


def _named(account: Account) -> dict[str, Any]:
    return {"person": account.person, "name": account.name, "role": account.role}
