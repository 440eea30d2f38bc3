"""`bonedocket verify`: is a cabin, or a backup, as it was written? Not here: the checks (server.keeping.verifying)."""

from __future__ import annotations

import argparse
from pathlib import Path

from fieldapp.cli import CommandError
from fieldapp.findings import WRONG, Finding, told
from server.commands.keeping import opened, passphrase_argument, passphrase_of, pictures_of, showing, told_errors
from server.config import Config
from server.keeping import archive
from server.keeping.errors import BackupDamaged
from server.keeping.verifying import verify, verify_backup

HELP = "look a backup or a cabin through: every byte, every link, and whether it folds into what is stored"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("file", type=Path, nargs="?", metavar="FILE", help="a backup")
    which.add_argument("--data", type=Path, metavar="CABIN", help="a cabin's folder, also while it runs")
    passphrase_argument(parser, "the file whose first line opens the backup")


def run(args: argparse.Namespace) -> int:
    """Prints what is found; 1 if anything is wrong. Raises CommandError."""
    if (args.data or args.file).is_dir() != (args.data is not None):
        raise CommandError(str(Finding(WRONG, "keeping.cli.which", {"path": args.data or args.file})))
    with told_errors(), showing() as progress:
        if args.data is not None:
            with opened(args.data) as (config, ledger):
                return told(
                    verify(config, ledger, pictures_of(config, str(ledger.site().value("code")), ledger), progress)
                )
        try:
            with archive.reading(args.file, passphrase_of(args), progress) as backup:
                return told(verify_backup(backup, Config(Path()), progress))
        except BackupDamaged as error:
            return told([Finding(WRONG, error.key, error.fields)])
