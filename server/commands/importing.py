"""`bonedocket import`: somebody else's table of bones into the cabin's ledger, by a map; or a draft of such a map.

Asks, shows and reports. Not here: what a map may say, how rows are read and written (server.exchange).
"""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldapp.assets import knowledge, texts
from fieldapp.cli import CommandError
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.checking import values_of
from server.commands.keeping import DATA_HELP, opened, showing, told_errors
from server.exchange import drafting, maps, slots, tables
from server.exchange.loading import Loaded, Loader, brought
from server.exchange.mapping import Mapper
from server.exchange.maps import Map, MapWrong
from server.exchange.report import NotOurs, Report, Sums
from server.exchange.tables import Table, TableWrong
from server.ledger import Ledger, events

HELP = "reads somebody else's table of bones (CSV) into the cabin, by a map of its columns and words"
SHIPPED = Path(maps.__file__).with_name("maps")
"""Worked maps of two published tables."""
TOLD = 12
"""So many sorts of what was missed are told on the screen, with so many words of each:"""
IMPORTS = 10_000
"""Lines of the log that are asked for files that were read before."""
WORDS = 5


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    # What a map may say is long, and wanted where there is no source at hand.
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = "\n".join(str(one.__doc__).partition("\nNot here")[0] for one in (maps, slots))
    parser.add_argument("file", type=Path, metavar="FILE.csv", help="the table, as text (CSV)")
    way = parser.add_mutually_exclusive_group(required=True)
    way.add_argument("--map", type=Path, metavar="MAP.toml", help=f"what it means; shipped: {', '.join(shipped())}")
    way.add_argument("--draft", type=Path, metavar="MAP.toml", help="write a first draft of such a map")
    parser.add_argument("--data", type=Path, default=Path("cabin"), metavar="DIR", help=DATA_HELP)
    parser.add_argument("--dry-run", action="store_true", help="read everything and say what would be, write nothing")
    parser.add_argument(
        "--again",
        action="store_true",
        help="read rows that are here anew, by a mended map; not what somebody has altered",
    )
    parser.add_argument(
        "--more",
        action="store_true",
        help="the file holds other bones of data from which a file has been read before under the map's name",
    )
    parser.add_argument("--report", type=Path, metavar="REPORT.csv", help="what was not understood, as a table")
    parser.add_argument("--encoding", help="for --draft: the letters it is in (default: found out)")
    parser.add_argument("--delimiter", help="for --draft: what stands between cells (default: found out)")


def run(args: argparse.Namespace) -> int:
    """Reads the table, or drafts a map. 1 if something was not understood. Raises CommandError."""
    with told_errors(), _told():
        return _draft(args) if args.draft is not None else _read(args)


def shipped() -> list[str]:
    """The names of the maps that come with the program."""
    return sorted(one.stem for one in SHIPPED.glob("*.toml"))


# A draft


def _draft(args: argparse.Namespace) -> int:
    for name, allowed in (("encoding", tables.is_encoding), ("delimiter", tables.is_delimiter)):
        if (given := getattr(args, name)) and not allowed(given):
            raise CommandError(_say(f"no_{name}", given=given))
    encoding = args.encoding or tables.text_encoding(args.file)
    encoding = "utf-8-sig" if encoding.lower().replace("_", "-") in ("utf-8", "utf8") else encoding
    delimiter = args.delimiter or tables.sniffed(args.file, encoding)
    table = _looked(args.file, encoding, delimiter)
    written = drafting.draft(table, args.file.stem, knowledge())
    try:
        with args.draft.open("x", encoding="utf-8") as out:
            out.write(written)
    except FileExistsError as error:
        raise CommandError(_say("draft_exists", file=args.draft)) from error
    print(_say("drafted", file=args.draft, rows=table.rows, columns=len(table.headings), table=args.file))
    return 0


# Reading


def _read(args: argparse.Namespace) -> int:
    with opened(args.data) as (_, ledger):
        # As the site has it: what this site chose changes no word of the tables, so any map fits any site.
        known = knowledge().at_site(values_of(ledger.site()))
        by = _map(args.map, known)
        table = _looked(args.file, by.encoding, by.delimiter)
        _headings(by, table, args.map)
        if not args.more and (told_so := _other_file(ledger, by, table)):
            if not args.dry_run:
                raise CommandError(told_so)
            print(told_so)
        mapper = Mapper(by, known, ledger.names().site, args.file.name, table.sha256)
        told = Report(args.report)
        try:
            return _gone_through(args, ledger, by, table, mapper, told)
        finally:
            told.close()


def _other_file(ledger: Ledger, by: Map, table: Table) -> str:
    """That another file was begun under this map's name, here or at the cabin that its dockets were brought from, and
    this one never was; "" if not. A table that was saved anew is another file, and each of its bones would stand here
    twice."""
    with ledger.database.reading() as connection:
        begun = events.newest(connection, IMPORTS, "import_begun")
        if any(one.fields["sha256"] == table.sha256 for one in begun):
            return ""
        for one in begun:
            if one.fields["name"] == by.name:
                return _say("other_file", at=one.at[:10], **one.fields)
        file = brought(connection, by.name, table.sha256)
    return _say("other_file_brought", name=by.name, label=file) if file else ""


