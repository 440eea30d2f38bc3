"""What the cabin holds: ledger, keys, backups, photographs, settings. Whether every byte is right, `verify` says."""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.exc import DatabaseError

from fieldapp.findings import GOOD, NOTE, WRONG, Finding
from fieldapp.records import enrolment
from fieldapp.records.changes import UnreadableChange, read
from server import keys
from server.config import Config
from server.errors import CabinError, PhotoStoreAway
from server.keeping.backing_up import key_files, last_backup
from server.keeping.files import PART
from server.keeping.verifying import keys_fit
from server.ledger import Ledger, tables
from server.photos import open_store
from server.settings import settings_in

DAY = timedelta(days=1)
AHEAD = timedelta(minutes=10)
"""A tablet's clock may be so much before the cabin's."""
OLD, VERY_OLD = timedelta(days=2), timedelta(days=7)
"""Of the last backup."""
SAFE = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
"""SQLite with the mend of the fault by which two writers of one log can lose a commit: these, later ones of the same
line, and everything after the last. Source: sqlite.org/wal, as the project's notes give it."""


def sqlite(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> Iterator[Finding]:
    """Which SQLite this Python has."""
    safe = version >= SAFE[-1] or any(version[:2] == one[:2] and version >= one for one in SAFE)
    told = ".".join(map(str, version))
    yield _finding(GOOD if safe else NOTE, "sqlite" if safe else "sqlite_old", version=told)


def settings(config: Config) -> Iterator[Finding]:
    """Whether cabin.toml, if there is one, says what it should."""
    try:
        found = settings_in(config)
    except CabinError as error:
        yield _finding(WRONG, "settings", why=error)
        return
    if found.backup_to is not None and not found.backup_to.is_dir():
        yield _finding(WRONG, "backup_folder", folder=found.backup_to)


def ledger(config: Config) -> Iterator[Finding]:
    """Whether the ledger opens; what it says of clocks, keys and backups."""
    try:
        opened = Ledger.open(config.place, clock=config.clock, new_id=config.new_id)
    except CabinError as error:
        yield _finding(WRONG, "ledger_shut", why=error)
        return
    except (DatabaseError, OSError, LookupError, ValueError) as error:
        why = error.orig if isinstance(error, DatabaseError) else type(error).__name__
        yield _finding(WRONG, "ledger_damaged", why=why)
        return
    try:
        site = opened.site()
        yield _finding(GOOD, "ledger", code=site.value("code"))
        yield from clock(opened)
        yield from keys_fit(config, str(site.value("cabin_key")))
        yield from backups(opened)
    finally:
        opened.close()
    if config.certificate.is_file():
        try:
            shown = enrolment.in_pairs(keys.fingerprint_of(config.certificate))
        except ValueError:
            return  # told above: the keys cannot be read
        yield _finding(GOOD, "fingerprint", fingerprint=shown)


def clock(opened: Ledger) -> Iterator[Finding]:
    """Whether this machine's clock can be right: not before what came already, not behind the tablets'."""
    change, now = tables.change.c, opened.clock()
    with opened.database.reading() as connection:
        newest = connection.scalar(select(func.max(change.received_at)))
        last = select(func.max(change.seq)).group_by(change.notebook)
        rows = connection.execute(select(change.body, change.received_at).where(change.seq.in_(last))).all()
    if newest is not None and now < datetime.fromisoformat(newest) - DAY:
        yield _finding(WRONG, "clock_behind", now=now.isoformat(timespec="minutes"), newest=newest)
        return
    ahead = 0
    for body, received_at in rows:
        try:
            written = datetime.fromisoformat(read(body).at)
            ahead += written > datetime.fromisoformat(received_at) + AHEAD
        except (UnreadableChange, ValueError, TypeError):
            continue  # a time that is none, or has no zone
    if ahead:
        yield _finding(NOTE, "clock_tablets", number=ahead)
    else:
        yield _finding(GOOD, "clock", now=now.isoformat(timespec="minutes"))


def backups(opened: Ledger) -> Iterator[Finding]:
    """How old the last backup is."""
    with opened.database.reading() as connection:
        at, failed = last_backup(connection)
    if failed:
        yield _finding(WRONG, "backup_failed")
    if at is None:
        yield _finding(WRONG, "backup_none")
        return
    age = opened.clock() - datetime.fromisoformat(at)
    level = WRONG if age > VERY_OLD else NOTE if age > OLD else GOOD
    yield _finding(level, "backup" if level == GOOD else "backup_old", days=age.days, at=at)


def private(config: Config, posix: bool = os.name == "posix") -> Iterator[Finding]:
    """Whether keys and ledger are readable by their owner only; only where files have such modes."""
    if not posix:
        yield _finding(NOTE, "private_unknown")
        return
    secret = [*list(key_files(config).values())[1:], config.session_key]
    open_keys = [path.name for path in secret if path.is_file() and _mode(path) & 0o077]
    if open_keys:
        yield _finding(WRONG, "keys_open", files=", ".join(open_keys), folder=config.data)
    elif config.ledger.is_file() and _mode(config.ledger) & 0o077 and _mode(config.data) & 0o077:
        yield _finding(WRONG, "ledger_open", folder=config.data)
    else:
        yield _finding(GOOD, "private")


def _mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def pictures(config: Config) -> Iterator[Finding]:
    """Whether the photographs can be reached."""
    try:
        where = config.photos
    except CabinError:
        return
    try:
        if "://" not in where and Path(where).exists():
            # A folder that is a file, or shut, is told as such.
            os.listdir(where)
        # Nothing has this name: that it is not there is the answer of a store that works.
        open_store(where).get("0" * 64)
    except (OSError, PhotoStoreAway) as error:
        yield _finding(WRONG, "photos_unreachable", folder=where, why=getattr(error, "strerror", None) or error)
    else:
        yield _finding(GOOD, "photos")


def left_over(folder: Path) -> Iterator[Finding]:
    """What a backup or restore that was cut off has left: never finished, and with keys in it."""
    path = Path(os.path.abspath(folder))
    found = [*path.glob(f"*{PART}"), *path.parent.glob(f".{path.name}.restoring-*")]
    if found:
        yield _finding(NOTE, "left_over", files=", ".join(sorted(one.name for one in found)[:10]))


def _finding(level: str, name: str, **fields: object) -> Finding:
    return Finding(level, f"doctor.{name}", fields)
