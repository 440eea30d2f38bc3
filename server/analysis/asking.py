"""What is asked of an analysis, and what a table is: one question in, tables of figures out.

For: what every topic's module is given and gives back, so that page, command and report ask in one way. Not for: any
figure, or which topics there are (topics).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from fieldapp.domain.assemblage.results import Cell, LeftOut, Result, Word
from fieldapp.domain.assemblage.selection import Selection, Unit, units
from fieldapp.domain.assemblage.specimens import HUMAN, IMPOSSIBLE, Specimen
from fieldapp.domain.knowledge import Knowledge
from server.analysis.gathering import Gathered

HIDDEN = "hidden"
"""Why a docket is left out of what somebody is shown who is to read it a second time, blind."""
_OF_READING: Mapping[str, Any] = {"taxon": (), "element": (), "stage": (), "certainty": "any", "checked": "any"}
"""What a selection asks of what was seen on a bone, as it is where it asks for nothing."""


@dataclass(frozen=True)
class Asked:
    """One question.

    options  {key: word} of what a table leaves to whoever asks (a source, an element, a measurement)
    hidden   ids of dockets whose readings are hidden from whoever asks
    """

    gathered: Gathered
    selection: Selection
    options: Mapping[str, str] = field(default_factory=dict)
    hidden: frozenset[str] = frozenset()

    @property
    def knowledge(self) -> Knowledge:
        """What is known of skeletons, as the site has it."""
        return self.gathered.knowledge

    @cached_property
    def chosen(self) -> list[Specimen]:
        """What the selection takes, whether it counts among the animals or not."""
        return [one for one in self.gathered.chosen(self.selection) if one.id not in self.hidden]

    @cached_property
    def animals(self) -> list[Specimen]:
        """Those of them that count among the animals: what figures are of."""
        return [one for one in self.chosen if not one.apart]

    @property
    def astray(self) -> int:
        """Of how many records of the animals asked for people disagree where they lie."""
        lost = self.gathered.astray
        return len({one.id for one in self.animals if one.id in lost}) if lost else 0

    @cached_property
    def units(self) -> dict[Unit, list[Specimen]]:
        """{unit: its specimens} of the animals."""
        found = units(self.animals, self.selection)
        return {unit: found[unit] for unit in self._in_order(found)}

    @cached_property
    def _apart(self) -> dict[str, dict[Unit, list[Specimen]]]:
        apart = {why: [one for one in self.chosen if one.apart == why] for why in (HUMAN, IMPOSSIBLE)}
        # Whether a bone is among the cattle would tell what it was read as: of those that are hidden it is told only
        # where they lie, whatever else is asked for.
        anything = replace(self.selection, **_OF_READING)
        apart[HIDDEN] = [one for one in self.gathered.chosen(anything) if one.id in self.hidden] if self.hidden else []
        return {why: units(found, self.selection) for why, found in apart.items()}

    @cached_property
    def piles(self) -> list[Unit]:
        """The units of all that is asked for, in order; of some of them all is left out."""
        return self._in_order({*self.units, *(unit for by_unit in self._apart.values() for unit in by_unit)})

    def _in_order(self, found: Iterable[Unit]) -> list[Unit]:
        place = self.gathered.order(self.selection.by)

        def key(unit: Unit) -> tuple[Any, ...]:
            way, _, mesh = unit.way.partition(":")
            return *place(unit.place), unit.place, way, float(mesh or 0)

        return sorted(found, key=key)

    def left_out(self, unit: Unit | None = None) -> tuple[LeftOut, ...]:
        """What counts nowhere, of one unit or of all: possibly human, impossible, hidden."""
        found = []
        for why, by_unit in self._apart.items():
            lists = by_unit.values() if unit is None else [by_unit.get(unit, [])]
            told = left_out(why, [one for specimens in lists for one in specimens])
            # How many pieces a hidden docket is of was seen on it, too.
            found += [replace(told, pieces=len(told.records)) if why == HIDDEN else told] if told else []
        return tuple(found)

    @cached_property
    def nowhere(self) -> dict[str, tuple[str, ...]]:
        """{field: words asked for that no specimen has}: a context without bone, or a slip that must not go unseen."""
        found = {}
        for name in ("trench", "phase", "context", "stage"):
            if wanted := getattr(self.selection, name):
                have = {getattr(one, name) for one in self.gathered.specimens if one.id not in self.hidden}
                have = {self.gathered.numbers.get(one, "") for one in have} if name == "context" else have
                if missing := tuple(one for one in wanted if one not in have):
                    found[name] = missing
        return found

    def option(self, key: str, usual: str) -> str:
        """What was chosen for an option of the table."""
        return self.options.get(key) or usual


def left_out(why: str, specimens: Iterable[Specimen]) -> LeftOut | None:
    """These specimens as left out for this reason; None where there are none."""
    counts: dict[str, int] = {}
    for one in specimens:
        counts[one.id] = max(one.count, counts.get(one.id, 0))
    return LeftOut(why, tuple(counts), sum(counts.values())) if counts else None


@dataclass(frozen=True)
class Option:
    """A choice that a table leaves open. `choices` says what there is to choose from, the usual first; `of` is the
    beginning of the words' texts ("taxon", "element"), "" for words that are shown as they are (names of sources)."""

    key: str
    choices: Callable[[Asked], Sequence[str]]
    of: str = ""


@dataclass(frozen=True)
class Table:
    """A table that can be asked for: `make` gives a result for each unit, or one that compares units."""

    key: str
    make: Callable[[Asked], Iterator[Result]]
    options: tuple[Option, ...] = ()


@dataclass(frozen=True)
class Settled:
    """A table with what it is asked with.

    options  each with its word, the usual where nothing was said
    choices  {option: what there is to choose from}
    refused  {option: what was said and cannot be}
    """

    table: Table
    asked: Asked
    options: Mapping[str, Cell]
    choices: Mapping[str, Sequence[str]]
    refused: Mapping[str, str]


def settled(table: Table, asked: Asked) -> Settled:
    """The options of a table as they hold. What can be chosen may hang on what was chosen before."""
    options: dict[str, Cell] = {}
    offered: dict[str, Sequence[str]] = {}
    refused: dict[str, str] = {}
    for option in table.options:
        choices, said = [*option.choices(asked)], asked.options.get(option.key, "")
        offered[option.key] = choices
        if said and said not in choices:
            refused[option.key] = said
            asked = replace(asked, options={key: word for key, word in asked.options.items() if key != option.key})
            said = ""
        word = said or next(iter(choices), "")
        if word:
            options[option.key] = Word(option.of, word) if option.of else word
    return Settled(table, asked, options, offered, refused)


def answers(found: Settled) -> Iterator[Result]:
    """The results of a table, each with the options that it was made with."""
    for result in found.table.make(found.asked):
        yield replace(result, options=found.options)
