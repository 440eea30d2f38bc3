"""The cabin's photographs: what is wanted of tablets, what came whole, what has to lie sealed.

A picture lies in the store under its SHA-256, or, where it is closed, sealed under `<SHA-256>.sealed`: never both.
A sealed file takes a clear one's place; the other way round never. Not here: HTTP, and who may look.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Iterable
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from fieldapp.records.sealing import CannotOpen, seal_bytes, unseal_bytes
from server.errors import PhotoStoreAway, PhotoWrong
from server.ledger import Ledger, pictures
from server.ledger.pictures import Picture
from server.photos import looking
from server.photos.incoming import Incoming, Part
from server.photos.store import Store, write_new


class Photos:
    """`folder` is for what is unfinished and for small copies. `public` and `private`: the seal key's two halves."""

    def __init__(
        self, ledger: Ledger, store: Store, folder: Path, public: str, private: Callable[[], X25519PrivateKey]
    ) -> None:
        self.ledger = ledger
        self.store = store
        self.incoming = Incoming(folder / "photos-unfinished", ledger.clock)
        self._copies = folder / "photos-small"
        self._public, self._private = public, private
        # One picture at a time comes whole or is closed: none is put down in the clear behind the seal's back.
        self._lock = threading.Lock()

    def found(self, names: Iterable[str]) -> dict[str, Picture]:
        """{sha256: picture} of those that have come."""
        with self.ledger.database.reading() as connection:
            return pictures.found(connection, names)

    # -- what tablets bring

    def wanted(self, asked: Iterable[tuple[str, bool]]) -> list[str]:
        """The SHA-256 of (sha256, sealed) pairs that a tablet has and the cabin has not, or not sealed yet."""
        pairs = list(asked)
        found = self.found(sha256 for sha256, _ in pairs)
        return [sha256 for sha256, sealed in pairs if not _enough(found.get(sha256), sealed)]

    def is_whole(self, sha256: str, sealed: bool) -> Picture | None:
        """The picture, if nothing of it has to be sent any more."""
        found = self.found([sha256]).get(sha256)
        return found if _enough(found, sealed) else None

    def take(self, notebook: str, part: Part, offset: int, chunks: Iterable[bytes]) -> tuple[int, bool]:
        """Takes in what a tablet sends from `offset` on: (bytes that are there now, whether it is whole and kept).

        Raises PhotoOffset, PhotoTooLarge, PhotoWrong, PhotoStoreAway; but for PhotoWrong, what came is kept.
        """
        if self.is_whole(part.sha256, part.sealed):
            self.incoming.drop(notebook, part.sha256)
            return part.size, True
        have = self.incoming.append(notebook, part, offset, chunks)
        if have < part.size:
            return have, False
        with self._lock:
            if not self.is_whole(part.sha256, part.sealed):
                self._finish(notebook, part)
        self.incoming.drop(notebook, part.sha256)
        return part.size, True

    def _finish(self, notebook: str, part: Part) -> None:
        data = self.incoming.read(notebook, part)
        try:
            picture = unseal_bytes(data, self._private(), part.sha256) if part.sealed else data
        except CannotOpen:
            picture = b""
        if hashlib.sha256(picture).hexdigest() != part.sha256:
            self.incoming.drop(notebook, part.sha256)
            raise PhotoWrong(name=part.sha256[:12])
        sort = looking.sort_of(picture)
        with self.ledger.database.reading() as connection:
            closed = any(pictures.is_closed(one) for one in pictures.naming(connection, part.sha256))
        if closed and not part.sealed:
            # Sent by a tablet that did not know yet: it never lies here in the clear.
            data = seal_bytes(picture, self._public, part.sha256)
        sealed = part.sealed or closed
        self._put(Picture(part.sha256, len(data), sealed, sort, self.ledger.now(), notebook), data)

    def _put(self, picture: Picture, data: bytes) -> None:
        sha256 = picture.sha256
        self.store.put(_name(sha256, picture.sealed), data)
        if picture.sealed:
            self._drop_clear(sha256)
        with self.ledger.database.writing() as connection:
            before = pictures.found(connection, [sha256]).get(sha256)
            if before is None or (picture.sealed and not before.sealed):
                pictures.put(connection, picture)
        if picture.sealed or (before is not None and before.sealed):
            # Once more: another process of this cabin may have put it down meanwhile.
            self._drop_clear(sha256)

    def _drop_clear(self, sha256: str) -> None:
        self.store.drop(sha256)
        self.forget_copies(sha256)

    def close_what_is_closed(self) -> int:
        """Seals what lies in the clear although its record says by now that it is closed; how many those were.

        Raises PhotoStoreAway.
        """
        with self.ledger.database.reading() as connection:
            waiting = pictures.to_close(connection)
        for sha256 in sorted(waiting):
            with self._lock:
                known, data = self.found([sha256])[sha256], self.store.get(sha256)
                if data is not None and not known.sealed:
                    sealed = seal_bytes(data, self._public, sha256)
                    row = Picture(sha256, len(sealed), True, known.sort, known.received_at, known.notebook)
                    self._put(row, sealed)
        return len(waiting)

    # -- to be looked at

    def read(self, picture: Picture) -> bytes | None:
        """The picture itself, opened if it lies sealed; None where its file is gone. Raises PhotoStoreAway."""
        data = self.store.get(_name(picture.sha256, picture.sealed))
        if data is None or not picture.sealed:
            return data
        try:
            return unseal_bytes(data, self._private(), picture.sha256)
        except CannotOpen as error:
            raise PhotoStoreAway(cause=str(error)) from error

    def small(self, picture: Picture, size: str, *, closed: bool) -> bytes:
        """A small copy, kept for the next time unless the picture is closed. Raises PhotoStoreAway."""
        kept = self._copy(picture.sha256, size)
        if not closed and not picture.sealed and kept.is_file():
            return kept.read_bytes()
        data = looking.small(self.read(picture) or b"", size)
        if not closed and not picture.sealed:
            try:
                kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                write_new(kept, data)
            except OSError:
                pass  # without room it is made anew each time
            if self.is_whole(picture.sha256, True):
                kept.unlink(missing_ok=True)  # it was sealed meanwhile
        return data

    def forget_copies(self, sha256: str) -> None:
        """Takes away the small copies of a picture that is not to be shown in the clear any more."""
        for size in looking.SIZES:
            self._copy(sha256, size).unlink(missing_ok=True)

    def _copy(self, sha256: str, size: str) -> Path:
        return self._copies / sha256[:2] / f"{sha256}.{size}.jpg"


def _enough(found: Picture | None, sealed: bool) -> bool:
    return found is not None and (found.sealed or not sealed)


def _name(sha256: str, sealed: bool) -> str:
    return f"{sha256}.sealed" if sealed else sha256
