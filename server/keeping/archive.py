"""A backup file: an ordinary zip, sealed as a whole, perhaps under a passphrase.

    manifest.json           which cabin, at which moment; of every part its length, rows and SHA-256
    tables/<name>.ndjson    a table of the ledger, a row a line
    folder/<name>           key files, certificate, settings
    photos/<name>           photographs as they lie in the store

The zip's comment is the SHA-256 of every byte before it: no byte can turn unnoticed, and a file that was cut has none.
Written and read in a stream, whatever its size. Not here: what the parts mean (backing_up, restoring).
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Protocol, cast

from server.keeping.errors import BackupDamaged, BackupIsNewer, BackupMissing, NeedsPassphrase
from server.keeping.files import new_file
from server.keeping.locked import Locking, Opened, is_locked

FORMAT = 1
MANIFEST = "manifest.json"
SEAL = 64
"""Characters of the comment."""

_AT_ONCE = 2**20
Progress = Callable[[str, int], None]
"""Called with what is being done (a key of the texts, `keeping.progress.<what>`) and how much of it is done."""


@dataclass(frozen=True, slots=True)
class Part:
    """A part as the manifest lists it. `rows`: of a table, else None."""

    bytes: int
    sha256: str
    rows: int | None = None


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself.

    made_at        UTC
    program        the version that wrote it
    site, code     the site's id and code
    epoch, head    this life of the ledger, and the last number of its count
    with_photos    whether photographs were to be in it
    """

    made_at: str
    program: str
    site: str
    code: str
    epoch: str
    head: int
    with_photos: bool
    parts: Mapping[str, Part] = field(default_factory=dict)


class _Sink(Protocol):
    def write(self, data: bytes, /) -> int: ...

    def flush(self) -> None: ...


class _Sealing:
    """Passes bytes on, and at the end puts their SHA-256 in the place of the last SEAL of them."""

    def __init__(self, to: _Sink) -> None:
        self._to, self._hash, self._last = to, hashlib.sha256(), b""

    def write(self, data: bytes) -> int:
        both = self._last + data
        out, self._last = both[:-SEAL], both[-SEAL:]
        self._hash.update(out)
        self._to.write(out)
        return len(data)

    def flush(self) -> None:
        self._to.flush()

    def finish(self) -> None:
        self._to.write(self._hash.hexdigest().encode("ascii"))


class Writer:
    """A backup that is being written: parts one after the other."""

    def __init__(self, zipped: zipfile.ZipFile, progress: Progress) -> None:
        self._zip, self._progress = zipped, progress
        self._parts: dict[str, Part] = {}

    def add(self, name: str, pieces: Iterable[bytes], *, packed: bool = True, lines: bool = False) -> None:
        """Adds a part. `packed`: worth packing. `lines`: a table's, a row a piece."""
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = 0o600 << 16
        counted, length, digest = 0, 0, hashlib.sha256()
        with self._zip.open(info, "w", force_zip64=True) as to:
            for piece in pieces:
                to.write(piece)
                digest.update(piece)
                length += len(piece)
                counted += 1
                if counted % 1000 == 0:
                    self._progress("rows" if lines else "bytes", counted if lines else length)
        self._parts[name] = Part(length, digest.hexdigest(), counted if lines else None)

    def finish(self, about: Manifest) -> Manifest:
        """Adds the manifest, which is the last part."""
        whole = Manifest(**{**{name: getattr(about, name) for name in Manifest.__slots__}, "parts": self._parts})
        parts = {name: {key: getattr(part, key) for key in Part.__slots__} for name, part in whole.parts.items()}
        told = {name: getattr(whole, name) for name in Manifest.__slots__} | {"format": FORMAT, "parts": parts}
        self._zip.writestr(MANIFEST, json.dumps(told, indent=1, ensure_ascii=False) + "\n")
        return whole


def silent(what: str, done: int) -> None:
    """No progress shown."""


@contextmanager
def writing(path: Path, passphrase: bytes | None = None, progress: Progress = silent) -> Iterator[Writer]:
    """A backup to fill; it is there, whole, when the block ends, or not at all. Raises BackupThere, NoRoom."""
    with new_file(path) as file:
        locking = Locking(file, passphrase) if passphrase is not None else None
        sealing = _Sealing(locking or file)
        # It only offers `write`: the zip is then written without going back.
        with zipfile.ZipFile(cast(BinaryIO, sealing), "w") as zipped:
            zipped.comment = b" " * SEAL
            yield Writer(zipped, progress)
        sealing.finish()
        if locking is not None:
            locking.finish()


