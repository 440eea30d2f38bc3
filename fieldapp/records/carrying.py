"""The carry-file: what tablet and cabin tell each other on a stick, as one file, sealed for its receiver and signed by
its sender. Streams in, streams out, in bounded memory. Not for what the parts mean (sync.carry, server.carry).

A carry-file is, numbers big-endian:

    line      `bonedocket carry-file 1` and LF; the 1 is the format's number
    header    4 bytes length, that many bytes of JSON (UTF-8), their SHA-256 (32 bytes)
    chunks    each: 4 bytes, of which the highest bit says "last" and the rest is a length; then so many bytes
    signature 2 bytes length, signature; nothing follows

The header's fields are the texts of `Header` and `once`, a base64 X25519 public key made for this file alone. With the
receiver's key it gives a shared secret, and HKDF-SHA256 (salt: `once` and the receiver's key; info: the file's first
line) makes of it the key of all chunks. A chunk is sealed by ChaCha20-Poly1305: its nonce is its number from 0 in 11
bytes and a byte that is 1 for the last chunk, its associated data the header's SHA-256. So no chunk can be left out,
moved, or be the last when it was not. Every chunk but the last holds exactly 64 KiB.

The signature is over the file's first line followed by the SHA-256 of all bytes before the signature's length. A
tablet signs with its notebook's Ed25519 key and gives its public half as `signer` (base64). A cabin signs with the key
of its TLS certificate (ECDSA P-256, SHA-256) and gives the certificate (DER, base64); tablets know its fingerprint.

What the chunks hold, put together, is gzip of JSON lines (ASCII). Each is an object with `what`; one with `size` is
followed by as many raw bytes and LF (a photograph). The last is {"what": "end", "lines": lines before it}.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import struct
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, BinaryIO

from cryptography import x509
from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

from fieldapp.records.enrolment import ALPHABET
from fieldapp.records.sealing import shared_key

FORMAT = 1
NAME = b"bonedocket carry-file "
LINE = NAME + b"%d\n" % FORMAT
TO_CABIN, TO_TABLET = "to_cabin", "to_tablet"

CHUNK, TAG = 65_536, 16
LONGEST_HEADER, LONGEST_SIGNATURE = 65_536, 1024
LONGEST_LINE = 16_000_000
"""Bytes of a line within: the longest body there may be, every character of it escaped."""
_LAST = 1 << 31


class CarryFault(ValueError):
    """Why a file is not taken."""


class NoCarryFile(CarryFault):
    """It does not begin as one."""


class NewerFormat(CarryFault):
    """A later program made it; `theirs` is the number of its format."""

    def __init__(self, theirs: int) -> None:
        super().__init__(f"format {theirs}")
        self.theirs = theirs


class CutShort(CarryFault):
    """It ends before its end."""


class Damaged(CarryFault):
    """A byte of it is not what was written, or it was sealed for another key."""


class NotSigned(CarryFault):
    """The signature is not that of who it says it is from."""


@dataclass(frozen=True, slots=True)
class Header:
    """The outside of a file, which anybody can read.

    way       to_cabin or to_tablet
    id        the file's own, random
    site      the site's id, and its code for people
    sender    a notebook's id, or the SHA-256 of a cabin's certificate
    receiver  likewise
    at        when it was made, ISO 8601
    signer    what the signature is checked with: see the module
    """

    way: str
    id: str
    site: str
    code: str
    sender: str
    receiver: str
    at: str
    signer: str


Sign = Callable[[bytes], bytes]
Part = tuple[dict[str, Any], BinaryIO | None]
"""A line, and its raw bytes if it has some: to be read before the next part is asked for."""


class Writer:
    """Writes a carry-file to `target`. Nothing of it is worth anything before `finish`."""

    def __init__(self, target: BinaryIO, header: Header, public: str, sign: Sign) -> None:
        """`public`: the receiver's base64 X25519 key; `sign` makes the signature. Raises ValueError for no key."""
        to = base64.b64decode(public, validate=True)
        once = X25519PrivateKey.generate()
        ours = once.public_key().public_bytes_raw()
        said = {**asdict(header), "once": base64.b64encode(ours).decode("ascii")}
        text = json.dumps(said, sort_keys=True, separators=(",", ":")).encode("ascii")
        about = hashlib.sha256(text).digest()
        self._box = ChaCha20Poly1305(shared_key(once.exchange(X25519PublicKey.from_public_bytes(to)), ours, to, LINE))
        self._about, self._sign, self._target = about, sign, target
        self._hash, self._held, self._number, self._lines = hashlib.sha256(), bytearray(), 0, 0
        self._out(LINE + struct.pack(">I", len(text)) + text + about)
        self._packer = gzip.GzipFile(fileobj=_Into(self._hold), mode="wb", compresslevel=5, mtime=0)

    def line(self, what: str, **values: Any) -> None:
        """Adds a line."""
        self._lines += 1
        self._packer.write(json.dumps({"what": what, **values}, separators=(",", ":")).encode("ascii") + b"\n")

    def blob(self, what: str, size: int, data: BinaryIO, **values: Any) -> None:
        """Adds a line and `size` raw bytes from `data`. Raises ValueError if they are not there."""
        self.line(what, size=size, **values)
        left = size
        while left:
            part = data.read(min(left, CHUNK))
            if not part:
                raise ValueError(f"{left} bytes are missing")
            self._packer.write(part)
            left -= len(part)
        self._packer.write(b"\n")

    def finish(self) -> None:
        """The end, and the signature."""
        lines = self._lines
        self.line("end", lines=lines)
        self._packer.close()
        self._seal(bytes(self._held), last=True)
        signature = self._sign(_signed(self._hash.digest()))
        self._target.write(struct.pack(">H", len(signature)) + signature)

    def _hold(self, data: bytes) -> None:
        self._held += data
        # One byte more than a chunk, so that the last is never empty.
        while len(self._held) > CHUNK:
            self._seal(bytes(self._held[:CHUNK]), last=False)
            del self._held[:CHUNK]

    def _seal(self, plain: bytes, last: bool) -> None:
        sealed = self._box.encrypt(_nonce(self._number, last), plain, self._about)
        self._out(struct.pack(">I", len(sealed) | (_LAST if last else 0)) + sealed)
        self._number += 1

    def _out(self, data: bytes) -> None:
        self._hash.update(data)
        self._target.write(data)


