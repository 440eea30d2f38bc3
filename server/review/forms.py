"""A record's form at the desk: what it shows of each path as text, and what of it was altered when it comes back.

A field that was not sent, and one that comes back as it was shown, alters nothing, so an odd value that no field can
show rightly stays as it is. Whatever cannot be taken is named and shown again as it was typed. Plain values in, plain
values out. Not here: HTML, the reading of a docket (docket_form), and writing (editing).

Names of fields: a path (`weight_g`), a part of the value at a path (`fracture.angle`, `tooth/<id>.wear`), a part of
something new (`new/tooth/0.wear`).
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.rules.words import ITEMS as WORDS_OF_ITEMS
from fieldapp.domain.rules.words import PLAIN as WORDS
from fieldapp.records.changes import canonical

TEXT, NUMBER, WHOLE, FLAG = "text", "number", "whole", "flag"
"""Sorts of fields. Any other name of a sort is that of a list of words."""
RECORD = "record:"
"""Begins the sort of a field that names another record by its label or number: `record:bag`."""

YES, GONE = "yes", "gone"
FREE_ROWS, MOST_ROWS = 2, 40
COMPARED = 9_900
"""Characters: fewer than a field takes, so that a text that was cut there is not taken for an altered one."""

FIELDS: dict[str, dict[str, str]] = {
    "docket": {
        **WORDS["docket"],
        "bag": RECORD + "bag",
        "context": RECORD + "context",
        "count": WHOLE,
        "weight_g": NUMBER,
        "longest_mm": NUMBER,
        "weathering": "weathering",
        "fracture.angle": "fracture_angle",
        "fracture.outline": "fracture_outline",
        "fracture.texture": "fracture_texture",
        "finder": TEXT,
        "find_no": TEXT,
        "ask": FLAG,
    },
    "context": {
        **WORDS["context"],
        "number": TEXT,
        "trench": TEXT,
        "phase": TEXT,
        "dating.from": WHOLE,
        "dating.to": WHOLE,
    },
}
"""{kind: {field: sort}}."""

_NOTE = {"text": TEXT, "stage": "stage"}
ITEMS: dict[str, dict[str, dict[str, str]]] = {
    "docket": {
        "tooth": {
            "tooth": "tooth", **dict(WORDS_OF_ITEMS["docket"]["tooth"]), "scheme": "wear_scheme", "wear": TEXT,
            "crown_height_mm": NUMBER, "note": TEXT,
        },
        "measure": {"mm": NUMBER, "estimated": FLAG, "note": TEXT},
        "mark": {
            **dict(WORDS_OF_ITEMS["docket"]["mark"]), "portion": "portion", "number": WHOLE, "note": TEXT,
        },
        "pathology": {"kind": "pathology", "portion": "portion", "note": TEXT},
        "joins": {"break": "break"},
        "note": _NOTE,
    },
    "context": {"note": _NOTE},
}  # fmt: skip
"""{kind: {first part of an item's path: {field: sort}}}."""

KEYS = {"tooth": "tooth", "measure": "mm", "mark": "kind", "pathology": "kind", "joins": "break", "note": "text"}
"""{sort of item: the field without which it is none}: emptied, the item is taken away."""

_NUMBERED = {
    "weathering": "stage_",
    **dict.fromkeys(("fracture_angle", "fracture_outline", "fracture_texture"), "score_"),
}
"""Lists whose words stand for numbers, which are what is kept, and how the words begin."""

Find = Callable[[str, str], "list[str]"]
"""(kind, label or number) -> ids of the records called so."""


@dataclass(frozen=True, slots=True)
class Item:
    """Something there can be several of, as the form shows it. `new`: not written yet; `code`: of a measurement."""

    name: str
    sort: str
    new: bool
    code: str = ""


def shown(value: Any) -> str:
    """A value as a field shows it."""
    if value is None or value is False:
        return ""
    if value is True:
        return YES
    if isinstance(value, float):
        return f"{value:.10g}"
    return value if isinstance(value, str) else canonical(value)


def same(one: str, other: str, lines: bool = False) -> bool:
    """Whether two texts say the same: a browser, and the desk, may send white space otherwise than it was written.

    `lines`: where a line ends matters, as in a note. What is longer than a form takes is told by its beginning.
    """
    texts = [text.replace("\0", "").replace("\r\n", "\n").strip()[:COMPARED] for text in (one, other)]
    return texts[0] == texts[1] if lines else texts[0].split() == texts[1].split()


class CannotTake(ValueError):
    """What was typed is no value for its field. `args[0]`: why, a key of the texts."""


class Form:
    """The form over a record.

    values  {path: value} as it was shown when the form was opened
    once    the id that new items get theirs from, so that a form sent twice makes each of them once
    given   what was sent, {name: text}; None for a form that is shown for the first time
    labels  {id of another record: how it is called}
    """

    def __init__(
        self,
        kind: str,
        values: Mapping[str, Any],
        once: str,
        given: Mapping[str, str] | None,
        labels: Mapping[str, str],
        find: Find,
    ) -> None:
        self.kind, self.values, self.once, self.given, self._find = kind, values, once, given, find
        self.fields, self.sorts = FIELDS[kind], ITEMS[kind]
        self.opening: dict[str, str] = {}
        for name, sort in self.fields.items():
            value = part(values, name)
            known = isinstance(value, str) and sort.startswith(RECORD)
            self.opening[name] = labels.get(value, value) if known else shown(value)
        for item in self._written():
            value = values[item.name]
            if isinstance(value, Mapping):
                self.opening |= {f"{item.name}.{one}": shown(value.get(one)) for one in self.sorts[item.sort]}
            self.opening[f"{item.name}.{GONE}"] = ""
        self.typed = {**self.opening, **(given or {})}
        self.faults: dict[str, str] = {}

    # -- what is shown

    def text(self, name: str) -> str:
        """What stands in a field now."""
        return self.typed.get(name, "")

    def items(self, sort: str) -> list[Item]:
        """The items of a sort, then empty rows for more."""
        return [*(one for one in self._written() if one.sort == sort), *self.empty(sort)]

    def empty(self, sort: str) -> list[Item]:
        """Rows for more."""
        return [Item(f"new/{sort}/{n}", sort, True) for n in range(self.rows(sort))]

    def rows(self, sort: str) -> int:
        """How many empty rows of a sort are shown."""
        told = self.text(f"rows/{sort}")
        more = FREE_ROWS + 1 if self.text("more") == sort else 0
        return min(MOST_ROWS, (int(told) if told.isascii() and told.isdigit() and len(told) < 4 else FREE_ROWS) + more)

    def odd(self, item: Item) -> str:
        """What stands at an item that is of no shape that could be shown in fields; "" for all others."""
        value = self.values.get(item.name)
        return "" if item.new or isinstance(value, Mapping) else shown(value)

    def _written(self) -> Iterator[Item]:
        for path, value in self.values.items():
            sort = path.partition("/")[0]
            if value is not None and "/" in path and sort in self.sorts:
                code = value.get("code") if sort == "measure" and isinstance(value, Mapping) else None
                yield Item(path, sort, False, code if isinstance(code, str) else "")

    # -- what was altered

    def altered(self) -> dict[str, Any]:
        """{path: value} of what was altered. What could not be taken is left out, and named in `faults`."""
        found: dict[str, Any] = {}
        if self.given is None:
            return found
        for name, sort in self.fields.items():
            if self._differs(name) and (value := self._take(name, sort)) is not _NOT:
                path, _, field = name.partition(".")
                found[path] = with_part(found.get(path, self.values.get(path)), field, value) if field else value
        for item in self._written():
            if (value := self._item(item)) is not _NOT:
                found[item.name] = value
        for sort in self.sorts:
            for item in self.empty(sort):
                if (made := self._new(item)) is not None:
                    found[made[0]] = made[1]
        return found

    def _differs(self, name: str) -> bool:
        return not same(self.text(name), self.opening.get(name, ""), lines=name.endswith(".text"))

    def _take(self, name: str, sort: str) -> Any:
        try:
            return self._value(self.text(name), sort)
        except CannotTake as fault:
            self.faults[name] = str(fault)
            return _NOT

    def _value(self, text: str, sort: str) -> Any:
        if not text:
            return None
        if sort == FLAG:
            return True
        if sort in (NUMBER, WHOLE):
            return number_of(text, whole=sort == WHOLE)
        if sort.startswith(RECORD):
            ids = self._find(sort.removeprefix(RECORD), text)
            if len(ids) != 1:
                raise CannotTake("several" if ids else "unknown")
            return ids[0]
        if sort in _NUMBERED:
            return number_of(text.removeprefix(_NUMBERED[sort]), whole=True)
        return text

    def _item(self, item: Item) -> Any:
        """The value of a written item if it was altered, None where it was taken away; else _NOT."""
        before = self.values[item.name]
        if self.text(f"{item.name}.{GONE}"):
            return None
        if not isinstance(before, Mapping):
            return _NOT
        names = {f"{item.name}.{field}": field for field in self.sorts[item.sort]}
        changed = {field: name for name, field in names.items() if self._differs(name)}
        if not changed:
            return _NOT
        if item.sort != "joins" and KEYS[item.sort] in changed and not self.text(changed[KEYS[item.sort]]):
            return None
        return self._filled(dict(before), item.sort, changed)

    def _new(self, item: Item) -> tuple[str, Any] | None:
        """(path, value) of an empty row that was filled in."""
        fields = self.sorts[item.sort]
        names = {field: f"{item.name}.{field}" for field in fields if self.text(f"{item.name}.{field}")}
        if item.sort == "joins":
            other = f"{item.name}.docket"
            if not self.text(other):
                return None
            found = self._take(other, RECORD + "docket")
            return None if found is _NOT else (f"joins/{found}", self._filled({}, "joins", names))
        if KEYS[item.sort] not in names:
            wanting = set(fields) - {"stage", "number"}
            if wanting & set(names):
                self.faults[f"{item.name}.{KEYS[item.sort]}"] = "wanting"
            return None
        value = self._filled(self._started(item), item.sort, names)
        return None if value is _NOT else (f"{item.sort}/{uuid.uuid5(uuid.UUID(self.once), item.name)}", value)

    def _started(self, item: Item) -> dict[str, Any]:
        """What something new has without anybody saying so."""
        if item.sort == "measure":
            return {"code": item.code}
        started: dict[str, dict[str, Any]] = {"note": {"stage": "analysis"}, "mark": {"number": 1}}
        return started.get(item.sort, {})

    def _filled(self, value: dict[str, Any], sort: str, names: Mapping[str, str]) -> Any:
        for field, name in names.items():
            new = self._take(name, self.sorts[sort][field])
            if new is _NOT:
                return _NOT
            value = with_part(value, field, new) or {}
        return value


_NOT: Any = object()
"""Stands for no change."""


def part(values: Mapping[str, Any], name: str) -> Any:
    """The value at a path, or a part of it (`fracture.angle`)."""
    path, _, field = name.partition(".")
    value = values.get(path)
    if not field:
        return value
    return value.get(field) if isinstance(value, Mapping) else None


def with_part(value: Any, field: str, new: Any) -> dict[str, Any] | None:
    """A value with another part, without it for None; None where nothing is left."""
    found = {one: had for one, had in (value.items() if isinstance(value, Mapping) else ()) if one != field}
    if new is not None:
        found[field] = new
    return found or None


def number_of(text: str, *, whole: bool) -> float | int:
    """The number typed; a comma is a point. Raises CannotTake."""
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        raise CannotTake("number") from None
    # Python takes 1_5 for fifteen; whoever typed it meant something else.
    if not math.isfinite(found) or abs(found) >= 1e9 or "_" in text:
        raise CannotTake("number")
    if not whole:
        return found
    if found != int(found):
        raise CannotTake("whole")
    return int(found)
