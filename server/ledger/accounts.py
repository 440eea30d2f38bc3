"""People at the cabin: one account a person and role, with a password and a personal key that signs.

The public half of a key is granted in the person's record (`key/<id>`), written by the cabin's own notebook; the
private half lies here, encrypted under the password, and is opened for one signature at a time. There is no default
password: `add` makes a random one and hands it out once. Wrong passwords are counted before they are checked, so that
many tries at once gain nothing; after five the account waits, longer each time.
Not here: what a role may do (the table of roles: `may`), sessions (server.review).
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Connection, Row, insert, select, update

from fieldapp.assets import knowledge
from fieldapp.records import signing
from fieldapp.records.enrolment import ALPHABET
from fieldapp.records.schemas import ROLES
from server.errors import AccountExists, NoSuchPerson, NoSuchRole, SignInLocked, SignInRefused
from server.ledger import events, tables
from server.ledger.ledger import CABIN, Ledger

FREE_TRIES = 5
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=30), timedelta(minutes=15)


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

    # -- who there is

    def all(self) -> list[Account]:
        """Every account, by name and role."""
        order = (tables.account.c.name, tables.account.c.role)
        with self.ledger.database.reading() as connection:
            return [_account(row) for row in connection.execute(select(tables.account).order_by(*order))]

    def get(self, account: str) -> Account | None:
        """The account with this id, if it is there and active; for a session that goes on."""
        with self.ledger.database.reading() as connection:
            row = connection.execute(select(tables.account).where(tables.account.c.id == account)).first()
        return _account(row) if row is not None and row.active else None

    # -- making, changing, ending

    def add(
        self, name: str, role: str, *, person: str | None = None, by: Mapping[str, Any] = CABIN
    ) -> tuple[Account, str]:
        """A new account and its password, which is not kept. `person`: the id of somebody who gets one role more."""
        if role not in ROLES:
            raise NoSuchRole(role=role, roles=", ".join(ROLES))
        password = random_password()
        account = Account(self.ledger.new_id(), person or self.ledger.new_id(), name, role, self.ledger.new_id(), True)
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

    def change_password(self, person: str, role: str, old: str, new: str) -> None:
        """Another password; the personal key stays. Raises like `sign_in`."""
        unlocked = self.unlock(person, old, role)
        values = {"password": self._hasher.hash(new), "private": _locked(unlocked.private, new)}
        with self.ledger.database.writing() as connection:
            connection.execute(update(tables.account).where(tables.account.c.id == unlocked.account.id).values(values))
            self._note(connection, "password_changed", unlocked.account.by, values | _named(unlocked.account))

    def reset(self, person: str, role: str, by: Mapping[str, Any] = CABIN) -> str:
        """A new random password for one that is lost, with a new key: the old one cannot be opened any more.

        What the old key signed stays valid; a key is revoked by `withdraw`.
        """
        password, key = random_password(), self.ledger.new_id()
        private = Ed25519PrivateKey.generate()
        with self.ledger.database.writing() as connection:
            row = _one(connection, person, role)
            values = {
                "password": self._hasher.hash(password),
                "private": _locked(private, password),
                "key": key,
                "active": True,
                "wrong": 0,
                "locked_until": None,
            }
            connection.execute(update(tables.account).where(tables.account.c.id == row.id).values(values))
            self.ledger.write_in(connection, "person", person, {f"key/{key}": _grant(private, role)}, {}, by)
            self._note(connection, "password_reset", by, _named(_account(row)))
        return password

    def withdraw(self, person: str, role: str, *, revoke_keys: bool, by: Mapping[str, Any] = CABIN) -> None:
        """Lets an account in no more. With `revoke_keys` nothing its keys ever signed counts any longer."""
        with self.ledger.database.writing() as connection:
            row = _one(connection, person, role)
            connection.execute(update(tables.account).where(tables.account.c.id == row.id).values(active=False))
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

    def sign_in(self, person: str, role: str, password: str) -> Account:
        """The account, if the password fits. Raises SignInRefused, SignInLocked."""
        return _account(self._checked(person, role, password))

    def unlock(self, person: str, password: str, role: str) -> Unlocked:
        """The personal key, for one signature. Raises like `sign_in`."""
        row = self._checked(person, role, password)
        private = serialization.load_pem_private_key(row.private.encode("ascii"), password.encode("utf-8"))
        assert isinstance(private, Ed25519PrivateKey)
        return Unlocked(_account(row), private)

    def locked_key(self, person: str, role: str, password: str) -> tuple[Account, str]:
        """The personal key as it is kept, still locked, for a tablet that is to sign offline. Raises like `sign_in`."""
        row = self._checked(person, role, password)
        return _account(row), row.private

    def _checked(self, person: str, role: str, password: str) -> Row[Any]:
        now = self.ledger.clock()
        with self.ledger.database.writing() as connection:
            row = next((one for one in _rows(connection, person) if one.role == role), None)
            if row is not None:
                until = datetime.fromisoformat(row.locked_until) if row.locked_until is not None else now
                # No lock is longer than that: this laptop's clock has been put back since.
                if now < until <= now + LONGEST_WAIT:
                    raise SignInLocked(until=until.astimezone(now.tzinfo).strftime("%H:%M:%S"))
                # Counted as wrong until it is known to be right.
                self._count(connection, row, row.wrong + 1, now)
        try:
            self._hasher.verify(row.password if row is not None else self._nobody, password)
        except (VerificationError, InvalidHashError):
            row = None
        if row is None or not row.active:
            with self.ledger.database.writing() as connection:
                fields = {"person": person, "role": role}
                events.note(connection, "sign_in_refused", person, self.ledger.now(), fields)
            raise SignInRefused
        with self.ledger.database.writing() as connection:
            self._count(connection, row, 0, now)
            events.note(connection, "sign_in", person, self.ledger.now(), {"name": row.name, "role": role})
        return row

    def _count(self, connection: Connection, row: Row[Any], wrong: int, now: datetime) -> None:
        wait = min(FIRST_WAIT * 2 ** min(wrong - FREE_TRIES, 10), LONGEST_WAIT) if wrong >= FREE_TRIES else None
        values = {"wrong": wrong, "locked_until": (now + wait).isoformat() if wait else None}
        connection.execute(update(tables.account).where(tables.account.c.id == row.id).values(values))

    def _note(self, connection: Connection, what: str, by: Mapping[str, Any], row: Mapping[str, Any]) -> None:
        fields = {name: row[name] for name in ("person", "name", "role")} | {"by": by["name"]}
        events.note(connection, what, str(by["person"] or by["name"]), self.ledger.now(), fields)


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


def _account(row: Row[Any]) -> Account:
    return Account(row.id, row.person, row.name, row.role, row.key, row.active)


def _account_of(row: Mapping[str, Any]) -> Account:
    return Account(*(row[name] for name in ("id", "person", "name", "role", "key", "active")))


def _named(account: Account) -> dict[str, Any]:
    return {"person": account.person, "name": account.name, "role": account.role}
