"""A file under a passphrase: scrypt makes the key, ChaCha20-Poly1305 locks it piece by piece. Not for what is in it.

    magic (8), salt (16), prefix of the nonces (7), check (16), then pieces of 64 KiB, each 16 bytes longer than plain

Piece number and "this is the last" go into each nonce, so that no piece can be moved, doubled or left out, and the head
is bound to every piece. The check tells a wrong passphrase from a damaged file.
"""

from __future__ import annotations

import hmac
import io
import os
from pathlib import Path
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from server.keeping.errors import BackupDamaged, NoPassphrase, WrongPassphrase

MAGIC = b"bdkLOCK1"
PIECE, TAG = 2**16, 16
_SALT, _PREFIX, _CHECK = 16, 7, 16
_HEAD = len(MAGIC) + _SALT + _PREFIX + _CHECK


def passphrase_in(path: Path) -> bytes:
    """The first line of a file. Raises NoPassphrase if there is nothing in it."""
    found = path.read_bytes().split(b"\n", 1)[0].strip()
    if not found:
        raise NoPassphrase(file=path)
    return found


def is_locked(file: BinaryIO) -> bool:
    """Whether the file begins like one of these. Leaves it at its beginning."""
    file.seek(0)
    begins = file.read(len(MAGIC))
    file.seek(0)
    return begins == MAGIC


def _keys(passphrase: bytes, salt: bytes) -> tuple[ChaCha20Poly1305, bytes]:
    # 64 MB and some tenths of a second for each guess.
    made = Scrypt(salt=salt, length=32 + _CHECK, n=2**16, r=8, p=1).derive(passphrase)
    return ChaCha20Poly1305(made[:32]), made[32:]


def _nonce(prefix: bytes, number: int, is_last: bool) -> bytes:
    return prefix + number.to_bytes(4, "big") + bytes([is_last])


class Locking:
    """Takes plain bytes and writes them locked. `finish` writes the last piece: without it the file does not open."""

    def __init__(self, file: BinaryIO, passphrase: bytes) -> None:
        salt, self._prefix = os.urandom(_SALT), os.urandom(_PREFIX)
        self._cipher, check = _keys(passphrase, salt)
        self._head = MAGIC + salt + self._prefix + check
        self._file, self._waiting, self._number = file, bytearray(), 0
        file.write(self._head)

    def write(self, data: bytes) -> int:
        self._waiting += data
        # The last piece is not known before the end, so one is always kept back.
        while len(self._waiting) > PIECE:
            self._lock(bytes(self._waiting[:PIECE]), False)
            del self._waiting[:PIECE]
        return len(data)

    def flush(self) -> None:
        self._file.flush()

    def finish(self) -> None:
        self._lock(bytes(self._waiting), True)

    def _lock(self, data: bytes, is_last: bool) -> None:
        self._file.write(self._cipher.encrypt(_nonce(self._prefix, self._number, is_last), data, self._head))
        self._number += 1


class Opened(io.RawIOBase):
    """The plain bytes of such a file, to be read anywhere. Raises WrongPassphrase, BackupDamaged."""

    def __init__(self, file: BinaryIO, passphrase: bytes) -> None:
        self._file = file
        self._head = file.read(_HEAD)
        if len(self._head) < _HEAD:
            raise BackupDamaged(why="cut")
        salt, rest = self._head[len(MAGIC) : len(MAGIC) + _SALT], self._head[len(MAGIC) + _SALT :]
        self._prefix, check = rest[:_PREFIX], rest[_PREFIX:]
        self._cipher, expected = _keys(passphrase, salt)
        if not hmac.compare_digest(check, expected):
            raise WrongPassphrase
        length = file.seek(0, os.SEEK_END) - _HEAD
        self._pieces = max(1, -(-length // (PIECE + TAG)))
        self._length = length - self._pieces * TAG
        self._at, self._kept = 0, (-1, b"")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        self._at = offset + {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._length}[whence]
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, into: bytearray) -> int:  # type: ignore[override]
        if self._at >= self._length:
            # The end itself is proved: a file cut between two pieces has no last one.
            self._piece(self._pieces - 1)
            return 0
        number, start = divmod(self._at, PIECE)
        found = self._piece(number)[start : start + len(into)]
        into[: len(found)] = found
        self._at += len(found)
        return len(found)

    def _piece(self, number: int) -> bytes:
        if self._kept[0] != number:
            self._file.seek(_HEAD + number * (PIECE + TAG))
            nonce = _nonce(self._prefix, number, number == self._pieces - 1)
            try:
                plain = self._cipher.decrypt(nonce, self._file.read(PIECE + TAG), self._head)
            except (InvalidTag, ValueError) as error:
                raise BackupDamaged(why="locked") from error
            self._kept = (number, plain)
        return self._kept[1]
