"""Where the cabin keeps its files and its ledger and where it listens. Values only; no file of it is opened but
`cabin.toml`, which may say where the ledger lies:

    ledger = "postgresql+psycopg://USER@HOST/DATABASE"      without it: the SQLite file beside it
    schema = "site_hlg26"                                   of the site in that database
    photos = "s3://bucket/prefix"                           without it: the folder beside it

The environment variable BONEDOCKET_LEDGER wins over `ledger`, so that a password need not lie in a file.
"""

from __future__ import annotations

import json
import os
import tomllib
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from server import keys
from server.errors import LedgerAddress, LedgerExists, SettingsUnreadable
from server.ledger.place import Place

LEDGER = "BONEDOCKET_LEDGER"

SITES, CERTIFICATE, SETTINGS = "sites", "cabin.crt", "cabin.toml"


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
        """The ledger's file, unless it lies elsewhere: see `place`."""
        return self.data / "ledger.sqlite"

    @property
    def settings_file(self) -> Path:
        return self.data / SETTINGS

    @property
    def place(self) -> Place:
        """Where the ledger lies. Raises SettingsUnreadable, LedgerAddress."""
        settings = self.settings()
        where = os.environ.get(LEDGER, "") or str(settings.get("ledger", ""))
        place = Place.of(where or self.ledger.name, str(settings.get("schema", "")))
        return place if place.path is None else Place(path=self.data / place.path)

    def settings(self) -> dict[str, Any]:
        """What `cabin.toml` says, the unit's and then the site's own; nothing where there is none."""
        return {**(_read(self.unit / SETTINGS) if self.unit else {}), **self.own_settings()}

    def own_settings(self) -> dict[str, Any]:
        """What this folder's own `cabin.toml` says."""
        return _read(self.settings_file)

    @property
    def photos(self) -> str:
        """Where pictures lie: a folder, or the URL of a store that fsspec knows.

        BONEDOCKET_PHOTOS, else `photos` in cabin.toml, else the folder `photos` beside the ledger. Raises
        SettingsUnreadable.
        """
        return os.environ.get("BONEDOCKET_PHOTOS") or str(self.settings().get("photos") or self.data / "photos")

    def new_place(self, ledger: str, schema: str) -> tuple[Place, str]:
        """Where a new ledger goes, in `schema` where that is a database, and what is to be added to `cabin.toml`.

        `ledger`: a URL, "" for what is set already. Raises LedgerExists, LedgerAddress, SettingsUnreadable.
        """
        if {"ledger", "schema"} & self.own_settings().keys():
            if ledger:
                raise LedgerExists(file=self.settings_file.name)
            return self.place, ""
        url = ledger or os.environ.get(LEDGER, "") or str(self.settings().get("ledger", ""))
        if not url:
            return self.place, ""
        place = Place.of(url, schema)
        if place.url is None:
            raise LedgerAddress(what=ledger)
        return place, settings_text(ledger=ledger, schema=place.schema)

    def write_settings(self, text: str) -> None:
        """Puts lines before those of `cabin.toml`; only its owner can read it."""
        if text:
            old = self.settings_file.read_bytes() if self.settings_file.exists() else b""
            beside = self.settings_file.with_name(SETTINGS + ".new")
            beside.unlink(missing_ok=True)
            keys.write_secret(beside, text.encode("utf-8") + old)
            os.replace(beside, self.settings_file)

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


def settings_text(**values: str) -> str:
    """`cabin.toml` with these values; empty ones are left out."""
    return "".join(f"{name} = {json.dumps(value, ensure_ascii=False)}\n" for name, value in values.items() if value)


def _read(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError):
        # What is wrong in which line may quote the password.
        raise SettingsUnreadable(file=file.name) from None
