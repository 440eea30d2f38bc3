"""Photographs on the tablet: files named by what they hold, beside the journal.

A record names a photo by its SHA-256; the file is whole or not there. Not here: taking pictures, and sending them.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from pathlib import Path

from fieldapp.records.sealing import seal_bytes
from fieldapp.store.disk import is_full, write_new
from fieldapp.store.errors import SaveFailed


class Photos:
    """The photographs in a notebook's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "photos"

    def path(self, sha256: str) -> Path:
        """Where a photo lies, or would lie."""
        return self.folder / sha256

    def sealed_path(self, sha256: str) -> Path:
        """Where it lies if only the cabin can open it."""
        return self.folder / f"{sha256}.sealed"

    def has(self, sha256: str) -> bool:
        """Whether a photo is here, in the clear or sealed. What is no name of a photo is not."""
        return re.fullmatch(r"[0-9a-f]{64}", sha256) is not None and (
            self.path(sha256).is_file() or self.sealed_path(sha256).is_file()
        )

    def noted(self, name: str) -> set[str]:
        """The lines of a list that `note` has written, the whole ones."""
        try:
            text = (self.folder / f"at-{name}").read_text("ascii", "replace")
        except FileNotFoundError:
            return set()
        return {line for line in text.split("\n") if re.fullmatch(r"[0-9a-f]{64} (clear|sealed)", line)}

    def note(self, name: str, lines: Sequence[str]) -> None:
        """Adds to a list of photos, in the place of any other list. Raises SaveFailed.

        Not waited for: a line that is lost costs one question to the cabin.
        """
        if not lines:
            return
        path = self.folder / f"at-{name}"
        try:
            for other in self.folder.glob("at-*"):
                if other != path:
                    other.unlink(missing_ok=True)
            with path.open("a", encoding="ascii") as file:
                # A line that was torn off before ends here.
                file.write("".join(f"\n{line}" for line in lines) + "\n")
        except OSError as error:
            raise SaveFailed(error, is_full(error)) from error

    def seal(self, sha256: str, public: str) -> bool:
        """Puts a picture's file out of sight of everybody but the cabin; False if there is none here, or no such key.

        The sealed file is whole on the medium before the other goes. Raises SaveFailed.
        """
        path = self.path(sha256)
        if not path.is_file():
            return False
        try:
            sealed = self._write_sealed(sha256, path.read_bytes(), public)
            if sealed:
                path.unlink()
        except OSError as error:
            raise SaveFailed(error, is_full(error)) from error
        return sealed

    def keep_sealed(self, data: bytes, public: str) -> str:
        """Keeps a photo that only the cabin can open, and nothing of it in the clear; its SHA-256, "" for no such key.

        Raises SaveFailed.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            return sha256 if self._write_sealed(sha256, data, public) else ""
        except OSError as error:
            raise SaveFailed(error, is_full(error)) from error

    def _write_sealed(self, sha256: str, data: bytes, public: str) -> bool:
        """Whether the sealed picture is on the medium; False where `public` is no key."""
        try:
            sealed = seal_bytes(data, public, sha256)
        except ValueError:
            return False
        write_new(self.sealed_path(sha256), sealed)
        return True

    def keep(self, data: bytes) -> str:
        """Keeps a photo; on the medium on return; its SHA-256. Raises SaveFailed."""
        sha256 = hashlib.sha256(data).hexdigest()
        path = self.path(sha256)
        if path.is_file() and path.stat().st_size == len(data):
            return sha256
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_new(path, data)
        except OSError as error:
            raise SaveFailed(error, is_full(error)) from error
        return sha256
