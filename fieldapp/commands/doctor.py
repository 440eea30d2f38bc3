"""`bonedocket doctor`: what is wrong with this machine and a folder on it, and what to do, in plain words.

Who knows a kind of folder is found by the entry points `bonedocket.doctor`, each a module with `fits(folder)` and
`examine(folder, port)`, so that a tablet's install need not know the cabin. Alters nothing.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import entry_points
from pathlib import Path

from fieldapp.doctor import machine
from fieldapp.findings import NOTE, WRONG, Finding, told

HELP = "say what is wrong with this machine or a folder, and what to do"
GROUP = "bonedocket.doctor"
PORT = 8443


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument(
        "--data", type=Path, metavar="DIR", help="a cabin's or a tablet's folder (default: cabin, if there is one)"
    )
    parser.add_argument("--port", type=int, default=PORT, help=f"where the cabin listens (default: {PORT})")


def run(args: argparse.Namespace) -> int:
    """Prints what is found; 1 if anything is wrong."""
    folder = args.data or (Path("cabin") if Path("cabin").is_dir() else None)
    return told(_all(folder, args.port))


def _all(folder: Path | None, port: int) -> Iterator[Finding]:
    yield from machine.python()
    yield from machine.packages()
    yield from machine.shipped()
    yield from machine.zone(datetime.now(UTC).astimezone())
    if folder is None:
        return
    if not folder.is_dir():
        yield Finding(WRONG, "doctor.no_folder", {"folder": folder})
        return
    found = False
    for entry in sorted(entry_points(group=GROUP), key=lambda one: one.name):
        try:
            examiner = entry.load()
        except ModuleNotFoundError as error:
            # The cabin's packages are an extra. A module of ours that is missing is a broken install.
            if error.name is None or error.name.partition(".")[0] in ("fieldapp", "server"):
                raise
            yield Finding(NOTE, "doctor.extra_missing", {"name": entry.name, "package": error.name})
            continue
        if examiner.fits(folder):
            found = True
            yield from examiner.examine(folder, port)
    if not found:
        yield Finding(WRONG, "doctor.nothing_there", {"folder": folder})