def _gone_through(args: argparse.Namespace, ledger: Ledger, by: Map, table: Table, mapper: Mapper, told: Report) -> int:
    begun = {"name": by.name, "label": args.file.name, "n": table.rows, "sha256": table.sha256}
    loader, sums = Loader(ledger, mapper.id, by, begun, args.again), Sums()
    rows = (mapper.read(row) for row in table)
    batches = ([one] for one in rows) if args.dry_run else loader.load(rows)
    ended = False
    try:
        with showing() as progress:
            for batch in batches:
                for one in batch:
                    sums.add(one)
                    told.add(one, one.misses)
                progress("importing" if not args.dry_run else "reading_table", sums.rows)
        if not args.dry_run:
            while ledger.check_due():
                pass
        ended = True
    finally:
        if not args.dry_run and (n := loader.loaded.written + loader.loaded.altered):
            fields = {"name": by.name, "label": args.file.name, "n": n, "sha256": table.sha256}
            ledger.note("imported" if ended else "import_cut", "cabin", fields)
        if not ended:
            # What is on the disk stays, and the same command goes on from there.
            print(_say("cut", rows=sums.rows, all=table.rows))
    _say_all(args, by, table, sums, loader.loaded)
    return 1 if sums.odd_rows else 0


def _map(path: Path, known: Knowledge) -> Map:
    if not path.exists() and path.name in shipped():
        path = SHIPPED / f"{path.name}.toml"
    try:
        if path.exists() and not path.is_file():
            raise CommandError(_say("map_no_file", file=path))
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise CommandError(_say("map_letters", file=path)) from error
    try:
        return maps.read(text, known)
    except MapWrong as error:
        lines = [texts()[f"import.map.{one.key}"].format(**one.fields) for one in error.faults]
        raise CommandError(_say("map_wrong", file=path, n=len(lines)) + "\n  " + "\n  ".join(lines)) from error


def _looked(path: Path, encoding: str, delimiter: str) -> Table:
    with showing() as progress:
        return tables.look(path, encoding, delimiter, lambda rows: progress("looking", rows))


def _headings(by: Map, table: Table, path: Path) -> None:
    """Every heading that the map speaks of has to be there: one that is misspelt would silence a whole column."""
    missing = [one for one in by.headings() if one not in table.headings]
    if missing:
        lines = [f"  {one}   {_near(one, table.headings)}" for one in missing]
        hint = _say("one_column", delimiter=by.delimiter) if len(table.headings) == 1 else ""
        raise CommandError("\n".join([_say("no_column", file=path, n=len(missing)), *lines, hint]).rstrip())


def _near(one: str, headings: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(one, headings, 3, 0.6)
    return _say("near", names=", ".join(near)) if near else ""


# What is said in the end


def _say_all(args: argparse.Namespace, by: Map, table: Table, sums: Sums, done: Loaded) -> None:
    for one in table.renamed:
        print(_say("renamed", heading=one))
    silent = [one for one in table.headings if one not in set(by.headings())]
    if silent:
        print(_say("not_named", n=len(silent)))
    if args.dry_run:
        if sums.human:
            print(_say("human", n=sums.human))
        print(_say("dry", rows=sums.rows, odd=sums.odd_rows, table=args.file))
    else:
        print(_say("done", rows=sums.rows, written=done.written, there=done.there, left=done.left,
                   contexts=done.contexts, bags=done.bags))  # fmt: skip
        if args.again:
            print(_say("again", n=done.altered))
    if sums.human_left:
        print(_say("human_left", n=sums.human_left))
    if sums.counted:
        way = _say(f"halves.{by.halves}")
        print(_say("counted", there=f"{sums.counted:.10g}", here=sums.whole, n=sums.halves, way=way))
    if done.raised_n:
        print(_say("raised", n=done.raised_n, labels=", ".join(done.raised[:10])))
    if sums.times:
        print(_say("missed", odd=sums.odd_rows))
        for (column, why), times in sums.times.most_common(TOLD):
            words = ", ".join(repr(word) for word, _ in sums.words[column, why].most_common(WORDS) if word)
            print(f"  {times:8}  {column or '-'}: {_why(why)}{f' ({words})' if words else ''}")
        if len(sums.times) > TOLD:
            print(_say("missed_more", n=len(sums.times) - TOLD))
        print(_say("report_at", file=args.report) if args.report else _say("report_hint"))


def _why(why: str) -> str:
    return texts()[f"import.short.{why}"]


def _say(key: str, **fields: object) -> str:
    return texts()[f"import.cli.{key}"].format(**fields)


@contextmanager
def _told() -> Iterator[None]:
    """Makes CommandErrors of what a table or a report can be."""
    try:
        yield
    except TableWrong as error:
        raise CommandError(texts()[f"import.table.{error.key}"].format(**error.fields)) from error
    except NotOurs as error:
        raise CommandError(_say("report_exists", file=error)) from error
