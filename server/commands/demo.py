"""`bonedocket demo`: the whole path on one machine, with an invented site."""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from fieldapp.cli import CommandError

if TYPE_CHECKING:
    from server.demo.running import Stage

HELP = "play the invented site from the trench to the printed sheet: two tablets, a cabin, a review"

_MARK = ".bonedocket-demo"
"""Lies in a folder that a demonstration made, so that the next one may clear it and no other folder."""


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("--headless", action="store_true", help="need no display, open nothing, end when all is done")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for what comes out (default: a new one)")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON and nothing else")
    parser.add_argument("--pace", type=float, default=None, metavar="S", help="seconds after each tap, to watch")


def run(args: argparse.Namespace) -> int:
    """Plays, sums up, and with a display leaves the app and the cabin open. Raises CommandError."""
    # Here, so that `--help` needs neither a database nor a screen.
    from server.demo import running
    from server.demo.screen import has_display, virtual_screen

    out = _folder(args.out)
    headless = args.headless or not has_display()

    def tell(words: str) -> None:
        if not args.json:
            print(f"… {words}", flush=True)

    if headless and not args.headless:
        tell("there is no display here: going on without one")
    own_screen: AbstractContextManager[dict[str, str]] = virtual_screen(1280, 800) if headless else nullcontext({})
    with own_screen as screen:
        pace = args.pace if args.pace is not None else (0.0 if headless else 0.25)
        stage = running.Stage(out, screen, tell, pace)
        summary = running.run(stage)
    print(json.dumps(summary, indent=1, ensure_ascii=False))
    if args.json:
        return 0
    print(f"\nScreens, pages, sheets and summary.json are in {out}")
    if not headless:
        _leave_open(stage)
    return 0


def _leave_open(stage: Stage) -> None:
    from server.demo.running import running_cabin

    with running_cabin(stage):
        print(f"\nThe review pages: {stage.address}/review/  (the cabin's own certificate: the browser will ask)")
        for login in stage.logins:
            print(f"    {login.name:10} {login.role:18} password {login.password}")
        print("The tablet is open in a window of its own. Closing it ends the demonstration.")
        subprocess.run([sys.executable, "-m", "fieldapp", "tablet", "--data", str(stage.out / "tablet-A")], check=False)


def _folder(wanted: Path | None) -> Path:
    """An empty folder: a new one, or `wanted` cleared of an earlier demonstration."""
    if wanted is None:
        return Path(tempfile.mkdtemp(prefix="bonedocket-demo-"))
    if wanted.exists() and any(wanted.iterdir()):
        if not (wanted / _MARK).exists():
            raise CommandError(f"{wanted} is not empty and no earlier demonstration's; name another folder")
        shutil.rmtree(wanted)
    wanted.mkdir(parents=True, exist_ok=True)
    (wanted / _MARK).touch()
    return wanted
