"""Making a unit's sites: a new one, or the folder of a cabin that stood alone until now. Not here: serving them."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from server import keys
from server.cabin import Cabin, set_up
from server.config import CERTIFICATE, SITES, Config
from server.errors import LedgerExists, LedgerMissing, UnitIsACabin

_AT_THE_DOOR = (CERTIFICATE, "cabin.key", "session.key")


def folder_of(unit: Path, code: str) -> Path:
    """Where a site of the unit lies."""
    return unit / SITES / "".join(code.split()).upper()


def add(config: Config, *, code: str, name: str, **more: object) -> Config:
    """A new site in the unit in `config.data`, which is made if it is none yet. `more`: as for set_up.

    Raises LedgerExists, UnitIsACabin.
    """
    _door(config)
    one = replace(config, data=folder_of(config.data, code))
    set_up(one, code=code, name=name, **more)  # type: ignore[arg-type]
    return one


def take(config: Config, folder: Path) -> tuple[Config, bool]:
    """Moves the folder of a cabin that is not running into the unit; and whether its tablets know the way still.

    The first one's certificate becomes the unit's; tablets of another have to be enrolled anew, since they trust the
    old certificate only. Raises LedgerMissing, LedgerExists, UnitIsACabin.
    """
    old = replace(config, data=folder)
    if not old.ledger.is_file() and not (folder / "cabin.toml").is_file():
        raise LedgerMissing(file=old.ledger.name)
    cabin = Cabin(old)
    code = str(cabin.ledger.site().value("code"))
    cabin.close()
    new = folder_of(config.data, code)
    if new.exists():
        raise LedgerExists(file=str(new.name))
    known = not (config.data / CERTIFICATE).exists()
    if known:
        config.data.mkdir(parents=True, exist_ok=True)
        for name in _AT_THE_DOOR:
            if (folder / name).is_file():
                keys.write_secret(config.data / name, (folder / name).read_bytes())
    _door(config)
    shutil.move(str(folder), new)
    # The old ones would say nothing any more: beside the unit's nobody reads them.
    for name in _AT_THE_DOOR:
        (new / name).unlink(missing_ok=True)
    return replace(config, data=new), known


def _door(config: Config) -> None:
    if config.ledger.exists():
        raise UnitIsACabin(folder=config.data.name)
    (config.data / SITES).mkdir(parents=True, exist_ok=True)
    keys.make_certificate(config.certificate, config.certificate_key)