class Reader:
    """A backup whose seal and manifest are right. Its parts are proved again as they are read."""

    def __init__(self, zipped: zipfile.ZipFile, manifest: Manifest) -> None:
        self._zip, self.manifest = zipped, manifest

    def names(self, under: str) -> list[str]:
        """The parts below `under`, without it: the tables, the files of the folder, the photos."""
        return [name[len(under) + 1 :] for name in self.manifest.parts if name.startswith(under + "/")]

    def pieces(self, name: str) -> Iterator[bytes]:
        """A part's bytes in pieces. Raises BackupDamaged at its end if they are not what the manifest says."""
        with self._part(name) as file:
            while piece := file.read(_AT_ONCE):
                yield piece

    def lines(self, name: str) -> Iterator[bytes]:
        """A table's lines. Raises BackupDamaged at its end if they are not what the manifest says."""
        counted = 0
        with self._part(name) as file:
            for line in file:
                counted += 1
                yield line
        if counted != self.manifest.parts[name].rows:
            raise BackupDamaged(why=name)

    @contextmanager
    def _part(self, name: str) -> Iterator[BinaryIO]:
        said = self.manifest.parts[name]
        try:
            with self._zip.open(name) as inside:
                proved = _Proved(inside)
                # Buffered, because lines are asked for one by one.
                yield cast(BinaryIO, io.BufferedReader(proved, _AT_ONCE))
        except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:
            raise BackupDamaged(why=name) from error
        if (proved.length, proved.digest.hexdigest()) != (said.bytes, said.sha256):
            raise BackupDamaged(why=name)


class _Proved(io.RawIOBase):
    """Counts and hashes what is read."""

    def __init__(self, inside: Any) -> None:
        self._inside, self.length, self.digest = inside, 0, hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        found = self._inside.read(len(into))
        into[: len(found)] = found
        self.digest.update(found)
        self.length += len(found)
        return len(found)


@contextmanager
def reading(path: Path, passphrase: bytes | None = None, progress: Progress = silent) -> Iterator[Reader]:
    """A backup to read, once every byte of it is known to be as it was written.

    Raises BackupMissing, BackupDamaged, BackupIsNewer, NeedsPassphrase, WrongPassphrase.
    """
    if not path.is_file():
        raise BackupMissing(file=path)
    with path.open("rb") as file:
        plain: BinaryIO = file
        if is_locked(file):
            if passphrase is None:
                raise NeedsPassphrase(file=path)
            plain = cast(BinaryIO, io.BufferedReader(Opened(file, passphrase), _AT_ONCE))
        _prove(plain, progress)
        try:
            with zipfile.ZipFile(plain) as zipped:
                yield Reader(zipped, _manifest(zipped))
        except zipfile.BadZipFile as error:
            raise BackupDamaged(why="zip") from error


def _prove(file: BinaryIO, progress: Progress) -> None:
    length = file.seek(0, io.SEEK_END) - SEAL
    file.seek(0)
    digest, done = hashlib.sha256(), 0
    while done < length and (piece := file.read(min(_AT_ONCE, length - done))):
        digest.update(piece)
        done += len(piece)
        progress("proved", done)
    if length <= 0 or file.read(SEAL) != digest.hexdigest().encode("ascii"):
        raise BackupDamaged(why="seal")


def _manifest(zipped: zipfile.ZipFile) -> Manifest:
    try:
        told = json.loads(zipped.read(MANIFEST))
        if int(told["format"]) > FORMAT:
            raise BackupIsNewer(theirs=told["format"], own=FORMAT)
        parts = {name: Part(**part) for name, part in told["parts"].items()}
        found = Manifest(**{name: told[name] for name in Manifest.__slots__} | {"parts": parts})
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BackupDamaged(why=MANIFEST) from error
    if sorted(zipped.namelist()) != sorted((*found.parts, MANIFEST)):
        raise BackupDamaged(why=MANIFEST)
    return found
