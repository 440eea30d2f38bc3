"""The cabin's own settings: `cabin.toml` in its folder, if there is one. What is typed with the command comes first.

    [backup]
    to = "/media/stick"         a folder, best on another disk
    every = 24                  hours
    keep = 14                   files
    passphrase_file = "…"       locks them
    [log]
    to = "cabin.log"            a file, or "-" for the screen

Values only. Other parts of the file belong to others. Relative paths start at the cabin's folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.config import Config
from server.errors import SettingsWrong


@dataclass(frozen=True, slots=True)
class Settings:
    """See the module. None: not set."""

    backup_to: Path | None = None
    backup_every: float | None = None
    backup_keep: int | None = None
    passphrase_file: Path | None = None
    log_to: str | None = None


def settings_in(config: Config) -> Settings:
    """Those of a cabin's folder. Raises SettingsUnreadable, SettingsWrong."""
    told, data = config.settings(), config.data
    try:
        backup, log = _section(told, "backup"), _section(told, "log")
        log_to = _value(log, "to", str)
        return Settings(
            backup_to=_path(data, _value(backup, "to", str)),
            backup_every=_number(backup, "every"),
            backup_keep=_value(backup, "keep", int),
            passphrase_file=_path(data, _value(backup, "passphrase_file", str)),
            log_to=log_to if log_to in (None, "-") else str(data / log_to),
        )
    except ValueError as error:
        raise SettingsWrong(file=config.settings_file, why=error) from error


def _section(told: dict[str, Any], name: str) -> dict[str, Any]:
    found = told.get(name, {})
    if not isinstance(found, dict):
        raise ValueError(f"[{name}]")
    return found


def _value(section: dict[str, Any], name: str, kind: type) -> Any:
    found = section.get(name)
    if found is not None and (not isinstance(found, kind) or isinstance(found, bool)):
        raise ValueError(f"{name} = {found!r}")
    return found


def _number(section: dict[str, Any], name: str) -> float | None:
    found = _value(section, name, (int, float))  # type: ignore[arg-type]
    if found is not None and found <= 0:
        raise ValueError(f"{name} = {found!r}")
    return None if found is None else float(found)


def _path(data: Path, found: str | None) -> Path | None:
    return None if found is None else data / Path(found).expanduser()
