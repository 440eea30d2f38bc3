"""What the commands for backups share: opening the ledger, the passphrase, progress, errors in words. No command."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from server.config import Config
from server.errors import CabinError
from server.keeping.archive import Progress
from server.keeping.locked import passphrase_in
from server.keeping.pictures import StoredPictures
from server.ledger import Ledger
from server.photos import store_of

DATA_HELP = "the cabin's folder (default: cabin)"


def say(key: str, **fields: object) -> None:
    """Prints one of the sentences."""
    print(texts()[f"keeping.cli.{key}"].format(**fields), flush=True)


def passphrase_argument(parser: argparse.ArgumentParser, words: str) -> None:
    """`--passphrase-file`: in a file, so that it stands in no list of processes and no history."""
    parser.add_argument("--passphrase-file", type=Path, metavar="FILE", help=words)


def passphrase_of(args: argparse.Namespace) -> bytes | None:
    """The passphrase that was given, if one was."""
    return passphrase_in(args.passphrase_file) if args.passphrase_file else None


def pictures_of(config: Config, code: str, ledger: Ledger | None = None) -> StoredPictures:
    """The photographs of the site with this code; without a ledger, to be added to."""
    return StoredPictures(store_of(config.photos, code), ledger)


@contextmanager
def opened(data: Path) -> Iterator[tuple[Config, Ledger]]:
    """The ledger of a cabin, which may be running."""
    config = Config(data)
    with closing(Ledger.open(config.place, clock=config.clock, new_id=config.new_id)) as ledger:
        yield config, ledger


@contextmanager
def told_errors() -> Iterator[None]:
    """Makes CommandErrors of what can go wrong."""
    try:
        yield
    except BrokenPipeError:
        raise  # whoever reads has seen enough: fieldapp.cli
    except (CabinError, OSError) as error:
        raise CommandError(str(error)) from error
    except DatabaseError as error:
        raise CommandError(texts()["keeping.ledger_unreadable"].format(why=error.orig)) from error


class _Showing:
    """Says what is being done once it takes over a second, on one line of a screen."""

    def __init__(self) -> None:
        self._last = time.monotonic()
        self.shown = 0
        self._is_screen = sys.stderr.isatty()

    def __call__(self, what: str, done: int) -> None:
        now = time.monotonic()
        if now - self._last < (1 if self._is_screen else 10 if self.shown else 1):
            return
        self._last = now
        line = texts()[f"keeping.progress.{what}"].format(done=done)
        self.shown = max(self.shown, len(line))
        end = "\r" if self._is_screen else "\n"
        print(line.ljust(self.shown), end=end, file=sys.stderr, flush=True)

    def clear(self) -> None:
        if self.shown and self._is_screen:
            print(" " * self.shown, end="\r", file=sys.stderr, flush=True)


@contextmanager
def showing() -> Iterator[Progress]:
    """Progress for the person who typed the command."""
    found = _Showing()
    try:
        yield found
    finally:
        found.clear()