class Reader:
    """A carry-file that lies in `file`, which can be sought in. `header` is read at once; believe it after `verify`.

    Raises CarryFault.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        line = file.read(len(NAME))
        if line != NAME:
            raise CutShort if NAME.startswith(line) and line else NoCarryFile
        number = b""
        while not number.endswith(b"\n"):
            more = file.read(1)
            if not more:
                raise CutShort
            number += more
            if len(number) > 8 or not (more.isdigit() or more == b"\n"):
                raise NoCarryFile
        if number == b"\n" or int(number) != FORMAT:
            raise NewerFormat(int(number)) if number[:1] not in b"0\n" else NoCarryFile
        length = _exactly(file, 4)
        size = struct.unpack(">I", length)[0]
        if not 0 < size <= LONGEST_HEADER:
            raise Damaged
        text, self._about = _exactly(file, size), _exactly(file, 32)
        if hashlib.sha256(text).digest() != self._about:
            raise Damaged
        self.header, self._once = _header(text)
        self._before = LINE + length + text + self._about
        self._start = file.tell()

    def verify(
        self,
        private: X25519PrivateKey,
        signed_by: Callable[[bytes, bytes], bool],
        look: Callable[[Part], None] = lambda part: None,
    ) -> None:
        """Reads all of it, to its very end. `signed_by(signature, text)` says whether the sender signed `text`.

        `look` is shown every part, which it must not believe yet; what it raises ends the reading. Returns if the file
        is whole, unaltered and the sender's; else raises CarryFault.
        """
        chunks = self._chunks(private)
        for part in _parts(chunks):
            look(part)
        chunks.to_end()
        if not signed_by(chunks.signature, _signed(chunks.hash.digest())):
            raise NotSigned

    def parts(self, private: X25519PrivateKey) -> Iterator[Part]:
        """What it holds, for after `verify`; chunks that were changed since are noticed here too."""
        return _parts(self._chunks(private))

    def _chunks(self, private: X25519PrivateKey) -> _Chunks:
        self._file.seek(self._start)
        own = private.public_key().public_bytes_raw()
        try:
            secret = private.exchange(X25519PublicKey.from_public_bytes(self._once))
        except ValueError as error:
            raise Damaged from error
        box = ChaCha20Poly1305(shared_key(secret, self._once, own, LINE))
        return _Chunks(self._file, box, self._about, hashlib.sha256(self._before))


class _Chunks(io.RawIOBase):
    """The plain bytes of the chunks, and after the last one the signature."""

    def __init__(self, file: BinaryIO, box: ChaCha20Poly1305, about: bytes, hashed: Any) -> None:
        super().__init__()
        self._file, self._box, self._about, self.hash = file, box, about, hashed
        self._plain, self._number, self._ended = memoryview(b""), 0, False
        self.signature = b""

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        while not self._plain and not self._ended:
            self._next()
        part = self._plain[: len(into)]
        into[: len(part)] = part
        self._plain = self._plain[len(part) :]
        return len(part)

    def _next(self) -> None:
        prefix = _exactly(self._file, 4)
        told = struct.unpack(">I", prefix)[0]
        last, length = bool(told & _LAST), told & ~_LAST
        if not TAG < length <= CHUNK + TAG or (not last and length != CHUNK + TAG):
            raise Damaged
        sealed = _exactly(self._file, length)
        self.hash.update(prefix)
        self.hash.update(sealed)
        try:
            self._plain = memoryview(self._box.decrypt(_nonce(self._number, last), sealed, self._about))
        except InvalidTag as error:
            raise Damaged from error
        self._number += 1
        if last:
            self._ended = True
            size = struct.unpack(">H", _exactly(self._file, 2))[0]
            if not 0 < size <= LONGEST_SIGNATURE:
                raise Damaged
            self.signature = _exactly(self._file, size)
            if self._file.read(1):
                raise Damaged

    def to_end(self) -> None:
        """Nothing lies behind what was read. Raises Damaged."""
        if self.read(1):
            raise Damaged


class _Into(io.RawIOBase):
    """A file for the packer that hands on what is written."""

    def __init__(self, hold: Callable[[bytes], None]) -> None:
        super().__init__()
        self._hold = hold

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._hold(bytes(data))
        return len(data)


class _Blob(io.RawIOBase):
    """The raw bytes of one part."""

    def __init__(self, source: io.BufferedIOBase, size: int) -> None:
        super().__init__()
        self._source, self._left = source, size

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        part = self._source.read(min(len(into), self._left))
        if not part and self._left and len(into):
            raise Damaged
        into[: len(part)] = part
        self._left -= len(part)
        return len(part)


def _parts(chunks: _Chunks) -> Iterator[Part]:
    lines = 0
    try:
        with gzip.GzipFile(fileobj=chunks, mode="rb") as plain:
            while True:
                line = _line(plain.readline(LONGEST_LINE + 1))
                if line["what"] == "end":
                    if line.get("lines") != lines or plain.read(1):
                        raise Damaged
                    return
                lines += 1
                if "size" not in line:
                    yield line, None
                    continue
                if type(line["size"]) is not int or line["size"] < 0:
                    raise Damaged
                blob = _Blob(plain, line["size"])
                # Held here too: a reader that is let go of closes what it reads from.
                reader = io.BufferedReader(blob, CHUNK)
                yield line, reader
                while blob.read(CHUNK):
                    pass
                if plain.read(1) != b"\n":
                    raise Damaged
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise Damaged from error


def _line(text: bytes) -> dict[str, Any]:
    try:
        found = json.loads(text) if text.endswith(b"\n") else None
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not isinstance(found.get("what"), str):
        raise Damaged
    return found


def _header(text: bytes) -> tuple[Header, bytes]:
    try:
        said = json.loads(text)
        once = base64.b64decode(said["once"], validate=True)
        header = Header(*(said[one.name] for one in fields(Header)))
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise Damaged from error
    if len(once) != 32 or not all(isinstance(value, str) for value in asdict(header).values()):
        raise Damaged
    return header, once


def _exactly(file: BinaryIO, size: int) -> bytes:
    data = file.read(size)
    if len(data) < size:
        raise CutShort
    return data


def _nonce(number: int, last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([last])


def _signed(digest: bytes) -> bytes:
    # Shorter than anything that TLS lets the same key sign, so that neither passes for the other.
    return LINE + digest


# -- signatures


def tablets_sign(private: Ed25519PrivateKey) -> Sign:
    """How a notebook signs."""
    return private.sign


def signed_by_tablet(public: str) -> Callable[[bytes, bytes], bool]:
    """Whether a notebook with this base64 Ed25519 key signed."""

    def signed(signature: bytes, text: bytes) -> bool:
        try:
            Ed25519PublicKey.from_public_bytes(base64.b64decode(public, validate=True)).verify(signature, text)
        except (InvalidSignature, ValueError):
            return False
        return True

    return signed


def cabins_sign(private: ec.EllipticCurvePrivateKey) -> Sign:
    """How a cabin signs: with its certificate's key."""
    return lambda text: private.sign(text, ec.ECDSA(hashes.SHA256()))


