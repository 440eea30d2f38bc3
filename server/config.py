"""Where the cabin keeps its files and where it listens. Values only; nothing is opened here."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

SITES, CERTIFICATE = "sites", "cabin.crt"


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
    def unit(self) -> Path | None:
        """The folder of the unit whose server this site shares (`UNIT/sites/CODE`), None for a cabin of its own."""
        above = self.data.absolute().parent
        return above.parent if above.name == SITES and (above.parent / CERTIFICATE).is_file() else None

    @property
    def door(self) -> Path:
        """The folder of what is shared by all sites of one server: the certificate and the key of page sessions."""
        return self.unit or self.data

    @property
    def ledger(self) -> Path:
        return self.data / "ledger.sqlite"

    @property
    def certificate(self) -> Path:
        return self.door / CERTIFICATE

    @property
    def certificate_key(self) -> Path:
        return self.door / "cabin.key"

    @property
    def seal_key(self) -> Path:
        return self.data / "seal.key"

    @property
    def session_key(self) -> Path:
        return self.door / "session.key"
