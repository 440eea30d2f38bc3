"""Makes a backup: the cabin at one moment, while it runs.

The ledger's tables come out of one read transaction, so that the backup is one moment of it; what tablets bring
meanwhile is in the next. Photographs are read afterwards: whichever the tables name and the cabin had is among them.
The key of page sessions is left out: a cabin put back asks everybody to sign in again.
Not here: the file's shape (archive), when one is due (schedule).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from importlib.metadata import version
from pathlib import Path

from sqlalchemy import Connection, select

from server.config import Config
from server.errors import KeyMissing
from server.keeping import archive, rows
from server.keeping.archive import Manifest, Progress, silent
from server.keeping.pictures import Pictures
from server.ledger import Ledger, folding, meta, tables

BACKED_UP, FAILED, RESTORED = "backed_up", "backup_failed", "restored"
"""Lines of the ledger's log, by which everybody can see how old the last backup is."""

SETTINGS = "cabin.toml"
_AT_ONCE = 2**20


def back_up(
    config: Config,
    ledger: Ledger,
    to: Path,
    *,
    pictures: Pictures | None,
    passphrase: bytes | None = None,
    progress: Progress = silent,
) -> Manifest:
    """Writes the backup `to` and notes it in the log. `pictures`: None leaves photographs out.

    Raises BackupThere, KeyMissing, NoRoom; then there is no file `to`.
    """
    with archive.writing(to, passphrase, progress) as writer:
        for name, path in key_files(config).items():
            if not path.is_file():
                raise KeyMissing(file=name)
            writer.add(f"folder/{name}", [path.read_bytes()])
        if (settings := config.data / SETTINGS).is_file():
            writer.add(f"folder/{SETTINGS}", [settings.read_bytes()])
        with ledger.database.reading() as connection:
            names = meta.names(connection)
            site = folding.records_of(connection, [names.site])[0]
            for table in rows.kept():
                writer.add(f"tables/{table.name}.ndjson", rows.lines_of(connection, table), lines=True)
        if pictures is not None:
            for name in pictures.names():
                writer.add(f"photos/{name}", _pieces(pictures, name), packed=False)
        about = Manifest(
            made_at=config.clock().astimezone(UTC).isoformat(timespec="seconds"),
            program=version("bonedocket"),
            site=names.site,
            code=str(site.value("code")),
            epoch=names.epoch,
            head=names.head,
            with_photos=pictures is not None,
        )
        done = writer.finish(about)
    ledger.note(BACKED_UP, "cabin", {"file": to.name, "head": done.head})
    return done


def key_files(config: Config) -> dict[str, Path]:
    """{name in a backup: file} of the keys without which it is not this cabin; a unit's sites share the first two."""
    return {path.name: path for path in (config.certificate, config.certificate_key, config.seal_key)}


def last_backup(connection: Connection) -> tuple[str | None, bool]:
    """When all there was lay in a backup, None if never; and whether the last one that was due failed.

    A ledger that was just put back from one lies in one.
    """
    column = tables.event.c
    last = select(column.what, column.at).order_by(column.nr.desc()).limit(1)
    made = connection.execute(last.where(column.what.in_((BACKED_UP, RESTORED)))).first()
    newest = connection.execute(last.where(column.what.in_((BACKED_UP, RESTORED, FAILED)))).first()
    return None if made is None else str(made.at), newest is not None and newest.what == FAILED


def _pieces(pictures: Pictures, name: str) -> Iterator[bytes]:
    with pictures.open(name) as file:
        while piece := file.read(_AT_ONCE):
            yield piece
