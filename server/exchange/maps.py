"""A map: what the columns and words of somebody's table mean in ours. A TOML file of this project's own kind.

    format = 1
    name = "Low Barrow 1987"             what the data are called: in the log, and beside each row
    credit = "…, licence …"              whose they are; stands in every docket that comes of them
    prefix = "LB"                        labels begin with it: "LB 17" is row 17, unless a column gives labels

    [file]
    encoding = "utf-8"                   or "cp1252", "latin-1", "utf-16" …; a byte-order mark is seen by itself
    delimiter = ","                      or ";", "\\t"
    decimal = "."                        or ","
    nothing = ["-", "n/a"]               cells that say nothing, beside empty ones
    exact = ["Easting", "Northing"]      columns that say where exactly a piece lay: of one that is raised as possibly
                                         human they are sealed to the cabin, and stand in no docket

    [count]
    halves = "up"                        how a specimen counted as n.5 is counted here: "up" or "down"

    [every]                              what all rows have in common; a column's word wins
    recovery = "hand"

    [end.proximal]                       which centre this analyst's "proximal" is; for bones not named, the centre
    calcaneum = "tuber"                  called so; likewise [end.distal]

    [spans]
    rest = "absent"                      where any stretch of a long bone is named, what of its portions is not

    [column."Art"]                       a column, by its heading as it stands
    to = "taxon"                         a slot (server.exchange.slots), or a list of slots
    words = { "Rd" = "cattle", "?" = "", "Rd?" = { taxon = "cattle", certainty = "cf" } }

    [[case]]                             several columns together, after all columns, in their order
    when = { "Bone" = "tibia", "Prox." = ["f", "F"] }
    set = { "fusion.proximal" = "fused" }

`words`: what a cell says, to the letter; "*" stands for every other cell that says something; "" says nothing; a table
of slots says several things at once, `note = true` in one keeps the cell as a note. A cell that is a key of ours needs
no line. What stands later wins; columns for `context`, `bag` and `label` are joined, teeth are added. Of a column also

    without = "Trench "      a beginning that is left off          unit = "kg"     g, kg, mg; mm, cm, m
    estimated = "*"          a sign at a figure that was estimated

`when`: "*" is any cell that says something, "Jaw *" one that begins so, "" one that says nothing. In `set` "" takes
back what a column has said. Columns that are not named are kept with the row and said nothing about.

Not here: tables (tables), reading a row (mapping).
"""

from __future__ import annotations

import codecs
import difflib
import tomllib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from server.exchange import slots, tables

FORMAT = 1
UNITS = {"g": 1.0, "kg": 1000.0, "mg": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0}
ANY = "*"
HALVES = ("up", "down")

Said = Mapping[str, Any]
"""{slot: word} of a word of theirs; a list of words for `tooth`, True for `note`."""

MOST = 1_000_000.0
"""No figure of a bone is larger: grams, millimetres, pieces."""
LONGEST, PREFIX, CREDIT = 200, 40, 2000
"""Letters of a text, of what labels begin with, and of the credit, which stands in each docket."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a map: the key of a sentence, and what fills it."""

    key: str
    fields: Mapping[str, str] = field(default_factory=dict)


