"""`bonedocket carry`: a notebook's folder to a carry-file for the cabin, and the cabin's answer into the folder.

Also the way to rescue a tablet that is broken: copy its notebook's folder off, and send from the copy; `--recover` if
its journal is damaged. Nothing is recorded in the copy, so that it does not fork. Not here: the files (sync.carry).
"""

from __future__ import annotations

import argparse
import uuid
from datetime import UTC, datetime
from pathlib import Path

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from fieldapp.commands.source import JOURNAL
from fieldapp.store.errors import JournalDamaged, StoreError
from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry, carry_answer
from fieldapp.sync.errors import SyncError

HELP = "send a tablet's notebook to the cabin by a file on a stick, and load the answer"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("data", type=Path, metavar="DIR", help="a tablet's notebook folder, or a copy of it")
    way = parser.add_mutually_exclusive_group(required=True)
    way.add_argument("--out", type=Path, metavar="FILE", help="write the carry-file for the cabin")
    way.add_argument("--load", type=Path, metavar="FILE", help="load the cabin's answer")
    parser.add_argument("--everything", action="store_true", help="write all that is kept, not only what was not sent")
    parser.add_argument("--no-photos", action="store_true", help="leave the photographs out")
    parser.add_argument("--recover", action="store_true", help="if the journal is damaged, keep every whole line of it")


def run(args: argparse.Namespace) -> int:
    """Writes or loads. 1 if the notebook turns out to be a copy. Raises CommandError."""
    if not (args.data / JOURNAL).is_file():
        # Opening would begin a new notebook there.
        raise CommandError(texts()["carry.cli.no_notebook"].format(folder=args.data))
    try:
        with _open(args) as notebook:
            return _load(notebook, args.load) if args.load else _write(notebook, args)
    except (SyncError, StoreError, OSError) as error:
        raise CommandError(str(error)) from error


def _open(args: argparse.Namespace) -> Notebook:
    def now() -> datetime:
        return datetime.now(UTC).astimezone()

    try:
        return Notebook.open(args.data, now, _id)
    except JournalDamaged:
        if not args.recover:
            raise
    Notebook.recover(args.data, _id)
    _say("recovered")
    return Notebook.open(args.data, now, _id)


def _write(notebook: Notebook, args: argparse.Namespace) -> int:
    found = carry.pack(notebook, args.out, everything=args.everything, photos=not args.no_photos)
    _say("written", file=found.path, n=found.changes)
    if found.everything:
        _say("everything")
    if found.photos:
        _say("photos", n=found.photos)
    if not found.known:
        _say("code", code=found.code)
    _say("next")
    return 0


def _load(notebook: Notebook, path: Path) -> int:
    report = carry_answer.load(notebook, path)
    _say("loaded", sent=report.sent, known=report.known, received=report.received)
    for words in report.notices:
        print(words)
    if report.forks:
        _say("forks")
    return int(report.forks)


def _say(key: str, **fields: object) -> None:
    print(texts()[f"carry.cli.{key}"].format(**fields))


def _id() -> str:
    return str(uuid.uuid4())
