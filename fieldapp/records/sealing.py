"""Sealing a text to the cabin's public key (X25519, HKDF-SHA256, ChaCha20-Poly1305): exact places of holds.

A tablet can seal and cannot open again. Not for signatures, nor for deciding who may see what is opened.
"""

from __future__ import annotations

import base64
import binascii

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

_PURPOSE = b"bonedocket sealed text 1"


class CannotOpen(ValueError):
    """A sealed text that this key does not open, or that was damaged."""


def seal(text: str, public: str, about: str) -> str:
    """`text` sealed to the base64 X25519 key `public`; `about` (the record's id) must be given again to open it.

    Raises ValueError if `public` is no key.
    """
    return base64.b64encode(seal_bytes(text.encode("utf-8"), public, about)).decode("ascii")


def seal_bytes(data: bytes, public: str, about: str) -> bytes:
    """Bytes sealed likewise: a picture's. Raises ValueError."""
    to = X25519PublicKey.from_public_bytes(base64.b64decode(public, validate=True))
    once = X25519PrivateKey.generate()
    ours = once.public_key().public_bytes_raw()
    # The key is used for one message only, so the fixed nonce is never met twice.
    box = ChaCha20Poly1305(shared_key(once.exchange(to), ours, to.public_bytes_raw()))
    return ours + box.encrypt(bytes(12), data, about.encode("utf-8"))


def unseal(sealed: str, private: X25519PrivateKey, about: str) -> str:
    """The text in `sealed`. Raises CannotOpen."""
    try:
        return unseal_bytes(base64.b64decode(sealed, validate=True), private, about).decode("utf-8")
    except (ValueError, binascii.Error) as error:
        raise CannotOpen("the sealed text does not open with this key") from error


def unseal_bytes(whole: bytes, private: X25519PrivateKey, about: str) -> bytes:
    """The bytes in `whole`. Raises CannotOpen."""
    try:
        theirs, rest = whole[:32], whole[32:]
        shared = private.exchange(X25519PublicKey.from_public_bytes(theirs))
        box = ChaCha20Poly1305(shared_key(shared, theirs, private.public_key().public_bytes_raw()))
        return box.decrypt(bytes(12), rest, about.encode("utf-8"))
    except (InvalidTag, ValueError) as error:
        raise CannotOpen("what was sealed does not open with this key") from error


def shared_key(shared: bytes, sender: bytes, receiver: bytes, purpose: bytes = _PURPOSE) -> bytes:
    """What both ends make of an X25519 secret: another key for every pair of public keys and every purpose."""
    return HKDF(algorithm=hashes.SHA256(), length=32, salt=sender + receiver, info=purpose).derive(shared)
