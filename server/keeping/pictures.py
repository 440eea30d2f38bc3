"""Photographs as a backup sees them: names and bytes. Those in the cabin's store, and a bare folder of them.

Not here: taking photographs in from tablets, who may see one.
"""

from __future__ import annotations

import errno
import io
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO, Protocol

from sqlalchemy import select

from server.keeping.files import new_file
from server.ledger import Ledger, tables
from server.photos import Store

FOLDER = "photos"
_NAME = re.compile(r"(?:[0-9a-f]{2}/)*([0-9a-f]{64})(\.[a-z]+)?")


class Pictures(Protocol):
    """A store of photographs, each whole or not there. Names: the SHA-256, perhaps in folders, perhaps `.sealed`."""

    def names(self) -> Iterable[str]:
        """Of all of them."""

    def open(self, name: str) -> BinaryIO:
        """One, to read."""

    def add(self, name: str, pieces: Iterable[bytes]) -> None:
        """Keeps one, unless it is there."""


class StoredPictures:
    """Those that a ledger knows, in the cabin's store. Without a ledger: to be added to."""

    def __init__(self, store: Store, ledger: Ledger | None = None) -> None:
        self._store, self._ledger = store, ledger

    def names(self) -> Iterator[str]:
        if self._ledger is not None:
            column = tables.photo.c
            with self._ledger.database.reading() as connection:
                known = connection.execute(select(column.sha256, column.sealed).order_by(column.sha256)).all()
            for sha256, sealed in known:
                yield f"{sha256[:2]}/{sha256}{'.sealed' if sealed else ''}"

    def open(self, name: str) -> BinaryIO:
        """Raises FileNotFoundError, PhotoStoreAway."""
        data = self._store.get(name.rpartition("/")[2])
        if data is None:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), name)
        return io.BytesIO(data)

    def add(self, name: str, pieces: Iterable[bytes]) -> None:
        own = name.rpartition("/")[2]
        if self._store.get(own) is None:
            self._store.put(own, b"".join(pieces))


class PictureFolder:
    """A folder `photos/`, laid out like the cabin's own."""

    def __init__(self, data: Path) -> None:
        self._folder = data / FOLDER

    def names(self) -> Iterator[str]:
        for path in sorted(self._folder.rglob("*")):
            name = path.relative_to(self._folder).as_posix()
            # What is still on its way has another name.
            if is_name(name) and path.is_file():
                yield name

    def open(self, name: str) -> BinaryIO:
        return (self._folder / name).open("rb")

    def add(self, name: str, pieces: Iterable[bytes]) -> None:
        path = self._folder / name
        if not path.exists():
            with new_file(path) as file:
                for piece in pieces:
                    file.write(piece)


def is_name(name: str) -> bool:
    """Whether it is a photograph's: nothing else is read from a backup or written from one."""
    found = _NAME.fullmatch(name)
    return found is not None and found[2] not in (".part", ".new")


def digest_of(name: str) -> str | None:
    """The SHA-256 that a photograph's bytes have by its name; None for a sealed one, whose name is that of the open."""
    found = _NAME.fullmatch(name)
    return found[1] if found and not found[2] else None
