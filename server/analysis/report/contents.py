"""What is in a report: its parts, each with its tables, and the paragraphs that are made of them.

For: plain values that every form of the report is made from. Not for: layout, files.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from fieldapp.domain.assemblage.results import Result
from fieldapp.domain.assemblage.specimens import TALLY
from server.analysis import topics
from server.analysis.asking import Asked, Table
from server.analysis.wording import Wording, shown, visible

ANIMALS = 3
"""Of a table that is of one animal at a time, so many of the commonest stand in the report."""
ROWS = 40
"""Rows of a table in the report; the files beside it have them all."""
PARTED = frozenset({"taxon"})
"""Options of which the report goes through the first ANIMALS choices."""

Told = Callable[[str, int], None]
"""Says which table is being worked out, and how many are done."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A result of a table, in the report.

    options  with which it was asked;  of  which animal it is of, "" for all
    """

    topic: str
    table: str
    result: Result
    options: Mapping[str, str] = field(default_factory=dict)
    of: str = ""

    def command(self, data: str) -> str:
        """The command that gives the same table, with the records behind each row."""
        selection = self.result.selection
        where = replace(selection, by="site").text()
        parts = ["bonedocket", _COMMANDS[self.topic], "--data", data, "--by", selection.by]
        parts += ["--where", where] if where else []
        chosen = [each for key, word in self.options.items() for each in ("--set", f"{key}={word}")]
        # Names of phases are anybody's: none may end the quotation and begin a command of its own.
        return visible(shlex.join([*parts, "--table", self.table, *chosen, "--json"]))


_COMMANDS = {"counts": "count", "ages": "ages", "sizes": "sizes", "surface": "surface"}


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report: a topic's tables."""

    topic: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """All of it, in words where they are the same for every form."""

    title: str
    site: str
    asked: str
    studied: tuple[str, ...]
    cautions: tuple[str, ...]
    methods: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    left_out: tuple[str, ...]
    sources: tuple[str, ...]


def made(asked: Asked, wording: Wording, told: Told = lambda table, done: None) -> Report:
    """The report on what was asked for. `told` is called before each table."""
    parts, done = [], 0
    for topic in topics.TOPICS:
        entries: list[Entry] = []
        for table in topics.tables(topic):
            told(wording.say(f"{table.key}.title"), done)
            entries += _entries(topic, table, asked, wording)
            done += 1
        parts.append(Part(topic, tuple(entries)))
    results = [entry.result for part in parts for entry in part.entries]
    keys = dict.fromkeys(one.key for one in results)
    site = asked.gathered.site
    return Report(
        title=wording.say("report.title"),
        site=shown(" ".join(str(site.get(name) or "") for name in ("code", "name")).strip()),
        asked=wording.selection(asked.selection),
        studied=_studied(asked, wording),
        cautions=(wording.say("report.draft"), wording.say("report.human"), wording.say("report.law")),
        methods=tuple((wording.say(f"{key}.title"), wording.say(f"{key}.how")) for key in keys),
        parts=tuple(parts),
        left_out=tuple(
            wording.say(f"left_out.{one.why}", n=len(one.records), pieces=one.pieces) for one in asked.left_out()
        ),
        sources=tuple(dict.fromkeys(source for one in results for source in one.sources)),
    )


def _entries(topic: str, table: Table, asked: Asked, wording: Wording) -> Iterable[Entry]:
    """The table as it is usually asked for; one that is of one animal at a time for each of the commonest."""
    parted = next((one for one in table.options if one.key in PARTED), None)
    animals = list(parted.choices(asked))[:ANIMALS] if parted else [""]
    for one in animals:
        options = {parted.key: one} if parted else {}
        of = wording.word(parted.of, one) if parted else ""
        for result in table.make(replace(asked, options=options)):
            if result.rows:
                yield Entry(topic, table.key, result, options, of)


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
    if unsure:
        told.append(wording.say("report.unsure", n=len(unsure)))
    if excluded:
        told.append(wording.say("report.excluded", n=len(excluded)))
    if asked.gathered.late:
        told.append(wording.say("report.late", n=asked.gathered.late))
    return tuple(told)
