"""`bonedocket sheet`: everything that is printed, as PDF, from a tablet's notebook or a cabin's ledger.

Full sheets by default; compact ones, labels, blanks, hold logs and a trench's summary if they are asked for.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import sys
import time
import uuid
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.commands.source import JOURNAL, Folder, read_folder
from fieldapp.domain.ids import context_number
from fieldapp.durable import write_whole
from fieldapp.records.fold import Record
from fieldapp.records.standing import authority
from fieldapp.sheets.blank import known_of, render_blank
from fieldapp.sheets.compact import render_compact
from fieldapp.sheets.context_sheet import Pictures, render, render_all
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.hold_log import render_hold
from fieldapp.sheets.labels import SIZES, box_tags, render_labels, spare_tag, tags_of
from fieldapp.sheets.photo_box import printed
from fieldapp.sheets.plate_drawing import bundled_plates
from fieldapp.sheets.selecting import Placed, in_trench, of_context
from fieldapp.sheets.trench import render_summary, summary_of
from fieldapp.sheets.words import Words
from fieldapp.store.errors import StoreError
from fieldapp.store.notebook import Notebook

HELP = "print context bone sheets, labels, blanks and summaries (PDF, A4)"
Gather = Callable[[Record], ContextSheet]
Pictured = Callable[[ContextSheet], Pictures | None]
MOST_SPARE = 500
TELL = 1.0
"""Seconds between two lines that say how far it is."""


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("data", type=Path, metavar="DIR", help="a notebook's or a cabin's folder")
    parser.add_argument("--context", metavar="NUMBER", help="the context to print (default: every context)")
    parser.add_argument(
        "--trench", metavar="T", help='the contexts of a trench ("" for those without), and its summary'
    )
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--compact", action="store_true", help="a line a fragment, instead of full sheets")
    kind.add_argument("--together", action="store_true", help="all sheets in one file with bookmarks")
    kind.add_argument(
        "--labels",
        nargs="?",
        const=next(iter(SIZES)),
        choices=SIZES,
        metavar="SIZE",
        help=f"labels of bags and boxes instead; so many on a page: {', '.join(SIZES)}",
    )
    kind.add_argument(
        "--spare",
        type=int,
        metavar="N",
        help="N labels with new numbers of a tablet's notebook instead, for work on paper; none is ever given again",
    )
    kind.add_argument("--blank", type=int, metavar="N", help="an empty sheet with room for N fragments instead")
    kind.add_argument("--holds", action="store_true", help="hold logs instead, one for each docket on hold")
    parser.add_argument(
        "--words", action="store_true", help="with the free words of hold logs, which may name the place"
    )
    parser.add_argument(
        "--photos", type=Path, metavar="DIR", help="print photographs too, from a folder of them; never closed ones"
    )
    parser.add_argument("--grey", action="store_true", help="print photographs in grey")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the PDFs, made if missing")


def run(args: argparse.Namespace) -> int:
    """Writes PDFs and prints their names."""
    if args.blank is not None and args.blank < 1:
        raise CommandError("an empty sheet needs room for one fragment at least: --blank 1")
    if args.spare is not None:
        return _spare(args)
    if args.photos is not None and not args.photos.is_dir():
        raise CommandError(f"there is no folder {args.photos}")
    folder = read_folder(args.data)
    contexts = _wanted(args, folder)
    gather = _gatherer(folder)
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        if args.blank is not None:
            return _blank(folder, contexts, args)
        if args.holds:
            return _hold_logs(contexts, _gatherer(folder, hold_words=args.words), args.out)
        if args.labels:
            return _labels(contexts, gather, args)
        pictures = _pictures(args.photos, args.grey)
        if args.together:
            _together(folder, contexts, gather, pictures, args)
        else:
            _one_by_one(contexts, gather, pictures, args)
        if args.trench is not None:
            summary = summary_of(_told(contexts, gather), assets.knowledge())
            name = args.trench or assets.texts()["sheets.trench.unset"]
            data = render_summary(summary, name, assets.texts(), datetime.now(UTC))
            _write(args.out / f"summary-{_file_name(args.trench) or 'none'}.pdf", data)
    except OSError as error:
        raise CommandError(f"a sheet could not be written, those named above were: {error}") from error
    return 0


def _wanted(args: argparse.Namespace, folder: Folder) -> list[Record]:
    """The contexts to print. Raises CommandError if there are none; an empty sheet needs none."""
    contexts = in_trench(folder.records("context"), args.trench)
    if args.context is not None:
        contexts = [one for one in contexts if context_number(_number(one)) == context_number(args.context)]
    if not contexts and (args.blank is None or args.context is not None):
        wanted = f"no context {args.context}" if args.context is not None else "no context"
        where = f"trench {args.trench} of the {folder.name}" if args.trench else folder.name
        raise CommandError(f"there is {wanted} {'without a trench ' if args.trench == '' else ''}in the {where}")
    return contexts


def _one_by_one(contexts: list[Record], gather: Gather, pictures: Pictured, args: argparse.Namespace) -> None:
    plates, written = bundled_plates(), set[str]()
    for context in contexts:
        name = _file_name(_number(context)) or context.id
        # Two contexts may claim one number: neither sheet writes over the other.
        name, plain = (f"{name}-{context.id}" if name in written else name), name
        written.add(plain)
        sheet, texts, now = gather(context), assets.texts(), datetime.now(UTC)
        if args.compact:
            _write(args.out / f"{name}-compact.pdf", render_compact(sheet, texts, now))
        else:
            _write(args.out / f"{name}.pdf", render(sheet, plates, texts, now, pictures(sheet)))


def _together(
    folder: Folder, contexts: list[Record], gather: Gather, pictures: Pictured, args: argparse.Namespace
) -> None:
    texts, sheets = assets.texts(), _told(contexts, gather)
    site = folder.site()
    title = str(site.value("code") or "") if site is not None else ""
    data = render_all(sheets, bundled_plates(), texts, datetime.now(UTC), title=title, pictures=pictures)
    name = "sheets" if args.trench is None else f"sheets-{_file_name(args.trench) or 'none'}"
    _write(args.out / f"{name}.pdf", data)


def _told(contexts: list[Record], gather: Gather) -> Iterator[ContextSheet]:
    """The sheets one by one; how far it is is said while it takes long."""
    said = time.monotonic()
    for n, context in enumerate(contexts):
        if time.monotonic() - said > TELL:
            said = time.monotonic()
            print(assets.texts()["sheets.progress"].format(n=n, of=len(contexts)), file=sys.stderr, flush=True)
        yield gather(context)


def _labels(contexts: list[Record], gather: Gather, args: argparse.Namespace) -> int:
    """Writes a file with the labels of the bags, and one with those of the boxes that they lie in."""
    words, size = Words(assets.texts()), SIZES[args.labels]
    sheets = [*_told(contexts, gather)]
    code = sheets[0].site_code
    bags = [tag for sheet in sheets for tag in tags_of(sheet, words)]
    inside = [
        (bag.box, sheet.number)
        for sheet in sheets
        for bag in sheet.bags
        if isinstance(bag.box, str) and bag.box and not bag.deleted
    ]
    for name, tags in (("labels-bags", bags), ("labels-boxes", box_tags(code, inside, words))):
        if tags:
            data = render_labels(tags, size, assets.texts(), datetime.now(UTC), title=code)
            _write(args.out / f"{name}.pdf", data)
    if not bags:
        print(assets.texts()["sheets.labels.none"])
    return 0


def _spare(args: argparse.Namespace) -> int:
    """Takes new numbers from a notebook, which never gives them again, and writes labels with room for a context."""
    if not 1 <= args.spare <= MOST_SPARE:
        raise CommandError(f"so many labels are not taken at once: --spare 1 to {MOST_SPARE}")
    if not (args.data / JOURNAL).is_file():
        raise CommandError(f"{args.data} is no tablet's notebook: only a tablet hands out numbers")
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        with Notebook.open(args.data, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())) as notebook:
            labels = [str(notebook.next_label()) for _ in range(args.spare)]
        tags = [spare_tag(one, Words(assets.texts())) for one in labels]
        size = next(iter(SIZES.values()))
        title = f"{labels[0]} – {labels[-1]}"  # noqa: RUF001
        data = render_labels(tags, size, assets.texts(), datetime.now(UTC), title=title)
        first, last = (_file_name(one.partition(" ")[2]) for one in (labels[0], labels[-1]))
        _write(args.out / f"labels-spare-{first}-{last}.pdf", data)
    except (StoreError, OSError) as error:
        raise CommandError(str(error)) from error
    return 0


def _blank(folder: Folder, contexts: list[Record], args: argparse.Namespace) -> int:
    number = _number(contexts[0]) if args.context is not None else ""
    data = render_blank(
        folder.site(),
        args.blank,
        bundled_plates(),
        assets.texts(),
        datetime.now(UTC),
        source=folder.name,
        number=number,
        known=known_of(contexts[0] if args.context is not None else None),
    )
    _write(args.out / f"blank{'-' if number else ''}{_file_name(number)}.pdf", data)
    return 0


def _pictures(where: Path | None, grey: bool) -> Pictured:
    """What gives the pictures of a sheet out of a folder, where any lie below it by their SHA-256."""
    if where is None:
        return lambda _: None
    named = (one for one in where.rglob("*") if re.fullmatch(r"[0-9a-f]{64}", one.stem))
    found: dict[str, list[Path]] = {}
    for one in named:
        found.setdefault(one.stem, []).append(one)

    def find(sha256: str) -> bytes | None:
        # A sealed one bears the name of what is in it, and is not that.
        for path in found.get(sha256, ()):
            data = path.read_bytes() if path.is_file() else b""
            if hashlib.sha256(data).hexdigest() == sha256:
                return data
        return None

    return lambda sheet: partial(printed, grey=grey)(sheet.photos, find)


def _write(file: Path, data: bytes) -> None:
    # Whole or not there: a file that was cut off would be found at the printer.
    write_whole(file, data)
    print(file, flush=True)


def _gatherer(folder: Folder, *, hold_words: bool = False) -> Gather:
    """Gathers what the sheets of a folder's contexts say. `hold_words`: the free words of hold logs too."""
    site, placed = folder.site(), Placed(folder.fold)
    known = assets.knowledge()
    who_may = authority(site, folder.records("person"), known.names)

    def gather(context: Record) -> ContextSheet:
        return of_context(
            context,
            placed,
            site=site,
            authority=who_may,
            knowledge=known,
            who=folder.who,
            source=folder.name,
            hold_words=hold_words,
        )

    return gather


def _hold_logs(contexts: Iterable[Record], gather: Gather, out: Path) -> int:
    """Writes a hold log for every docket on hold and prints their names."""
    written = 0
    for context in contexts:
        sheet = gather(context)
        for docket in sheet.dockets:
            if docket.hold is not None:
                file = out / f"hold-{_file_name(docket.label) or docket.id}.pdf"
                _write(file, render_hold(sheet, docket, assets.texts(), datetime.now(UTC)))
                written += 1
    if not written:
        print(assets.texts()["sheets.hold_log.no_holds"])
    return 0


def _number(context: Record) -> str:
    value = context.value("number")
    return value if isinstance(value, str) else ""


def _file_name(number: str) -> str:
    return "".join(one if one.isalnum() or one in "-_" else "_" for one in number)[:60]
