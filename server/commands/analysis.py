"""`bonedocket count`, `ages`, `sizes`, `surface`: the tables of an analysis, as the desk shows them.

For reports and other programs. Each of the four is a `Command` for one topic; `report` is a command of its own.
Not for: any figure (server.analysis).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from fieldapp.domain.assemblage.results import Result
from fieldapp.domain.assemblage.selection import BY, LISTS, Selection, SelectionError, parse
from fieldapp.domain.knowledge import Knowledge
from fieldapp.durable import write_whole
from server.analysis import topics, writing
from server.analysis.asking import Asked, Settled, Table, answers, settled
from server.analysis.gathering import Assemblage
from server.analysis.wording import Wording
from server.commands.keeping import DATA_HELP, opened, told_errors

WHERE_HELP = "what is asked for, such as 'phase=2,taxon=cattle|pig,ways=hand' (backslash before , | = in a name)"


def say(key: str, **fields: object) -> str:
    """One of the sentences of these commands."""
    return texts()[f"analysis.cli.{key}"].format(**fields)


def selection_arguments(parser: argparse.ArgumentParser) -> None:
    """`--data`, `--by` and `--where`, which all these commands share."""
    parser.add_argument("--data", type=Path, default=Path("cabin"), metavar="DIR", help=DATA_HELP)
    parser.add_argument(
        "--by", choices=BY, default="site", help="the piles that figures are of (default: the whole site)"
    )
    parser.add_argument("--where", default="", metavar="CHOICE", help=WHERE_HELP)


def selection_of(args: argparse.Namespace, knowledge: Knowledge) -> Selection:
    """What was asked for. Raises CommandError for a choice that means nothing."""
    try:
        return parse(args.where, knowledge, Selection(by=args.by))
    except SelectionError as error:
        if error.field in LISTS and not error.value:
            raise CommandError(say("empty_choice", field=error.field)) from error
        allowed = say("allowed", words=", ".join(error.allowed)) if error.allowed else say(f"unknown.{error.field}")
        raise CommandError(say("no_choice", field=error.field, value=error.value, allowed=allowed)) from error


class Command:
    """The command of one topic."""

    def __init__(self, topic: str, help: str) -> None:
        self.topic, self.HELP = topic, help

    def register(self, parser: argparse.ArgumentParser) -> None:
        """Adds the command's arguments."""
        selection_arguments(parser)
        parser.add_argument("--table", metavar="NAME", help="one table alone; --list names them")
        parser.add_argument("--list", action="store_true", help="the tables there are, with their options, and stop")
        parser.add_argument(
            "--set", action="append", default=[], metavar="OPTION=WORD", help="an option of a table, see --list"
        )
        way = parser.add_mutually_exclusive_group()
        way.add_argument("--json", action="store_true", help="as JSON, with the records behind each row")
        way.add_argument("--csv", type=Path, metavar="FILE", help="the rows as CSV, into a new file")
        way.add_argument(
            "--chart", type=Path, metavar="FILE", help="a table's charts as .svg or .png; several are numbered"
        )

    def run(self, args: argparse.Namespace) -> int:
        """Prints or writes the tables. Raises CommandError."""
        with told_errors(), opened(args.data) as (_, ledger):
            gathered = Assemblage(ledger).now()
            asked = Asked(gathered, selection_of(args, gathered.knowledge), _options(args.set))
            wording = Wording(texts(), gathered.numbers)
            if args.list:
                print("\n".join(self._listed(asked, wording)))
                return 0
            tables = [settled(table, asked) for table in self._tables(args.table)]
            _held_to(tables, asked)
            results = [result for table in tables for result in answers(table)]
            if args.csv is not None:
                new_file(args.csv, writing.as_csv(results, wording).encode("utf-8", "replace"))
            elif args.chart is not None:
                _charts(args.chart, results, wording)
            elif args.json:
                print(writing.as_json(results, wording))
            else:
                if asked.astray:
                    print(wording.say("astray", n=asked.astray))
                if gathered.late:
                    print(say("late", n=gathered.late))
                print("\n".join((wording.selection(asked.selection), *wording.nowhere(asked.nowhere), "")))
                print(writing.as_text(results, wording))
        return 0

    def _tables(self, name: str | None) -> Sequence[Table]:
        if name is None:
            return topics.tables(self.topic)
        found = topics.table(self.topic, name)
        if found is None:
            names = ", ".join(one.key for one in topics.tables(self.topic))
            raise CommandError(say("no_table", name=name, names=names))
        return [found]

    def _listed(self, asked: Asked, wording: Wording) -> list[str]:
        lines = []
        for table in topics.tables(self.topic):
            lines.append(f"{table.key:16} {wording.say(f'{table.key}.title')}")
            for option in table.options:
                # Names of sources have commas of their own.
                choices = " | ".join(option.choices(asked)) or say("no_choices")
                lines.append(f"  --set {option.key}=…  {wording.say(f'option.{option.key}')}: {choices}")
        return lines


def _options(given: Sequence[str]) -> dict[str, str]:
    found = {}
    for one in given:
        name, sign, word = one.partition("=")
        if not sign or not name:
            raise CommandError(say("no_option", given=one))
        found[name] = word
    return found


def _held_to(tables: Sequence[Settled], asked: Asked) -> None:
    """Raises CommandError for an option that none of the tables has, or a word that none of them can follow."""
    for key, word in asked.options.items():
        having = [one for one in tables if key in one.choices]
        if not having:
            raise CommandError(say("not_an_option", name=key))
        if not word or all(key in one.refused for one in having):
            allowed = say("allowed", words=", ".join(having[0].choices[key]) or say("no_choices"))
            raise CommandError(say("no_choice", field=key, value=word, allowed=allowed))


def _charts(file: Path, results: Sequence[Result], wording: Wording) -> None:
    from server.analysis import charts  # matplotlib takes its time, and only pictures need it

    form = file.suffix.removeprefix(".").casefold()
    if form not in charts.FORMATS:
        raise CommandError(say("no_form", file=file, forms=", ".join(f".{one}" for one in charts.FORMATS)))
    found = [(result, chart) for result in results for chart in result.charts]
    if not found:
        raise CommandError(say("no_chart"))
    for n, (result, chart) in enumerate(found, 1):
        name = file if len(found) == 1 else file.with_stem(f"{file.stem}-{n}")
        new_file(name, charts.draw(chart, wording, wording.chart_title(result, chart), form))


def new_file(file: Path, content: bytes) -> None:
    """Writes a new file. Raises CommandError where there is one already: nobody's work is written over."""
    try:
        # Half of it would be taken for the whole, and be in the way of the next.
        write_whole(file, content, over=False)
    except FileExistsError as error:
        raise CommandError(say("exists", file=file)) from error
    except OSError as error:
        raise CommandError(say("not_written", file=file, folder=file.parent)) from error


COUNT = Command("counts", "how much of what: NISP, weight, MNE, MNI and what they can be compared by")
AGES = Command("ages", "how old: fusion, tooth wear, age at death with how unsure it is")
SIZES = Command("sizes", "how large: measurements, shoulder heights, log size index")
SURFACE = Command("surface", "butchery, burning, gnawing, weathering, breakage, recovery")
