"""`bonedocket report`: the draft of an assessment report, as PDF, as a document to be edited, or with all its files.

Not for: what is in it (server.analysis.report).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from server.analysis.asking import Asked
from server.analysis.gathering import Assemblage
from server.analysis.report import contents
from server.analysis.report.making import FORMS, written
from server.analysis.wording import Wording
from server.commands.analysis import new_file, say, selection_arguments, selection_of
from server.commands.keeping import opened, told_errors

EVERY_S = 1.0
"""So often it is said how far it is."""
HELP = "the draft of an assessment report: tables, charts, methods, sources"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    selection_arguments(parser)
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file: .pdf, .docx or .zip (everything)")


def run(args: argparse.Namespace) -> int:
    """Writes the report. Raises CommandError."""
    form = args.file.suffix.removeprefix(".").casefold()
    if form not in FORMS:
        raise CommandError(say("report.form", file=args.file))
    if args.file.exists():
        raise CommandError(say("exists", file=args.file))
    with told_errors(), opened(args.data) as (_, ledger):
        gathered = Assemblage(ledger).now()
        asked = Asked(gathered, selection_of(args, gathered.knowledge))
        wording = Wording(texts(), gathered.numbers)
        told = _Telling()
        report = contents.made(asked, wording, told, whole=form == "zip")
        source = say("report.source", data=args.data)
        new_file(
            args.file, written(report, wording, form, ledger.clock(), source=source, data=str(args.data), told=told)
        )
    tables = sum(len(part.entries) for part in report.parts)
    print(say("report.done", file=args.file, tables=tables, sources=len(report.sources)))
    return 0


class _Telling:
    """Says what is being worked out or written, once it takes over a second."""

    def __init__(self) -> None:
        self._last = time.monotonic()

    def __call__(self, state: str, what: str, done: int, of: int) -> None:
        now = time.monotonic()
        if now - self._last >= EVERY_S:
            self._last = now
            print(say(f"report.{state}", what=what, done=done, of=of), file=sys.stderr, flush=True)