class MapWrong(ValueError):
    """A map that cannot be followed. `faults`: everything that is wrong with it."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__(", ".join(one.key for one in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Column:
    """What a column means."""

    heading: str
    to: tuple[str, ...] = ()
    words: Mapping[str, Said] = field(default_factory=dict)
    without: str = ""
    unit: float = 1.0
    estimated: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """What several columns mean together. `when`: {heading: the cells that are meant}."""

    when: Mapping[str, tuple[str, ...]]
    said: Said


@dataclass(frozen=True, slots=True)
class Map:
    """See the module."""

    name: str
    prefix: str
    credit: str = ""
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    nothing: frozenset[str] = frozenset({""})
    exact: tuple[str, ...] = ()
    halves: str = "up"
    every: Said = field(default_factory=dict)
    ends: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    rest: str = ""
    columns: tuple[Column, ...] = ()
    cases: tuple[Case, ...] = ()

    def headings(self) -> Iterator[str]:
        """Every heading that it speaks of."""
        columns, cases = [one.heading for one in self.columns], [each for one in self.cases for each in one.when]
        yield from dict.fromkeys([*columns, *cases, *self.exact])


def read(text: str, knowledge: Knowledge) -> Map:
    """The map in a text. Raises MapWrong with all that is wrong."""
    try:
        told = tomllib.loads(text.removeprefix("\ufeff"))
        reader = _Reader(knowledge)
        found = reader.map(told)
    except tomllib.TOMLDecodeError as error:
        raise MapWrong([Fault("toml", {"why": str(error)})]) from error
    except RecursionError as error:
        raise MapWrong([Fault("toml", {"why": "brackets in brackets"})]) from error
    if reader.faults:
        raise MapWrong(reader.faults)
    return found


class _Reader:
    """Reads the parts of a map and gathers what is wrong with them."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.faults: list[Fault] = []

    def map(self, told: Mapping[str, Any]) -> Map:
        self._keys("", told, ("format", "name", "credit", "prefix", "file", "count", "every", "end", "spans", "column",
                              "case"))  # fmt: skip
        if told.get("format") != FORMAT:
            self._fault("format", given=told.get("format"), known=FORMAT)
        file, count, spans = (self._table(told, one, one) for one in ("file", "count", "spans"))
        self._keys("file", file, ("encoding", "delimiter", "decimal", "nothing", "exact"))
        self._keys("count", count, ("halves",))
        self._keys("spans", spans, ("rest",))
        rest = self._text(spans, "rest", "spans")
        if rest:
            self._one("spans.rest", rest, self.knowledge.words["portion_state"])
        exact = self._listed(file, "exact")
        columns = tuple(self._columns(self._table(told, "column", "column")))
        cases = tuple(self._cases(told.get("case", [])))
        for one in {*(each.heading for each in columns), *(each for case in cases for each in case.when)} & set(exact):
            # What is read of a cell stands in the clear.
            self._fault("exact_read", given=one)
        for key, most in (("name", LONGEST), ("prefix", PREFIX), ("credit", CREDIT)):
            self._short(key, self._text(told, key, ""), most)
        return Map(
            name=self._text(told, "name", "", wanted=True),
            prefix=self._text(told, "prefix", "", wanted=True),
            credit=self._text(told, "credit", ""),
            encoding=self._encoding(self._text(file, "encoding", "file") or "utf-8"),
            delimiter=self._delimiter(self._text(file, "delimiter", "file", strip=False) or ","),
            decimal=self._one("file.decimal", self._text(file, "decimal", "file") or ".", (".", ",")),
            nothing=frozenset({"", *self._listed(file, "nothing")}),
            exact=exact,
            halves=self._one("count.halves", self._text(count, "halves", "count") or "up", HALVES),
            every=self._said("every", self._table(told, "every", "every")),
            ends=self._ends(self._table(told, "end", "end")),
            rest=rest,
            columns=columns,
            cases=cases,
        )

    def _listed(self, file: Mapping[str, Any], key: str) -> tuple[str, ...]:
        found = file.get(key, [])
        if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
            self._fault("wrong_sort", where=f"file.{key}")
            return ()
        return tuple(one.strip() for one in found)

    def _encoding(self, name: str) -> str:
        if not tables.is_encoding(name):
            self._fault("encoding", given=name)
            return "utf-8-sig"
        # A byte-order mark belongs to no heading.
        return "utf-8-sig" if codecs.lookup(name).name == "utf-8" else codecs.lookup(name).name

    def _delimiter(self, given: str) -> str:
        if not tables.is_delimiter(given):
            self._fault("delimiter", given=given)
            return ","
        return given

    def _ends(self, told: Mapping[str, Any]) -> dict[str, dict[str, str]]:
        self._keys("end", told, slots.ENDS)
        found: dict[str, dict[str, str]] = {}
        for end in slots.ENDS:
            bones = self._table(told, end, f"end.{end}")
            for element, centre in bones.items():
                where = f"end.{end}.{element}"
                self._one(f"end.{end}", element, self.knowledge.elements)
                self._one(where, centre, [one.key for one in self.knowledge.centres.get(element, ())])
            found[end] = {element: str(centre) for element, centre in bones.items()}
        return found

    def _columns(self, told: Mapping[str, Any]) -> Iterator[Column]:
        for heading in told:
            where = f'column."{heading}"'
            column = self._table(told, heading, where)
            self._keys(where, column, ("to", "words", "without", "unit", "estimated"))
            to = self._slots(column.get("to", []), where)
            unit = self._one(f"{where}.unit", self._text(column, "unit", where) or "g", UNITS)
            words = {}
            for word, means in self._table(column, "words", f"{where}.words").items():
                at = f'{where}.words."{word}"'
                if isinstance(means, Mapping):
                    words[word.strip()] = self._said(at, means)
                elif to:
                    # A word that says nothing is one for every sort of slot.
                    words[word.strip()] = self._said(at, dict.fromkeys(to, means)) if means != "" else {}
                else:
                    self._fault("no_slot_for_word", where=at)
            if not to and not words:
                self._fault("column_empty", where=where)
            yield Column(
                heading.strip(),
                to,
                words,
                self._text(column, "without", where, strip=False),
                UNITS.get(unit, 1.0),
                self._text(column, "estimated", where),
            )

    def _cases(self, told: Any) -> Iterator[Case]:
        if not isinstance(told, list) or not all(isinstance(one, Mapping) for one in told):
            self._fault("wrong_sort", where="case")
            return
        for n, one in enumerate(told, 1):
            where = f"case {n}"
            self._keys(where, one, ("when", "set"))
            when = {}
            for heading, cells in self._table(one, "when", f"{where}.when").items():
                listed = [cells] if isinstance(cells, str) else cells
                if not isinstance(listed, list) or not all(isinstance(each, str) for each in listed):
                    self._fault("wrong_sort", where=f'{where}.when."{heading}"')
                    continue
                when[heading.strip()] = tuple(each.strip() for each in listed)
            said = self._said(f"{where}.set", self._table(one, "set", f"{where}.set"))
            if not when or not said:
                self._fault("case_empty", where=where)
            yield Case(when, said)

    def _slots(self, told: Any, where: str) -> tuple[str, ...]:
        listed = [told] if isinstance(told, str) else told
        if not isinstance(listed, list) or not all(isinstance(one, str) for one in listed):
            self._fault("wrong_sort", where=f"{where}.to")
            return ()
        return tuple(one for one in listed if self._slot(one, where))

    def _slot(self, slot: str, where: str) -> bool:
        if slots.known(slot, self.knowledge):
            return True
        near = self._near(slot, [*slots.SINGLE, *(f"{one}." for one in slots.FAMILIES)])
        self._fault("slot", where=where, given=slot, near=near)
        return False

    def _said(self, where: str, told: Mapping[str, Any]) -> dict[str, Any]:
        """{slot: word}, flat: `fusion.proximal` may be written with a dot outside quotation marks too."""
        found: dict[str, Any] = {}
        for slot, value in _flat(told):
            if slot == slots.NOTE and value is True:
                found[slot] = True
            elif self._slot(slot, where):
                found[slot] = self._value(f"{where}.{slot}", slot, value)
        return found

    def _value(self, where: str, slot: str, value: Any) -> Any:
        if slot == slots.TOOTH:
            listed = [value] if isinstance(value, str) else value
            if not isinstance(listed, list):
                self._fault("wrong_sort", where=where)
                return []
            return [self._one(where, one, self.knowledge.teeth.teeth) for one in listed]
        if slots.is_figure(slot) or slot == slots.COUNT or slot.partition(".")[0] in slots.WHOLES:
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= MOST:
                self._fault("figure", where=where, given=value)
                return 0
            return value
        if not isinstance(value, str):
            self._fault("wrong_sort", where=where)
            return ""
        self._short(where, value, LONGEST)
        allowed = slots.words_of(slot, self.knowledge)
        if slot.startswith("wear.") and value:
            stage = self.knowledge.teeth.stage(slot.partition(".")[2], value)
            allowed = [value] if stage is not None else []
        return value if allowed is None or value == "" else self._one(where, value, allowed)

    # The sorts of things that stand in a map

    def _keys(self, where: str, told: Mapping[str, Any], known: Collection[str]) -> None:
        for one in told:
            if one not in known:
                self._fault("unknown_key", where=where or "-", given=one, near=self._near(one, known))

    def _table(self, told: Mapping[str, Any], key: str, where: str) -> Mapping[str, Any]:
        found = told.get(key, {})
        if not isinstance(found, Mapping):
            self._fault("wrong_sort", where=where)
            return {}
        return found

    def _text(self, told: Mapping[str, Any], key: str, where: str, *, wanted: bool = False, strip: bool = True) -> str:
        found = told.get(key, "")
        if not isinstance(found, str):
            self._fault("wrong_sort", where=f"{where}.{key}".lstrip("."))
            return ""
        if wanted and not found.strip():
            self._fault("wanting", given=key)
        return found.strip() if strip else found

    def _short(self, where: str, given: str, most: int) -> None:
        if len(given) > most or not given.isprintable():
            self._fault("text", where=where, most=most)

    def _one(self, where: str, given: Any, allowed: Iterable[str]) -> str:
        words = list(allowed)
        if not isinstance(given, str) or given not in words:
            self._fault("word", where=where, given=given, near=self._near(str(given), words))
        return str(given)

    def _near(self, given: str, words: Iterable[str]) -> str:
        return ", ".join(difflib.get_close_matches(given, list(words), 4, 0.5)) or "-"

    def _fault(self, key: str, **fields: Any) -> None:
        self.faults.append(Fault(key, {name: str(value) for name, value in fields.items()}))


def _flat(told: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in told.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value