def signed_by_cabin(certificate: bytes) -> Callable[[bytes, bytes], bool]:
    """Whether the holder of a certificate (DER) signed. Whether it is the right certificate is for the caller."""

    def signed(signature: bytes, text: bytes) -> bool:
        try:
            public = x509.load_der_x509_certificate(certificate).public_key()
            if not isinstance(public, ec.EllipticCurvePublicKey):
                return False
            public.verify(signature, text, ec.ECDSA(hashes.SHA256()))
        except (InvalidSignature, ValueError):
            return False
        return True

    return signed


def text_of(line: Mapping[str, Any], name: str) -> str:
    """A text of a line. Raises Damaged where there is none."""
    value = line.get(name)
    if not isinstance(value, str):
        raise Damaged
    return value


def number_of(line: Mapping[str, Any], name: str) -> int:
    """A number from 0 on of a line. Raises Damaged where there is none."""
    value = line.get(name)
    if type(value) is not int or not 0 <= value <= 2**53:
        raise Damaged
    return value


def spoken(sign: str) -> str:
    """A signing key as people compare it: ten characters of its SHA-256, `4K7M2-92XDA`."""
    bits = int.from_bytes(hashlib.sha256(sign.encode("ascii", "replace")).digest()[:7], "big") >> 6
    text = "".join(ALPHABET[bits >> shift & 31] for shift in range(45, -1, -5))
    return f"{text[:5]}-{text[5:]}"
