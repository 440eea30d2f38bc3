"""Puts a backup back, whole or not at all; then a new epoch begins and tablets send everything again.

    restore   into an empty folder, which becomes a cabin: made beside it and given its name when all of it is there
    replace   into a cabin, also while it runs: photographs are added, then one transaction takes out everything that
              was there and puts in what the backup has. A backup of what was there is made before.

Nothing is touched before every byte of the backup is known to be right, and that it is this site's. What tablets
hold comes back from them; what only the desk wrote after the backup is in the backup made before.
Not here: the file's shape (archive).
"""

from __future__ import annotations

import os
import shutil
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Connection, delete
from sqlalchemy.exc import DatabaseError, IntegrityError

from fieldapp.durable import sync_folder
from server import keys
from server.config import Config
from server.errors import LedgerIsNewer, LedgerMissing
from server.keeping import rows
from server.keeping.archive import Manifest, Progress, Reader, silent
from server.keeping.backing_up import RESTORED, SETTINGS, back_up, key_files
from server.keeping.errors import (
    BackupDamaged,
    BackupError,
    BackupIsNewer,
    FolderNotEmpty,
    LedgerUnreadable,
    NoRoom,
    NothingToReplace,
    OtherCabin,
    OtherSite,
    is_full,
)
from server.keeping.pictures import PictureFolder, Pictures, is_name
from server.ledger import Ledger, meta, opening, tables
from server.ledger.opening import FORMAT
from server.ledger.place import Place

FROM_BACKUP = ".from-backup"
"""Ends the name of the settings that came with a backup: they may name another machine's places."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back. `before`: the backup of what was there, if there was anything."""

    manifest: Manifest
    before: Path | None = None


def restore(
    backup: Reader,
    config: Config,
    place: tuple[Place, str] | None = None,
    *,
    pictures: Pictures | None = None,
    progress: Progress = silent,
) -> Restored:
    """Makes a cabin of the backup in `config.data`, which is empty or not there. Raises FolderNotEmpty, NoRoom.

    place     where the ledger goes and what `cabin.toml` says of it (Config.new_place); else the file in the folder
    pictures  where they go; else the folder `photos` in it
    """
    if config.data.exists() and (not config.data.is_dir() or any(config.data.iterdir())):
        raise FolderNotEmpty(folder=config.data)
    target = Path(os.path.abspath(config.data))
    target.parent.mkdir(parents=True, exist_ok=True)
    # Begins with a dot: a unit takes folders without one for sites.
    beside = Path(tempfile.mkdtemp(prefix=f".{target.name}.restoring-", dir=target.parent))
    try:
        _fill_folder(backup, replace(config, data=beside), place, pictures, progress)
        if target.exists():
            target.rmdir()
        os.rename(beside, target)
        sync_folder(target.parent)
    except DatabaseError as error:
        raise _unwritable(error, target.parent) from error
    except OSError as error:
        if is_full(error):
            raise NoRoom(folder=target.parent) from error
        raise
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return Restored(backup.manifest)


def _fill_folder(
    backup: Reader, config: Config, where: tuple[Place, str] | None, pictures: Pictures | None, progress: Progress
) -> None:
    for name in _missing_keys(backup, config):
        keys.write_secret(key_files(config)[name], b"".join(backup.pieces(f"folder/{name}")))
    if f"folder/{SETTINGS}" in backup.manifest.parts:
        keys.write_secret(config.data / (SETTINGS + FROM_BACKUP), b"".join(backup.pieces(f"folder/{SETTINGS}")))
    _add_pictures(backup, pictures or PictureFolder(config.data), progress)
    place, settings = where or (Place(path=config.ledger), "")
    if place.path is not None:
        place = Place(path=config.data / place.path.name)
    ledger = Ledger(opening.new(place), config.clock, config.new_id)
    with opening.filling(ledger.database) as connection:
        _put(backup, ledger, connection, progress)
    ledger.close()
    config.write_settings(settings)
    (config.ledger.with_name(config.ledger.name + ".lock")).unlink(missing_ok=True)
    sync_folder(config.data)


