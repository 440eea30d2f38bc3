"""What `bonedocket cabin` does beside serving: its log, its backups. Arguments first, then `cabin.toml`. No command."""

from __future__ import annotations

import argparse
from pathlib import Path

from server import logs
from server.cabin import Cabin
from server.keeping import schedule
from server.keeping.locked import passphrase_in
from server.settings import Settings


def arguments(parser: argparse.ArgumentParser) -> None:
    """Adds them to `bonedocket cabin`."""
    parser.add_argument("--log", metavar="FILE", help='lines of JSON, without anything personal; "-" for the screen')
    parser.add_argument("--backup-to", type=Path, metavar="DIR", help="make backups there while the cabin runs")
    parser.add_argument("--every", type=_hours, metavar="HOURS", help=f"how often (default: {schedule.HOURS:g})")
    parser.add_argument("--keep", type=int, metavar="N", help=f"how many of them stay (default: {schedule.KEEP})")


def begin_log(args: argparse.Namespace, settings: Settings) -> None:
    """Begins the log, if one is asked for."""
    if to := args.log or settings.log_to:
        logs.begin(to)


def begin_workers_log(to: str | None, number: int) -> None:
    """Begins the log of one of several processes: a file of its own, since none may turn another's over."""
    if to == "-":
        logs.begin(to)
    elif to:
        path = Path(to)
        logs.begin(str(path.with_name(f"{path.stem}.{number}{path.suffix}")))


def begin_backups(args: argparse.Namespace, settings: Settings, cabin: Cabin) -> None:
    """Begins the backups, if they are asked for. Raises NoPassphrase, OSError: told now, not in the night."""
    if (to := args.backup_to or settings.backup_to) is None:
        return
    file = settings.passphrase_file
    passphrase = None if file is None else passphrase_in(file)
    cabin.back_up_to(
        to,
        every=args.every or settings.backup_every or schedule.HOURS,
        keep=args.keep or settings.backup_keep or schedule.KEEP,
        passphrase=passphrase,
    )


def _hours(text: str) -> float:
    try:
        found = float(text)
    except ValueError:
        found = 0
    if not 0 < found < 24 * 366:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of hours")
    return found
