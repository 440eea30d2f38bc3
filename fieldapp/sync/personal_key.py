"""A person's signing key on the tablet, for assessing without a network. Fetched once while the cabin is near, kept
locked with the person's password, unlocked for one signature.

Losing the tablet gives away the locked key only; at the cabin it can be revoked. Not here: what may be signed by whom
(records.standing), the signature (records.signing).
"""

from __future__ import annotations

from dataclasses import dataclass

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fieldapp.store.notebook import Notebook
from fieldapp.sync.errors import NotUnderstood, PasswordRefused
from fieldapp.sync.transport import Transport

_PARTS = ("person", "name", "role", "key", "private")


@dataclass(frozen=True, slots=True)
class PersonalKey:
    """A locked key. `by` is what changes of its owner carry."""

    person: str
    name: str
    role: str
    key: str
    private: str

    @property
    def by(self) -> dict[str, str]:
        return {"person": self.person, "name": self.name, "role": self.role}

    def unlock(self, password: str) -> Ed25519PrivateKey:
        """The key itself, for records.signing.sign. Raises PasswordRefused."""
        try:
            private = serialization.load_pem_private_key(self.private.encode(), password.encode("utf-8"))
        except (ValueError, TypeError, UnsupportedAlgorithm) as error:
            raise PasswordRefused(message="") from error
        if not isinstance(private, Ed25519PrivateKey):
            raise PasswordRefused(message="")
        return private


def fetch(notebook: Notebook, transport: Transport, person: str, role: str, password: str) -> PersonalKey:
    """Fetches a person's locked key from the cabin and keeps it. Raises PasswordRefused and other SyncErrors."""
    asked = {"person": person, "role": role, "password": password}
    answer = transport.ask("POST", "/api/v1/key", body=asked)
    if not all(isinstance(answer.get(one), str) for one in _PARTS):
        raise NotUnderstood(what="key")
    found = PersonalKey(*(answer[one] for one in _PARTS))
    found.unlock(password)
    notebook.set_setting(f"key/{person}/{role}", {one: answer[one] for one in _PARTS})
    return found


def kept(notebook: Notebook) -> list[PersonalKey]:
    """The keys on this tablet, by name."""
    found = [
        PersonalKey(*(value[one] for one in _PARTS))
        for name, noted in notebook.settings().items()
        if name.startswith("key/") and isinstance(value := noted.get("value"), dict)
    ]
    return sorted(found, key=lambda one: (one.name, one.role))


def forget(notebook: Notebook, one: PersonalKey) -> None:
    """Takes a key off this tablet's list."""
    notebook.set_setting(f"key/{one.person}/{one.role}", None)
