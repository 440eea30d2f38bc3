"""`bonedocket sheet`: context bone sheets as PDF, from a tablet's notebook or a cabin's ledger."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.commands.source import Folder, read_folder
from fieldapp.domain.ids import context_number
from fieldapp.records.fold import Record
from fieldapp.records.standing import authority
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.hold_log import render_hold
from fieldapp.sheets.plate_drawing import PlateBook, bundled_plates
from fieldapp.sheets.selecting import of_context

HELP = "print context bone sheets (PDF, A4)"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("data", type=Path, metavar="DIR", help="a notebook's or a cabin's folder")
    parser.add_argument("--context", metavar="NUMBER", help="the context to print (default: every context)")
    parser.add_argument("--holds", action="store_true", help="print hold logs instead, one for each docket on hold")
    parser.add_argument(
        "--words", action="store_true", help="with the free words of hold logs, which may name the place"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the PDFs, made if missing")


def run(args: argparse.Namespace) -> int:
    """Writes a PDF a context and prints their names."""
    folder = read_folder(args.data)
    contexts = sorted(folder.records("context"), key=lambda one: (_number(one), one.id))
    if args.context is not None:
        contexts = [one for one in contexts if context_number(_number(one)) == context_number(args.context)]
    if not contexts:
        wanted = f"no context {args.context}" if args.context is not None else "no context"
        raise CommandError(f"there is {wanted} in the {folder.name}")
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        if args.holds:
            return _hold_logs(folder, contexts, args.out, args.words)
        plates, written = bundled_plates(), set[str]()
        for context in contexts:
            name = _file_name(_number(context)) or context.id
            # Two contexts may claim one number: neither sheet writes over the other.
            file = args.out / (f"{name}.pdf" if name not in written else f"{name}-{context.id}.pdf")
            written.add(name)
            file.write_bytes(sheet_of(folder, context, plates))
            print(file)
    except OSError as error:
        raise CommandError(f"a sheet could not be written, those named above were: {error}") from error
    return 0


def sheet_of(folder: Folder, context: Record, plates: PlateBook) -> bytes:
    """The sheet of one context of a folder, as the bytes of a PDF."""
    return render(gathered(folder, context), plates, assets.texts(), datetime.now(UTC))


def gathered(folder: Folder, context: Record, *, hold_words: bool = False) -> ContextSheet:
    """All that the sheet of one context of a folder says. `hold_words`: the free words of hold logs too."""
    site = folder.site()
    return of_context(
        context,
        folder.fold,
        site=site,
        authority=authority(site, folder.records("person"), assets.knowledge().names),
        knowledge=assets.knowledge(),
        who=folder.who,
        source=folder.name,
        hold_words=hold_words,
    )


def _hold_logs(folder: Folder, contexts: list[Record], out: Path, with_words: bool) -> int:
    """Writes a hold log for every docket on hold and prints their names."""
    written = 0
    for context in contexts:
        sheet = gathered(folder, context, hold_words=with_words)
        for docket in sheet.dockets:
            if docket.hold is not None:
                file = out / f"hold-{_file_name(docket.label) or docket.id}.pdf"
                file.write_bytes(render_hold(sheet, docket, assets.texts(), datetime.now(UTC)))
                print(file)
                written += 1
    if not written:
        print(assets.texts()["sheets.hold_log.no_holds"])
    return 0


def _number(context: Record) -> str:
    value = context.value("number")
    return value if isinstance(value, str) else ""


def _file_name(number: str) -> str:
    return "".join(one if one.isalnum() or one in "-_" else "_" for one in number)[:60]
