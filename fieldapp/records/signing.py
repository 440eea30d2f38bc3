"""Personal signatures (Ed25519) on assessments and releases. Not for encryption (sealing) nor for what a signed
verdict means (domain.human).

The signature covers the site, the record, the path and the whole value but `signature` itself, so that it cannot be
carried to another bone. A signed value names `signer` (person id) and `key` (key id). A key is granted at the cabin,
for one role, in the person's record at `key/<key id>` as {public, role, revoked}.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record


@dataclass(frozen=True, slots=True)
class Grant:
    """A person's public key and the role it was granted for."""

    person: str
    key: str
    public: bytes
    role: str


Grants = Mapping[tuple[str, str], Grant]
"""{(person id, key id): grant} of the keys that are not revoked."""


def public_text(private: Ed25519PrivateKey) -> str:
    """The public half, as base64 text."""
    return base64.b64encode(private.public_key().public_bytes_raw()).decode("ascii")


def grants(persons: Iterable[Record]) -> dict[tuple[str, str], Grant]:
    """The keys granted in the person records. A key about which the record disagrees, or that is malformed, is none."""
    found = {}
    for person in persons:
        if person.kind != "person":
            continue
        disputed = person.disagreements()
        for key, value in person.items("key").items():
            if f"key/{key}" in disputed or not isinstance(value, Mapping) or value.get("revoked") is not False:
                continue
            public = _bytes(value.get("public"))
            role = value.get("role")
            if public is not None and len(public) == 32 and isinstance(role, str):
                found[person.id, key] = Grant(person.id, key, public, role)
    return found


def sign(
    value: Mapping[str, Any], *, private: Ed25519PrivateKey, person: str, key: str, site: str, record: str, path: str
) -> dict[str, Any]:
    """`value` with `signer`, `key` and `signature`."""
    signed = {**value, "signer": person, "key": key}
    signed["signature"] = base64.b64encode(private.sign(_covered(signed, site, record, path))).decode("ascii")
    return signed


def signer(value: Any, known: Grants, *, site: str, record: str, path: str) -> Grant | None:
    """The grant whose key signed `value` at this place; None if no known signature holds."""
    if not isinstance(value, Mapping):
        return None
    person, key = value.get("signer"), value.get("key")
    grant = known.get((person, key)) if isinstance(person, str) and isinstance(key, str) else None
    signature = _bytes(value.get("signature"))
    if grant is None or signature is None:
        return None
    try:
        Ed25519PublicKey.from_public_bytes(grant.public).verify(signature, _covered(value, site, record, path))
    except (InvalidSignature, ValueError, RecursionError):
        return None
    return grant


def _covered(value: Mapping[str, Any], site: str, record: str, path: str) -> bytes:
    rest = {name: item for name, item in value.items() if name != "signature"}
    return canonical({"site": site, "record": record, "path": path, "value": rest}).encode("utf-8")


def _bytes(text: Any) -> bytes | None:
    if not isinstance(text, str):
        return None
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
