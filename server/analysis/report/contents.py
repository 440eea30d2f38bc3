"""What is in a report: its parts, each with its tables, and the paragraphs that are made of them.

For: plain values that every form of the report is made from. Not for: layout, files.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.assemblage.results import Note, Result
from fieldapp.domain.assemblage.specimens import HUMAN, IMPOSSIBLE, TALLY
from server.analysis import topics
from server.analysis.asking import HIDDEN, Asked, Table, answers, settled
from server.analysis.count_common import HUMAN_NOTE
from server.analysis.report.telling import WORKING_OUT, Told, to_nobody
from server.analysis.wording import Wording, shown, visible

ANIMALS = 3
"""Of a table that is of one animal at a time, so many of the commonest stand in the report."""
ROWS = 150
"""Rows of a table in the report; the files beside it have them all."""
PARTED = frozenset({"taxon"})
"""Options of which the report goes through the first ANIMALS choices."""
PRINTED = frozenset(
    {
        "pieces", "mni", "shares", "mau", "crosstable",
        "fusion_stages", "wear_stages", "survival", "neonatal",
        "measurements", "withers", "log_size",
        "marks", "burning", "gnawing", "weathering", "recovery",
    }
)  # fmt: skip
"""Tables that a report begins with; all others are in its files, and named in it."""
IN_FILES = frozenset(
    {"withers_each", "log_size_each", "mark_tools", "burn_colours", "roots", "staining", "preservation"}
)
"""What printed tables say besides, and is in the files alone."""
ASKED_AS: Mapping[str, tuple[Mapping[str, str], ...]] = {"survival": ({"evidence": "fusion"}, {"evidence": "teeth"})}
"""Options with which the report asks for a table, one after the other: fusion and teeth apart."""
EVERYWHERE = frozenset({HUMAN, IMPOSSIBLE, HIDDEN})
"""What is left out of every table is told once, at the beginning."""
WORKED_OUT = frozenset({"number", "percent", "span", "interval"})


@dataclass(frozen=True, slots=True)
class Entry:
    """A result of a table, in the report.

    options  with which it was asked
    below    sentences that stand below it;  last: of this question, so that the command stands below it
    figure   the number of its first picture
    """

    topic: str
    table: str
    result: Result
    options: Mapping[str, str] = field(default_factory=dict)
    below: tuple[str, ...] = ()
    last: bool = True
    figure: int = 1

    def figure_title(self, n: int, wording: Wording) -> str:
        """What stands above its n-th picture."""
        title = wording.chart_title(self.result, self.result.charts[n])
        return wording.say("report.figure", n=self.figure + n, title=title)

    def command(self, data: str) -> str:
        """The command that gives the same table, with the records behind each row."""
        selection = self.result.selection
        where = replace(selection, by="site").text()
        parts = ["bonedocket", _COMMANDS[self.topic], "--data", data, "--by", selection.by]
        parts += ["--where", where] if where else []
        chosen = [each for key, word in self.options.items() for each in ("--set", f"{key}={word}")]
        # Names of phases are anybody's: none may end the quotation and begin a command of its own.
        return visible(shlex.join([*parts, "--table", self.table, *chosen, "--json"]))

    def ends(self, wording: Wording, data: str) -> Iterator[str]:
        """What stands below the last table of a question: what was chosen, and how it is asked again."""
        if self.last:
            if self.result.options:
                yield wording.say("report.options", options=wording.options(self.result.options))
            yield wording.say("report.again", command=self.command(data))


_COMMANDS = {"counts": "count", "ages": "ages", "sizes": "sizes", "surface": "surface"}


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report: a topic's tables."""

    topic: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """All of it, in words where they are the same for every form.

    methods  of each table its title, how it is worked out, and what it rests on
    empty    in words, which tables had nothing to show; "" for none
    others   in words, which tables are in the files alone;  more: these, if they were asked for too
    """

    title: str
    site: str
    asked: str
    studied: tuple[str, ...]
    cautions: tuple[str, ...]
    methods: tuple[tuple[str, ...], ...]
    parts: tuple[Part, ...]
    left_out: tuple[str, ...]
    sources: tuple[str, ...]
    empty: str = ""
    others: str = ""
    more: tuple[Part, ...] = ()


