"""A list of contexts as people keep it, pasted or in a file: read line by line, with what is wrong in each.

Columns have these names, in any order, capitals or not; `number` has to be there:

    number      the context's number               grave_like  yes, no or unknown
    type        a word of the list, or its name    from, to    years, before the common era with a minus
    trench      in the site's own words            deposit     a word of the list, or its name
    phase       in the site's own words            note        free words

Between cells stands a comma, a semicolon or a tab; a cell that has one of them in it stands in quotation marks. Pure
functions. Not here: what is there already and what is written (server.review.adding_contexts).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain.ids import context_number

COLUMNS = ("number", "type", "trench", "phase", "grave_like", "from", "to", "deposit", "note")
LISTS = {"type": "context_type", "grave_like": "grave_like", "deposit": "deposit"}
"""{column: the list its words are from}."""
YEARS = (-1_000_000, 2200)
LONGEST = {"note": 10_000}
LONGEST_CELL = 200
MOST = 5000
"""Lines at a time."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong: a key, the column, and what stands there."""

    key: str
    column: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A line. `values`: {path of the context: value} of what it says, without the number; `note` apart."""

    line: int
    number: str
    values: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Listed:
    """All of it. `faults` are of the list as a whole, which is then not read on."""

    rows: tuple[Row, ...] = ()
    faults: tuple[Fault, ...] = ()


def text_of(data: bytes) -> tuple[str, str]:
    """A file's text, and in what letters it was written: "utf-8", "utf-16" or "cp1252". Raises UnicodeDecodeError."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16"), "utf-16"
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252"), "cp1252"


def read(text: str, words: Mapping[str, Mapping[str, str]]) -> Listed:
    """The lines of a list. `words`: {list: {what may be written, in small letters: word}}."""
    text = text.removeprefix("\ufeff").replace("\0", "")
    head = next((line for line in text.splitlines() if line.strip()), "")
    if not head:
        return Listed(faults=(Fault("empty"),))
    delimiter = max(",;\t", key=lambda one: sum(_name(cell) in COLUMNS for cell in head.split(one)))
    cells = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        lines = [(cells.line_num, row) for row in cells if any(cell.strip() for cell in row)]
    except csv.Error as error:
        return Listed(faults=(Fault("csv", text=f"{cells.line_num}: {error}"),))
    names = [_name(cell) for cell in lines[0][1]]
    faults = [Fault("column", text=one) for one in names if one not in COLUMNS]
    faults += [Fault("column_twice", text=one) for one in dict.fromkeys(names) if names.count(one) > 1]
    if "number" not in names:
        faults.append(Fault("no_number_column"))
    if len(lines) - 1 > MOST:
        faults.append(Fault("many", text=str(MOST)))
    if faults or len(lines) == 1:
        return Listed(faults=tuple(faults) or (Fault("only_head"),))
    found, seen = [], set()
    for line, row in lines[1:]:
        one = _row(line, names, row, words)
        same = context_number(one.number)
        if same and same in seen:
            one = Row(one.line, one.number, one.values, one.note, (*one.faults, Fault("twice", "number", one.number)))
        seen.add(same)
        found.append(one)
    return Listed(tuple(found))


def _name(cell: str) -> str:
    return "_".join(cell.replace("-", " ").replace("_", " ").split()).strip('"').casefold()


def _row(line: int, names: Sequence[str], cells: Sequence[str], words: Mapping[str, Mapping[str, str]]) -> Row:
    told = {name: " ".join(cell.split()) for name, cell in zip(names, cells, strict=False) if cell.strip()}
    faults = [Fault("cells")] if any(cell.strip() for cell in cells[len(names) :]) else []
    faults += [
        Fault("long", one, text[:40]) for one, text in told.items() if len(text) > LONGEST.get(one, LONGEST_CELL)
    ]
    number = told.pop("number", "")
    if not number:
        faults.append(Fault("no_number", "number"))
    note = told.pop("note", "")
    years: dict[str, int] = {}
    values: dict[str, Any] = {}
    for name, text in told.items():
        if name in ("from", "to"):
            year = year_of(text)
            if year is None:
                faults.append(Fault("year", name, text))
            else:
                years[name] = year
        elif name in LISTS:
            word = words.get(LISTS[name], {}).get(text.casefold())
            if word is None:
                faults.append(Fault("word", name, text))
            else:
                values[name] = word
        else:
            values[name] = text
    if len(years) == 2 and years["from"] > years["to"]:
        faults.append(Fault("reversed", "to", f"{years['from']}, {years['to']}"))
    if years:
        values["dating"] = {"from": years.get("from"), "to": years.get("to")}
    return Row(line, number, values, note, tuple(faults))


def year_of(text: str) -> int | None:
    """A year as it is typed, before the common era with a minus; None for what is none."""
    # Word processors make a long dash of a minus.
    plain = text.replace("\N{MINUS SIGN}", "-").replace("\N{EN DASH}", "-")
    digits = plain.removeprefix("-")
    if not (digits.isascii() and digits.isdigit() and len(digits) < 9):
        return None
    year = int(plain)
    return year if YEARS[0] <= year <= YEARS[1] else None
