"""`bonedocket backup`: the whole cabin in one file, while it runs. Not here: what is in it (server.keeping)."""

from __future__ import annotations

import argparse
from pathlib import Path

from server.commands.keeping import (
    DATA_HELP,
    opened,
    passphrase_argument,
    passphrase_of,
    pictures_of,
    say,
    showing,
    told_errors,
)
from server.keeping.backing_up import back_up

HELP = "write the whole cabin into one file, also while it runs"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file, best on another disk; never written over")
    parser.add_argument("--data", type=Path, default=Path("cabin"), metavar="CABIN", help=DATA_HELP)
    parser.add_argument("--without-photos", action="store_true", help="leave the photographs out")
    passphrase_argument(parser, "lock it with the first line of this file; without it nobody opens it, you included")


def run(args: argparse.Namespace) -> int:
    """Writes it. Raises CommandError."""
    with told_errors(), showing() as progress, opened(args.data) as (config, ledger):
        passphrase = passphrase_of(args)
        pictures = None if args.without_photos else pictures_of(config, str(ledger.site().value("code")), ledger)
        done = back_up(config, ledger, args.file, pictures=pictures, passphrase=passphrase, progress=progress)
    photos = sum(name.startswith("photos/") for name in done.parts)
    say("backed_up", file=args.file, code=done.code, at=done.made_at, head=done.head, photos=photos)
    say("locked" if passphrase else "secret", file=args.file)
    if args.without_photos:
        say("no_photos")
    return 0
