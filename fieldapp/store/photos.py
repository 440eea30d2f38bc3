"""Photographs on the tablet: files named by what they hold, beside the journal.

A record names a photo by its SHA-256; the file is whole or not there. Not here: taking pictures, and sending them.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from fieldapp.store.disk import is_full, write_new
from fieldapp.store.errors import SaveFailed


class Photos:
    """The photographs in a notebook's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "photos"

    def path(self, sha256: str) -> Path:
        """Where a photo lies, or would lie."""
        return self.folder / sha256

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
