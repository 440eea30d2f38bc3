"""A reading on paper, and the versions of what differs set side by side.

For: one reading with its plate, or all versions of one path in full, each with who and when. Not for: which is right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fieldapp.domain.plates import STATES
from fieldapp.sheets.boxes import Box, Frame, Row, Space, Stack, Text, frame_room
from fieldapp.sheets.entries import Difference, Reading, Version
from fieldapp.sheets.observed import observed
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.plate_drawing import PlateBook, Size, plate_box
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import Words

MARKS = {"conflict": "≠\u00a0", "precision": "~\u00a0"}
GAP = 3.0
NAMES, WIDE_NAMES = 25.0, 32.0
"""Width of the column of names, mm."""

Fact = tuple[str, str, str]
"""(name, value, mark): mark "" , "conflict" or "precision"."""


def facts(pen: Pen, rows: Sequence[Fact], width: float, names: float = NAMES) -> Stack:
    """Names and values in two columns; what differs is marked and bold."""
    return Stack(
        [
            Row(
                [
                    Text(pen, name, names, TABLE),
                    Text(pen, MARKS.get(mark, "") + value, width - names - 1, TABLE, bold=mark == "conflict"),
                ],
                1.0,
            )
            for name, value, mark in rows
        ]
    )


def names_in(width: float) -> float:
    """How wide the names are in a column beside a plate, mm."""
    return WIDE_NAMES if width > 70 else NAMES


def one_fact(words: Words, path: str, value: object, differences: Sequence[Difference], of: str = "") -> Fact:
    """A plain field as a fact: what is in dispute shows every version, what differs in precision the coarser one.

    `of`: the vocabulary list of the field, if it is not named as the field is.
    """
    difference = next((one for one in differences if one.path == path), None)
    if difference and not difference.precision:
        said = " / ".join(words.value(path, one.value, of) for one in difference.versions)
        return words.field(path), said, "conflict"
    value = difference.used if difference else value
    shown = words.say("not_recorded") if value in (None, "") else words.value(path, value, of)
    return words.field(path), shown, "precision" if difference else ""


def marked(fact: Fact) -> str:
    """A fact's value with its mark, for a place that has its name already."""
    return MARKS.get(fact[2], "") + fact[1]


def reading_facts(words: Words, reading: Reading, fields: Mapping[str, str]) -> list[Fact]:
    """What a reading says beside portions and fusion. Sex and comparison stand only where there is something to say."""

    def fact(name: str, value: str) -> Fact:
        return words.field(name), value, fields.get(name, "")

    found = [
        fact(name, words.word(name, getattr(reading, name)))
        for name in ("element", "side", "taxon", "certainty", "stage")
    ]
    if reading.sex or "sex" in fields:
        found.append(fact("sex", words.word("sex", reading.sex)))
    if reading.compared or "compared" in fields:
        found.append(fact("compared", words.plain(reading.compared)))
    found += [
        ((name and words.field(name)) or words.field("reading"), _rest(words, name, value), fields.get(name, ""))
        for name, value in sorted(reading.rest.items())
        if value is not None or name in fields
    ]
    return found


def _rest(words: Words, name: str, value: object) -> str:
    return observed(name, value, words.texts) if isinstance(value, str) and value else words.plain(value)


def portion_facts(words: Words, reading: Reading, fields: Mapping[str, str]) -> list[Fact]:
    """The portions by state; those that differ are marked one by one."""
    by_state: dict[str, list[str]] = {}
    for key, state in reading.portions:
        name = words.texts.get(f"portion.{reading.element}.{key}", key)
        mark = MARKS.get(fields.get(f"portions/{key}", ""), "")
        by_state.setdefault(state if isinstance(state, str) else words.plain(state), []).append(mark + name)
    order = [*STATES, *sorted(by_state.keys() - STATES.keys())]
    found = []
    for state in order:
        if state in by_state:
            found.append((words.word("sheets.state", state), ", ".join(by_state[state]), ""))
    return found


def fusion_facts(words: Words, reading: Reading, fields: Mapping[str, str]) -> list[Fact]:
    """The fusion table: centre and state."""
    return [
        (
            words.texts.get(f"centre.{reading.element}.{key}", key),
            words.word("fusion_state", state),
            fields.get(f"fusion/{key}", ""),
        )
        for key, state in reading.fusion
    ]