def made(asked: Asked, wording: Wording, told: Told = to_nobody, *, whole: bool = False) -> Report:
    """The report on what was asked for, if `whole` with all tables for its files. `told` is called before each."""
    of = sum(whole or table.key in PRINTED for topic in topics.TOPICS for table in topics.tables(topic))
    parts, more, others, done, empty, figure = [], [], [], 0, [], 1
    said = _Said()
    for topic in topics.TOPICS:
        entries: list[Entry] = []
        filed: list[Entry] = []
        for table in topics.tables(topic):
            title = wording.say(f"{table.key}.title")
            if table.key not in PRINTED:
                others.append(title)
            if not whole and table.key not in PRINTED:
                continue
            told(WORKING_OUT, title, done, of)
            found = [*_entries(topic, table, asked, wording, said)]
            printed = [one for one in found if table.key in PRINTED and one.result.key not in IN_FILES]
            filed += [one for one in found if one not in printed]
            empty += [] if printed or table.key not in PRINTED else [title]
            for entry in _ended(printed):
                entries.append(replace(entry, figure=figure))
                figure += len(entry.result.charts)
            done += 1
        parts.append(Part(topic, tuple(entries)))
        more.append(Part(topic, tuple(filed)))
    results = [entry.result for part in parts for entry in part.entries]
    keys: dict[str, dict[str, None]] = {}
    for one in results:
        keys.setdefault(one.key, {}).update(dict.fromkeys(one.sources))
    site = asked.gathered.site
    return Report(
        title=wording.say("report.title"),
        site=shown(" ".join(str(site.get(name) or "") for name in ("code", "name")).strip()),
        asked=wording.say("report.asked", asked=wording.selection(asked.selection)),
        studied=_studied(asked, wording),
        cautions=(wording.say("report.draft"), wording.say("report.human"), wording.say("report.law")),
        methods=tuple(tuple(_method(key, [*sources], wording)) for key, sources in keys.items()),
        parts=tuple(parts),
        left_out=tuple(
            wording.say(f"left_out.{one.why}", n=len(one.records), pieces=one.pieces) for one in asked.left_out()
        ),
        sources=tuple(sorted({_listed(each, wording) for one in results for each in one.sources}, key=alphabetical)),
        empty=wording.say("report.empty", tables=", ".join(empty)) if empty else "",
        others=wording.say("report.others", tables=", ".join(others)) if others else "",
        more=tuple(more) if whole else (),
    )


def _listed(source: str, wording: Wording) -> str:
    """A source as the list at the end has it: without the number by which a table names it."""
    number, colon, name = source.partition(": ")
    return wording.source(name if colon and number.isdecimal() else source)


def _method(key: str, sources: Sequence[str], wording: Wording) -> Iterator[str]:
    yield wording.say(f"{key}.title")
    yield wording.say(f"{key}.how")
    if sources:
        yield wording.say("report.rests", sources="; ".join(map(wording.source, sources)))


class _Said:
    """Which sentences were said already: one that holds for all tables of a kind stands below the first of them."""

    def __init__(self) -> None:
        self._said: set[tuple[str, str]] = set()

    def anew(self, table: str, notes: Iterable[Note], wording: Wording) -> list[str]:
        """The notes that are not said yet of this table; that of human remains is the same for every table."""
        found = []
        for note in notes:
            told = wording.note(note)
            key = ("" if note.key == HUMAN_NOTE else table, told)
            if key not in self._said:
                self._said.add(key)
                found.append(told)
        return found


def _entries(topic: str, table: Table, asked: Asked, wording: Wording, said: _Said) -> Iterator[Entry]:
    """The table as it is usually asked for; one that is of one animal at a time for each of the commonest."""
    parted = next((one for one in table.options if one.key in PARTED), None)
    animals = list(parted.choices(asked))[:ANIMALS] if parted else [""]
    for one, asked_as in product(animals, ASKED_AS.get(table.key, ({},))):
        options = {**({parted.key: one} if parted else {}), **asked_as}
        found = [result for result in answers(settled(table, replace(asked, options=options))) if _tells(result)]
        for n, result in enumerate(found, 1):
            below = said.anew(result.key, result.notes, wording)
            if len(result.rows) > ROWS:
                below.append(wording.say("report.more", shown=ROWS, n=len(result.rows)))
            left = zip(result.left_out, wording.left_out(result), strict=True)
            below += [words for one_left, (words, _) in left if one_left.why not in EVERYWHERE]
            yield Entry(topic, table.key, result, options, tuple(below), n == len(found))


def _ended(entries: Sequence[Entry]) -> list[Entry]:
    """The same, so that the last printed one of each question is known as the last."""
    after = [*entries[1:], None][: len(entries)]
    return [
        replace(one, last=next_one is None or next_one.options != one.options)
        for one, next_one in zip(entries, after, strict=True)
    ]


def _tells(result: Result) -> bool:
    """Whether a table says anything: it has rows, and of what is worked out in them something is not open."""
    worked_out = [n for n, column in enumerate(result.columns) if column.kind in WORKED_OUT]
    if not worked_out:
        return bool(result.rows)
    return any(row.cells[n] is not None for row in result.rows for n in worked_out)


def _studied(asked: Asked, wording: Wording) -> tuple[str, ...]:
    dockets = {one.id for one in asked.animals if one.kind != TALLY}
    tallies = {one.id for one in asked.animals if one.kind == TALLY}
    contexts = {one.context for one in asked.animals if one.context}
    excluded = {one.id for one in asked.animals if one.excluded}
    unsure = {one.id for one in asked.animals if not one.sure}
    checked = {one.id for one in asked.animals if one.checked}
    told = [
        wording.say("report.studied", dockets=len(dockets), tallies=len(tallies), contexts=len(contexts)),
        wording.say("report.checked", checked=len(checked), dockets=len(dockets)),
    ]
    told += wording.nowhere(asked.nowhere)
    if unsure:
        told.append(wording.say("report.unsure", n=len(unsure)))
    if excluded:
        told.append(wording.say("report.excluded", n=len(excluded)))
    if asked.astray:
        told.append(wording.say("astray", n=asked.astray))
    if asked.gathered.late:
        told.append(wording.say("report.late", n=asked.gathered.late))
    return tuple(told)
