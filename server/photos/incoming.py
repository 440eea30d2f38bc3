"""Uploads that are not whole yet: one file a picture and tablet, appended to as its bytes come.

A request that is cut leaves what came of it. Bytes are taken at the very end of what is there and nowhere else, so that
two requests for one picture, one of them left over from a connection that broke, cannot leave a hole or a double.
Not here: whether what is whole is the picture it says it is (keeping).
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from server.errors import PhotoOffset, PhotoStoreAway, PhotoTooLarge

LARGEST = 50_000_000
"""Bytes of one picture."""

SEAL = 48
"""Bytes that sealing adds to it: a public key and a tag."""

AT_ONCE = 8
"""Unfinished uploads of one tablet. A further one takes the place of the one that was left longest."""

KEPT = timedelta(days=30)
"""How long an upload that nobody goes on with is kept."""


@dataclass(frozen=True, slots=True)
class Part:
    """What a tablet says that it sends: the picture's SHA-256, the bytes of the file, whether it is sealed."""

    sha256: str
    size: int
    sealed: bool


class Incoming:
    """The unfinished uploads in a folder. A tablet is told from another by its notebook's id."""

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self.folder = folder
        self.clock = clock
        self._lock = threading.Lock()

    def find(self, notebook: str, sha256: str) -> tuple[Part, int] | None:
        """The upload of a picture and how many bytes of it there are, None where none was begun."""
        for path in self._folder(notebook).glob(f"{sha256}.*"):
            _, size, sealed = path.name.split(".")
            return Part(sha256, int(size), sealed == "sealed"), path.stat().st_size
        return None

    def have(self, notebook: str, part: Part) -> int:
        """How many bytes there are of exactly this upload."""
        try:
            return self._path(notebook, part).stat().st_size
        except FileNotFoundError:
            return 0

    def append(self, notebook: str, part: Part, offset: int, chunks: Iterable[bytes]) -> int:
        """Takes bytes in from `offset` on; how many there are then. An upload of another size or seal is begun anew.

        What has come stays when `chunks` raises. Raises PhotoOffset, PhotoTooLarge, PhotoStoreAway.
        """
        if part.size > LARGEST + SEAL * part.sealed:
            raise PhotoTooLarge(most=LARGEST)
        path = self._path(notebook, part)
        with self._lock:
            if (have := self.have(notebook, part)) != offset:
                raise PhotoOffset(have=have)
            try:
                descriptor = self._open(path)
            except OSError as error:
                raise PhotoStoreAway(cause=str(error)) from error
        try:
            for chunk in chunks:
                if offset + len(chunk) > part.size:
                    raise PhotoTooLarge(most=part.size)
                try:
                    offset = self._write(descriptor, offset, chunk)
                except OSError as error:
                    raise PhotoStoreAway(cause=str(error)) from error
        finally:
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        return self.have(notebook, part)

    def read(self, notebook: str, part: Part) -> bytes:
        """All that there is of an upload."""
        return self._path(notebook, part).read_bytes()

    def drop(self, notebook: str, sha256: str) -> None:
        """Throws away what there is of a picture."""
        for path in self._folder(notebook).glob(f"{sha256}.*"):
            path.unlink(missing_ok=True)

    def tidy(self) -> None:
        """Throws away what nobody has gone on with for KEPT."""
        before = (self.clock() - KEPT).timestamp()
        for path in self.folder.glob("*/*"):
            try:
                if path.stat().st_mtime < before:
                    path.unlink()
            except FileNotFoundError:
                continue

    def _open(self, path: Path) -> int:
        if not path.exists():
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            self.tidy()
            for other in path.parent.glob(f"{path.name.partition('.')[0]}.*"):
                other.unlink(missing_ok=True)
            begun = sorted(path.parent.iterdir(), key=lambda one: one.stat().st_mtime, reverse=True)
            for left in begun[AT_ONCE - 1 :]:
                left.unlink(missing_ok=True)
        return os.open(path, os.O_WRONLY | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)

    def _write(self, descriptor: int, offset: int, chunk: bytes) -> int:
        with self._lock:
            there = os.fstat(descriptor).st_size
            if there != offset:
                raise PhotoOffset(have=there)
            os.lseek(descriptor, offset, os.SEEK_SET)
            rest = memoryview(chunk)
            while rest:
                rest = rest[os.write(descriptor, rest) :]
        return offset + len(chunk)

    def _folder(self, notebook: str) -> Path:
        # A notebook's id is whatever it was enrolled with: no part of it becomes part of a path.
        return self.folder / hashlib.sha256(notebook.encode("utf-8", "replace")).hexdigest()[:32]

    def _path(self, notebook: str, part: Part) -> Path:
        return self._folder(notebook) / f"{part.sha256}.{part.size}.{'sealed' if part.sealed else 'clear'}"
