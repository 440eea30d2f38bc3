"""The cabin's own keys as files: its TLS certificate, the key that opens sealed places, the key of page sessions.

Made once, at the first start or `init`, readable for their owner only. A tablet pins the certificate's fingerprint,
so its dates do not matter (20 years) and a lost key file means enrolling every tablet anew; a lost seal key means that
sealed places stay sealed. Not here: people's keys (ledger.accounts).
"""

from __future__ import annotations

import base64
import os
import secrets
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from fieldapp.records import enrolment

YEARS = 20


def write_secret(path: Path, data: bytes) -> None:
    """A new file of `data` that only its owner can read, on the disk when this returns. Never over another."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def make_certificate(certificate: Path, key: Path) -> None:
    """A self-made certificate (ECDSA P-256) and its key, if there are none yet."""
    if certificate.exists():
        return
    if not key.exists():
        new = ec.generate_private_key(ec.SECP256R1())
        plain = serialization.NoEncryption()
        write_secret(key, new.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain))
    private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    assert isinstance(private, ec.EllipticCurvePrivateKey)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Bonedocket cabin")])
    # A tablet's clock may be years off; what it checks is the fingerprint.
    start = datetime(2020, 1, 1, tzinfo=UTC)
    built = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(datetime.now(UTC) + timedelta(days=365.25 * YEARS))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    write_secret(certificate, built.public_bytes(serialization.Encoding.PEM))


def fingerprint_of(certificate: Path) -> str:
    """SHA-256 of the certificate in a PEM file, hex."""
    read = x509.load_pem_x509_certificate(certificate.read_bytes())
    return enrolment.fingerprint(read.public_bytes(serialization.Encoding.DER))


def certificate_and_key(certificate: Path, key: Path) -> tuple[bytes, ec.EllipticCurvePrivateKey]:
    """The certificate in DER form, and its private key."""
    read = x509.load_pem_x509_certificate(certificate.read_bytes())
    private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    assert isinstance(private, ec.EllipticCurvePrivateKey)
    return read.public_bytes(serialization.Encoding.DER), private


def make_seal_key(path: Path) -> None:
    """The key that opens what tablets seal to the cabin, if there is none yet."""
    if not path.exists():
        write_secret(path, base64.b64encode(X25519PrivateKey.generate().private_bytes_raw()) + b"\n")


def seal_key(path: Path) -> X25519PrivateKey:
    """The private seal key, for fieldapp.records.sealing."""
    return X25519PrivateKey.from_private_bytes(base64.b64decode(path.read_bytes()))


def public_seal_key(path: Path) -> str:
    """Its public half, base64: what tablets seal to."""
    return base64.b64encode(seal_key(path).public_key().public_bytes_raw()).decode("ascii")


def session_key(path: Path) -> bytes:
    """The key that signs the pages' cookies; made when it is missing, which signs everybody out."""
    if not path.exists():
        write_secret(path, secrets.token_bytes(32))
    return path.read_bytes()
