"""`bonedocket restore`: puts a backup back, whole or not at all. Not here: how (server.keeping.restoring)."""

from __future__ import annotations

import argparse
from pathlib import Path

from server.commands.keeping import (
    DATA_HELP,
    passphrase_argument,
    passphrase_of,
    pictures_of,
    say,
    showing,
    told_errors,
)
from server.config import Config
from server.keeping import archive, restoring
from server.keeping.backing_up import SETTINGS
from server.keeping.restoring import FROM_BACKUP
from server.keeping.schedule import dated
from server.ledger.place import schema_for

HELP = "put a backup back: into an empty folder, or in the place of the cabin there"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the backup")
    parser.add_argument("--data", type=Path, default=Path("cabin"), metavar="CABIN", help=DATA_HELP)
    parser.add_argument(
        "--replace", action="store_true", help="in the place of what the cabin holds now, which is backed up before"
    )
    parser.add_argument("--ledger", default="", metavar="URL", help="a PostgreSQL database for the new cabin's ledger")
    passphrase_argument(parser, "the file whose first line opens the backup")


def run(args: argparse.Namespace) -> int:
    """Puts it back. Raises CommandError: then nothing was touched, or everything is as it was."""
    config = Config(args.data)
    passphrase = None
    with told_errors(), showing() as progress:
        passphrase = passphrase_of(args)
        with archive.reading(args.file, passphrase, progress) as backup:
            if args.replace:
                code = backup.manifest.code
                before = args.data / f"before-restore-{dated(code, config.clock()).removeprefix('bonedocket-')}"
                done = restoring.replace_with(
                    backup, config, pictures=pictures_of(config, code), before=before, progress=progress
                )
            else:
                place = config.new_place(args.ledger, schema_for(backup.manifest.code))
                done = restoring.restore(
                    backup, config, place, pictures=pictures_of(config, backup.manifest.code), progress=progress
                )
    about = done.manifest
    say("restored", data=args.data, code=about.code, at=about.made_at, head=about.head)
    if done.before is not None:
        say("before", file=done.before)
    elif f"folder/{SETTINGS}" in about.parts:
        say("settings", file=args.data / (SETTINGS + FROM_BACKUP), name=SETTINGS)
    if not about.with_photos:
        say("no_photos")
    say("after")
    return 0