def bone_facts(pen: Pen, words: Words, reading: Reading, fields: Mapping[str, str], width: float) -> Stack:
    """Portions and fusion, each under its heading."""
    boxes: list[Box] = []
    names = names_in(width)
    portions, fusion = portion_facts(words, reading, fields), fusion_facts(words, reading, fields)
    boxes.append(Text(pen, words.say("docket.portions"), width, TABLE, bold=True))
    boxes.append(
        facts(pen, portions, width, names) if portions else Text(pen, words.say("docket.no_portions"), width, TABLE)
    )
    if fusion:
        boxes += [Space(1.0), Text(pen, words.say("docket.fusion"), width, TABLE, bold=True)]
        boxes.append(facts(pen, fusion, width, names))
    return Stack(boxes)


def plate_of(pen: Pen, words: Words, book: PlateBook, reading: Reading, size: Size) -> Box | None:
    """The reading's plate, or None where none is drawn for such a bone."""
    bone = (reading.element, reading.taxon, reading.side)
    return plate_box(pen, words, book, bone, dict(reading.portions), size, reading.form)


def difference_box(
    pen: Pen, words: Words, book: PlateBook, difference: Difference, width: float, labels: Mapping[str, str]
) -> Box:
    """Every version of one path, side by side, in rows of at most three."""
    field = words.field(difference.path, labels)
    if not difference.versions:
        return Text(pen, words.say("difference.unknown", path=difference.path), width, BODY, bold=True)
    kind = "precision" if difference.precision else "conflict"
    used = ""
    if difference.precision and difference.path == "reading":
        used = words.say("difference.used_reading")
    elif difference.precision and difference.used is None:
        used = words.say("difference.used_none")
    elif difference.precision:
        used = words.say("difference.used", value=words.value(difference.path, difference.used))
    heading = words.say(f"difference.{kind}", field=field, n=len(difference.versions), used=used)
    boxes: list[Box] = [Text(pen, heading, width, BODY, bold=True)]
    if difference.fields:
        boxes.append(Text(pen, words.say("difference.marks"), width, TABLE))
    across = 2 if len(difference.versions) in (2, 4) else 3
    wide = (width - GAP * (across - 1)) / across
    for start in range(0, len(difference.versions), across):
        shown = difference.versions[start : start + across]
        heads = [_version_head(pen, words, start + n, one, frame_room(wide)) for n, one in enumerate(shown)]
        high = max(head.height for head in heads)
        columns = []
        for head, one in zip(heads, shown, strict=True):
            # Heads and frames are made equally high, so that columns can be compared.
            body = _version_body(pen, words, book, difference, one, frame_room(wide))
            columns.append(Frame(Stack([head, Space(high - head.height + 1.0), body]), wide))
        high = max(column.height for column in columns)
        for column in columns:
            column.height = high
        boxes.append(Row(columns, GAP))
    return Stack(boxes, gap=1.0)


def _version_head(pen: Pen, words: Words, n: int, version: Version, room: float) -> Stack:
    letter = words.say("difference.version", letter=version_letter(n))
    return Stack([Text(pen, letter, room, TABLE, bold=True), Text(pen, words.said(*version.said), room, TABLE)])


def _version_body(
    pen: Pen, words: Words, book: PlateBook, difference: Difference, version: Version, room: float
) -> Box:
    reading = version.reading
    if reading is None:
        return Text(pen, words.value(difference.path, version.value), room, BODY, bold=True)
    beside = room >= 80
    plate = plate_of(pen, words, book, reading, (31.0, 50.0) if beside else (room, 50.0))
    wide = room - plate.width - 2 if plate and beside else room
    said = Stack(
        [
            facts(pen, reading_facts(words, reading, difference.fields), wide),
            Space(1.0),
            bone_facts(pen, words, reading, difference.fields, wide),
        ]
    )
    if plate is None:
        return said
    return Row([plate, said], 2.0) if beside else Stack([plate, Space(1.0), said])


def version_letter(n: int) -> str:
    """What version `n` (from 0) is called on the sheet."""
    return chr(ord("A") + n) if n < 26 else str(n + 1)
