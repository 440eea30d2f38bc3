"""`bonedocket plates`: the portion plates as a PDF for people, and without a word for naming them blind."""

from __future__ import annotations

import argparse
import csv
import random
from datetime import UTC, datetime
from pathlib import Path

from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.domain.gallery import PlateRow
from fieldapp.durable import write_whole
from fieldapp.sheets.plate_pages import blind_sheet, contact_sheet

HELP = "print the portion plates (PDF, A4): all, or of one form or element"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    forms = sorted({row.form for row in assets.knowledge().gallery.rows()})
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="the PDF to write")
    parser.add_argument("--form", choices=forms, help="only plates of this form")
    parser.add_argument("--element", metavar="KEY", help="only plates of this element, such as femur")
    parser.add_argument(
        "--blind",
        type=int,
        metavar="SEED",
        help="no words, in an order drawn by this number; the answers go to FILE with .csv for .pdf",
    )


def run(args: argparse.Namespace) -> int:
    """Writes the PDF and says how many plates are on it."""
    rows = [
        row
        for row in assets.knowledge().gallery.rows()
        if args.form in (None, row.form) and args.element in (None, row.element)
    ]
    if not rows:
        raise CommandError("no plate is drawn of that; bonedocket terms --kind element lists the elements")
    try:
        if args.blind is None:
            write_whole(args.out, contact_sheet(rows, assets.texts(), datetime.now(UTC)))
        else:
            rows = _shuffled(rows, args.blind)
            plates = [assets.plate(row.form, row.element, row.view) for row in rows]
            write_whole(args.out, blind_sheet(plates, assets.texts(), datetime.now(UTC)))
            _answers(args.out.with_suffix(".csv"), rows)
    except OSError as error:
        raise CommandError(f"the plates could not be written: {error}") from error
    print(assets.texts()["sheets.plates.written"].format(n=len(rows), file=args.out))
    return 0


def _shuffled(rows: list[PlateRow], seed: int) -> list[PlateRow]:
    shuffled = list(rows)
    random.Random(seed).shuffle(shuffled)
    return shuffled


def _answers(file: Path, rows: list[PlateRow]) -> None:
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(("number", "element", "form", "view"))
        writer.writerows((number, row.element, row.form, row.view) for number, row in enumerate(rows, 1))
