"""An analysis in words: headings, cells, units, what was left out, in the language that is spoken.

For: one way for page, command and report to say the same. Not for: figures, layout, files (writing).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Several, Span, Word
from fieldapp.domain.assemblage.selection import CHOICES, LISTS, Selection, Unit

NOTHING = "–"  # noqa: RUF001
"""Stands where nothing can be said: a blank would be taken for a nought."""
LONGEST = 200
"""Letters of a word from a record; of a longer one only the beginning is shown."""


def shown(word: str) -> str:
    """A word from a record as it can stand on paper, in a terminal and in a document of any sort."""
    return visible(word if len(word) <= LONGEST else f"{word[:LONGEST]}…")


def visible(word: str) -> str:
    """A word without the signs that turn a line round, break it, or that no document can hold."""
    return word if word.isprintable() else "".join(one if one.isprintable() else "·" for one in word)


class Number(int):
    """A whole number that a text may give its noun: `{n:docket|dockets}` is "1 docket" and "2 dockets"."""

    def __format__(self, spec: str) -> str:
        one, some, many = spec.partition("|")
        return f"{int(self)} {one if self == 1 else many}" if some else format(int(self), spec)


class Wording:
    """The words of one language. `numbers`: {context: its number}."""

    def __init__(self, texts: Mapping[str, str], numbers: Mapping[str, str]) -> None:
        self.texts, self.numbers = texts, numbers

    def say(self, key: str, **fields: Any) -> str:
        """The text `analysis.<key>`, filled in; of a key without a text its last part."""
        found = self.texts.get(f"analysis.{key}")
        if found is None:
            return key.rpartition(".")[2].replace("_", " ")
        return found.format(**{name: Number(one) if type(one) is int else one for name, one in fields.items()})

    def word(self, of: str, key: str) -> str:
        """A word of a vocabulary; a key that it does not hold as it came."""
        found = self.texts.get(f"{of}.{key}")
        return found if found is not None else shown(key) or self.say("not_recorded")

    def title(self, result: Result) -> str:
        """The heading of a table, without its unit."""
        return self.say(f"{result.key}.title")

    def full_title(self, result: Result) -> str:
        """The heading of a table where it stands alone: of what it is, of which animal and which pile."""
        return self._of(result, [self.title(result), self.animal(result)])

    def chart_title(self, result: Result, chart: Chart) -> str:
        """What stands above a chart, likewise."""
        parts = [self.title(result), self.animal(result)]
        if chart.name is not None and (name := self.cell(Column(""), chart.name)) not in parts:
            parts.append(name)
        return self._of(result, parts)

    def _of(self, result: Result, parts: list[str]) -> str:
        return ": ".join((", ".join(one for one in parts if one), self.unit(result.unit)))

    def animal(self, result: Result) -> str:
        """Which animal a table is of that is of one at a time; "" for all others."""
        return self.cell(Column(""), result.options.get("taxon", "")) if "taxon" in result.options else ""

    def options(self, options: Mapping[str, Cell]) -> str:
        """What was chosen where a table leaves a choice, in a line."""
        return "; ".join(f"{self.say(f'option.{key}')}: {self.cell(Column(''), word)}" for key, word in options.items())

    def how(self, result: Result) -> str:
        """How it is worked out."""
        return self.say(f"{result.key}.how")

    def source(self, source: str) -> str:
        """A source as the tables name it, with whether it was seen in words."""
        name, opened, seen = source.removesuffix(")").rpartition(" (")
        if opened and seen == "memory":
            return self.say("source.memory", source=name)
        if opened and seen.startswith("verified:"):
            return self.say("source.seen", source=name, where=seen.removeprefix("verified:"))
        return source

    def heading(self, column: Column) -> str:
        """The heading of a column."""
        return self.say(f"column.{column.key}")

    def cell(self, column: Column, value: Cell) -> str:
        """A cell as it is shown."""
        if value is None:
            return NOTHING
        if isinstance(value, Word):
            return self.word(value.of, value.key)
        if isinstance(value, Unit):
            return self.place(value)
        if isinstance(value, Several):
            return value.between.join(self.cell(column, one) for one in value.parts)
        if isinstance(value, str):
            return shown(value) or self.say("not_recorded")
        if isinstance(value, Span):
            low, high = (self.figure(column, one) for one in (value.low, value.high))
            return low if low == high else self.say("span", low=low, high=high)
        return self.figure(column, value)

    def figure(self, column: Column, value: float) -> str:
        """A number with as many digits as its column has; a count in whole ones where it is whole."""
        if value != value or value in (float("inf"), float("-inf")):
            return NOTHING
        if column.kind in ("count", "span") and float(value).is_integer():
            return f"{value:.0f}"
        found = f"{value:.{column.digits}f}"
        # A nought has no sign.
        return found.lstrip("-") if not found.strip("-0.") else found

    def unit(self, unit: Unit | None) -> str:
        """The pile of bone that a table is of."""
        if unit is None:
            return self.say("unit.all")
        return self.say("unit", place=self.place(unit), way=self.way(unit.way))

    def place(self, unit: Unit) -> str:
        """Where it lies: the whole site, or a trench, phase or context by name."""
        if unit.by == "site":
            return self.say("place.site")
        name = self.name(unit)
        return self.say(f"place.{unit.by}", name=shown(name)) if name else self.say(f"place.{unit.by}.none")

    def name(self, unit: Unit) -> str:
        """The bare name of where it lies, "" for the whole site and for what has none."""
        return self.numbers.get(unit.place, "") if unit.by == "context" else unit.place

    def way(self, way: str) -> str:
        """How it was got."""
        name, _, mesh = way.partition(":")
        return self.say(f"way.{name}.mesh", mesh=mesh) if mesh else self.say(f"way.{name}")

    def note(self, note: Note) -> str:
        """A sentence beside a table. Fields that are Words, or several of them, are put into words."""
        return self.say(f"note.{note.key}", **{name: self._field(one) for name, one in note.fields.items()})

    def _field(self, one: Any) -> Any:
        if isinstance(one, Word | Several):
            return self.cell(Column(""), one)
        return shown(one) if isinstance(one, str) else one

    def left_out(self, result: Result) -> Iterator[tuple[str, tuple[str, ...]]]:
        """(what does not count and why, the records) of a table."""
        for one in result.left_out:
            yield self.say(f"left_out.{one.why}", n=len(one.records), pieces=one.pieces), one.records

    def nowhere(self, words: Mapping[str, Sequence[str]]) -> list[str]:
        """What was asked for and is nowhere, a sentence a field."""
        told = []
        for name, missing in words.items():
            listed = ", ".join(self.listed(name, one) for one in missing)
            told.append(self.say("nowhere", field=self.say(f"field.{name}"), words=listed))
        return told

    def listed(self, name: str, one: str) -> str:
        """One of the things that a list of a selection asks for: a word of a vocabulary, or a name as it was given."""
        return self.word(name, one) if name in ("taxon", "element", "stage") else shown(one)

    def selection(self, selection: Selection) -> str:
        """What was asked for, in a line."""
        told = [self.say(f"choice.{name}.{getattr(selection, name)}") for name in CHOICES]
        for name in LISTS:
            words = [self.listed(name, one) for one in getattr(selection, name)]
            if words:
                told.append(self.say(f"choice.{name}", words=", ".join(words)))
        return "; ".join(told)
