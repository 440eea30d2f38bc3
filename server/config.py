"""Where the cabin keeps its files and where it listens. Nothing is opened here but its small file of settings."""

from __future__ import annotations

import os
import tomllib
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path


def local_now() -> datetime:
    """The time with this machine's zone."""
    return datetime.now(UTC).astimezone()


def random_id() -> str:
    """A new UUID as text."""
    return str(uuid.uuid4())


@dataclass(frozen=True, slots=True)
class Config:
    """A cabin's set-up.

    data           its folder: ledger, certificate and keys, all of which a backup must hold
    host, port     where it listens; "0.0.0.0" is every network of this machine
    clock, new_id  passed in, so that tests fix them
    testing        lets faults out of the app instead of answering 500
    """

    data: Path
    host: str = "0.0.0.0"
    port: int = 8443
    clock: Callable[[], datetime] = local_now
    new_id: Callable[[], str] = random_id
    testing: bool = False

    @property
    def ledger(self) -> Path:
        return self.data / "ledger.sqlite"

    @property
    def photos(self) -> str:
        """Where pictures lie: a folder, or the URL of a store that fsspec knows.

        BONEDOCKET_PHOTOS, else `photos` in cabin.toml, else the folder `photos` beside the ledger.
        """
        return os.environ.get("BONEDOCKET_PHOTOS") or self.setting("photos") or str(self.data / "photos")

    def setting(self, name: str) -> str:
        """A text of cabin.toml in the cabin's folder, "" where there is none. Raises tomllib.TOMLDecodeError."""
        try:
            found = tomllib.loads((self.data / "cabin.toml").read_text("utf-8")).get(name)
        except FileNotFoundError:
            return ""
        return found if isinstance(found, str) else ""

    @property
    def certificate(self) -> Path:
        return self.data / "cabin.crt"

    @property
    def certificate_key(self) -> Path:
        return self.data / "cabin.key"

    @property
    def seal_key(self) -> Path:
        return self.data / "seal.key"

    @property
    def session_key(self) -> Path:
        return self.data / "session.key"
