"""The typed code that lets a tablet into a cabin, and how each proves to the other that it knows the code.

A code reads `SSSS-SSSS-FFFFFF`: eight characters of a secret, six of the SHA-256 of the cabin's certificate, both in
Crockford's base 32 (no I, L, O, U). The six catch a wrong address or a mix-up before anything is sent. They are too
few against somebody who builds a certificate to match, so the secret itself is never sent: the tablet sends a proof
made of it and of the certificate it met, and the cabin answers with one of its own. Somebody in between can
neither pass the proof on (the cabin's certificate is another) nor try secrets against it in the time a code lives
(each try costs a scrypt). A QR code shows the same code with the cabin's addresses, for the tablet's camera:

    bonedocket:enrol?at=192.168.20.5:8443/HLG26&at=10.0.0.5:8443/HLG26&code=SSSS-SSSS-FFFFFF

Pure functions. Not here: how long a code lives, who has used it (server.ledger.devices).
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Sequence
from urllib.parse import parse_qs, quote, urlsplit

from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
SECRET, SHORT = 8, 6
"""Characters of the secret (40 bits) and of the certificate (30 bits)."""

LONGEST_QR = 1000
_QR = "bonedocket:enrol?"
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})


class CodeError(ValueError):
    """A text that cannot be a code."""


def fingerprint(certificate: bytes) -> str:
    """SHA-256 of a certificate in DER form, lower-case hex."""
    return hashlib.sha256(certificate).hexdigest()


def in_pairs(full: str) -> str:
    """A fingerprint as people compare it: `AB:CD:…`."""
    return ":".join(full[at : at + 2] for at in range(0, len(full), 2)).upper()


def short(full: str) -> str:
    """The six characters of a fingerprint that are part of the code: its first 30 bits."""
    bits = int(full, 16) >> (len(full) * 4 - 5 * SHORT)
    return "".join(ALPHABET[bits >> shift & 31] for shift in range(5 * (SHORT - 1), -1, -5))


def secret_from(random: bytes) -> str:
    """A secret from eight random bytes."""
    return "".join(ALPHABET[byte & 31] for byte in random[:SECRET])


def code(secret: str, full: str) -> str:
    """The code as it is shown."""
    return f"{secret[:4]}-{secret[4:]}-{short(full)}"


def parse(text: str) -> tuple[str, str]:
    """(secret, short fingerprint) of a typed code, however cased and spaced; O reads 0, I and L 1. Raises CodeError."""
    plain = "".join(one for one in text.upper() if one.isalnum()).translate(_READ_AS)
    if len(plain) != SECRET + SHORT or any(one not in ALPHABET for one in plain):
        raise CodeError(text)
    return plain[:SECRET], plain[SECRET:]


def qr_text(addresses: Sequence[str], code: str) -> str:
    """What the QR code says: where the cabin answers (several addresses are tried in their order), and the code."""
    parts = [("at", one) for one in addresses] + [("code", code)]
    return _QR + "&".join(f"{name}={quote(value, safe=':/[]-._')}" for name, value in parts)


def parse_qr(text: str) -> tuple[tuple[str, ...], str]:
    """(addresses, code) of a QR code's text; what a later version adds is passed over. Raises CodeError."""
    plain = text.strip()
    if not plain.startswith(_QR) or len(plain) > LONGEST_QR:
        raise CodeError(text)
    try:
        said = parse_qs(urlsplit(plain).query, max_num_fields=40)
    except ValueError as error:
        raise CodeError(text) from error
    addresses = tuple(one.strip() for one in said.get("at", ()) if one.strip())
    codes = said.get("code", [])
    if not addresses or len(codes) != 1:
        raise CodeError(text)
    parse(codes[0])
    return addresses, codes[0]


def key(secret: str, full: str) -> bytes:
    """What both sides make of the secret: slow on purpose, and another for every certificate."""
    return Scrypt(salt=b"bonedocket enrolment 1 " + bytes.fromhex(full), length=32, n=2**14, r=8, p=1).derive(
        secret.encode("ascii")
    )


def tablets_proof(shared: bytes, notebook: str) -> str:
    """What the tablet sends: it knows the code and met the certificate that the key was made with."""
    return _proof(shared, "tablet", notebook)


def cabins_proof(
    shared: bytes, notebook: str, token: str, letter: str, site: str, site_code: str, seal_key: str, cabin: str
) -> str:
    """What the cabin answers, over everything the tablet will rely on. `cabin`: its notebook's id."""
    return _proof(shared, "cabin", notebook, token, letter, site, site_code, seal_key, cabin)


def _proof(shared: bytes, *parts: str) -> str:
    text = "\n".join(("bonedocket", *parts))
    return hmac.new(shared, text.encode("utf-8"), hashlib.sha256).hexdigest()