def replace_with(
    backup: Reader, config: Config, *, pictures: Pictures, before: Path, progress: Progress = silent
) -> Restored:
    """Puts the backup in the place of the cabin in `config.data`. `before`: where to keep what is there.

    Raises NothingToReplace, OtherSite, OtherCabin, LedgerUnreadable, NoRoom: then nothing was replaced.
    """
    try:
        ledger = Ledger.open(config.place, clock=config.clock, new_id=config.new_id)
    except LedgerMissing as error:
        raise NothingToReplace(folder=config.data) from error
    except DatabaseError as error:
        raise _unwritable(error, config.data) from error
    except (LookupError, ValueError) as error:
        raise LedgerUnreadable(why=error) from error
    try:
        if ledger.names().site != backup.manifest.site:
            raise OtherSite(code=backup.manifest.code)
        missing = _missing_keys(backup, config)
        # A key that was lost is put back; none is ever replaced.
        for name in missing:
            keys.write_secret(key_files(config)[name], b"".join(backup.pieces(f"folder/{name}")))
        # Photographs are named by what they hold: adding them takes nothing away, and none is ever replaced.
        back_up(config, ledger, before, pictures=None, progress=progress)
        _add_pictures(backup, pictures, progress)
        with ledger.database.writing() as connection:
            _put(backup, ledger, connection, progress)
    except DatabaseError as error:
        raise _unwritable(error, config.data) from error
    finally:
        ledger.close()
    return Restored(backup.manifest, before)


def _unwritable(error: DatabaseError, folder: Path) -> BackupError:
    """In the database's own words; SQLite has its own for a full disk."""
    why = str(error.orig)
    return NoRoom(folder=folder) if "is full" in why or "No space left" in why else LedgerUnreadable(why=why)


def _missing_keys(backup: Reader, config: Config) -> list[str]:
    """The key files that are missing here. Raises OtherCabin if one is another than the backup's."""
    missing = []
    for name, path in key_files(config).items():
        if f"folder/{name}" not in backup.manifest.parts:
            raise BackupDamaged(why=f"folder/{name}")
        if not path.is_file():
            missing.append(name)
        elif path.read_bytes() != b"".join(backup.pieces(f"folder/{name}")):
            raise OtherCabin(file=name)
    return missing


def _add_pictures(backup: Reader, pictures: Pictures, progress: Progress) -> None:
    for number, name in enumerate(backup.names("photos"), 1):
        # A name decides where bytes are written: nothing but a photograph's is taken from a file.
        if not is_name(name):
            raise BackupDamaged(why=f"photos/{name}")
        pictures.add(name, backup.pieces(f"photos/{name}"))
        progress("photos", number)


def _put(backup: Reader, ledger: Ledger, connection: Connection, progress: Progress) -> None:
    """In one transaction: out with what is there, in with the backup, everything worked out anew, a new epoch."""
    known = {table.name: table for table in rows.kept()}
    found = [name.removesuffix(".ndjson") for name in backup.names("tables")]
    if strangers := set(found) - set(known):
        raise BackupIsNewer(theirs=", ".join(sorted(strangers)), own="")
    for table in reversed(tables.metadata.sorted_tables):
        connection.execute(delete(table))
    try:
        for name in sorted(found, key=list(known).index):
            rows.fill(connection, known[name], backup.lines(f"tables/{name}.ndjson"))
            progress("rows", backup.manifest.parts[f"tables/{name}.ndjson"].rows or 0)
    except IntegrityError as error:
        raise BackupDamaged(why="tables") from error
    _check(connection, backup.manifest)
    rows.count_on(connection)
    ledger.rebuild_in(connection, lambda done: progress("folded", done))
    about = {"made_at": backup.manifest.made_at, "head": backup.manifest.head}
    ledger.note_in(connection, RESTORED, "cabin", about)
    ledger.renew_in(connection, "cabin.epoch.restored")


def _check(connection: Connection, manifest: Manifest) -> None:
    theirs, own = meta.format_of(connection), FORMAT
    if theirs > own:
        raise LedgerIsNewer(file=tables.meta.name, theirs=theirs, own=own)
    names = meta.names(connection)
    if (names.site, names.epoch, names.head) != (manifest.site, manifest.epoch, manifest.head):
        raise BackupDamaged(why="tables/meta")
