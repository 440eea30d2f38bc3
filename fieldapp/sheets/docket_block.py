"""The block of one docket: what it is read as, its plate, fusion, notes, problems, and every version that differs.

For: one docket, laid out for a width. Not for: pages, the summary, or deciding what counts (gather, figures).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate

from fieldapp.domain import human, rules
from fieldapp.records.checking import SHAPE
from fieldapp.sheets.boxes import Box, Row, Rule, Space, Stack, Text
from fieldapp.sheets.entries import Assessed, ContextSheet, Docket, HumanReading, Note, Problem
from fieldapp.sheets.hold_banner import docket_banner
from fieldapp.sheets.observed import observed
from fieldapp.sheets.pen import THIN, Pen
from fieldapp.sheets.photo_box import photo_boxes
from fieldapp.sheets.plate_drawing import PlateBook
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.versions import (
    NAMES,
    Fact,
    bone_facts,
    difference_box,
    facts,
    names_in,
    one_fact,
    plate_of,
    reading_facts,
    version_letter,
)
from fieldapp.sheets.words import Words

PLATE = (32.0, 46.0)
"""Width and height of a docket's plate, mm."""


def docket_block(
    pen: Pen,
    words: Words,
    book: PlateBook,
    sheet: ContextSheet,
    docket: Docket,
    labels: Mapping[str, str],
    width: float,
    pictures: Mapping[str, bytes] | None = None,
) -> Stack:
    """The block; it may be parted only where it is longer than a page. `labels`: of dockets and bags by id."""
    boxes: list[Box] = [Rule(width, THIN, 0.6), _head(pen, words, docket, width)]
    banner = docket_banner(pen, words, sheet, docket, width)
    if banner:
        boxes.append(banner)
    boxes += [Text(pen, line, width, BODY, bold=True) for line in _life(words, docket)]
    boxes.append(_body(pen, words, book, docket, width))
    boxes += [human_box(pen, words, docket, width)]
    boxes += problem_boxes(pen, words, docket.problems, width)
    boxes += note_boxes(pen, words, docket.notes, width)
    boxes += _links(pen, words, docket, width)
    differences = docket.differences + (docket.hold.differences if docket.hold else ())
    boxes += [difference_box(pen, words, book, one, width, labels) for one in differences]
    if pictures is not None:
        own = [one for one in sheet.photos if one.docket == docket.id]
        boxes += photo_boxes(pen, words, own, pictures, width)
    boxes += _checked(pen, words, docket, width)
    again = words.say("continued", what=docket.label)
    return Stack(boxes, gap=1.2, again=Text(pen, again, width, TABLE, bold=True))


def problem_boxes(pen: Pen, words: Words, problems: Sequence[Problem], width: float) -> list[Box]:
    """What the rules say: level in words, the sentence, its source."""
    said: dict[tuple[str, str], set[int]] = {}
    for problem in problems:
        if problem.found.rule == SHAPE:
            path, why = problem.found.path, problem.found.fields["why"]
            sentence = words.say("problem.shape", path=words.field(path), why=why)
        else:
            sentence = rules.sentence(problem.found, words.texts)
        if problem.source:
            sentence = words.say("problem.source", sentence=sentence, source=problem.source)
        said.setdefault((problem.level, sentence), set()).update(problem.versions)
    found: list[Box] = []
    for (level, sentence), versions in said.items():
        if versions:
            letters = ", ".join(version_letter(n) for n in sorted(versions))
            sentence = words.say("problem.versions", letters=letters, sentence=sentence)
        shown = words.say(f"problem.{level}") if words.has(f"problem.{level}") else level
        columns = [
            Text(pen, shown, NAMES, TABLE, bold=level != "note"),
            Text(pen, sentence, width - NAMES - 1, TABLE),
        ]
        found.append(Row(columns, 1.0))
    return found


def note_boxes(pen: Pen, words: Words, notes: Sequence[Note], width: float) -> list[Box]:
    """Notes as written, each with who, when and the stage."""
    found: list[Box] = []
    for note in notes:
        said = words.say("note.said", said=words.said(*note.said))
        if note.stage is not None:
            said += f" ({words.word('stage', note.stage)})"
        found.append(Stack([Text(pen, words.plain(note.text), width, BODY), Text(pen, said, width, TABLE)]))
    return found


def _head(pen: Pen, words: Words, docket: Docket, width: float) -> Row:
    fields = next((one.fields for one in docket.differences if one.path == "reading"), {})
    disputed = [name for name, verdict in fields.items() if verdict == "conflict"]
    bag = words.say("docket.bag", bag=docket.bag) if docket.bag else words.say("docket.no_bag")
    if any(one.path == "bag" for one in docket.differences):
        bag = words.say("docket.bag_disputed")
    return Row(
        [
            Text(pen, docket.label, 46.0, BODY + 2, bold=True),
            Text(pen, words.title(docket.reading, disputed), width - 46 - 42 - 4, BODY, bold=True),
            Text(pen, bag, 42.0, TABLE, right=True),
        ],
        2.0,
    )


def _life(words: Words, docket: Docket) -> list[str]:
    said = words.said(*docket.deletions)
    if docket.life == "deleted":
        return [words.say("docket.deleted", said=said)]
    if docket.life == "disputed":
        unseen = [
            words.say("docket.unseen", field=words.field(path), said=words.said(one)) for path, one in docket.unseen
        ]
        return [words.say("docket.deletion_disputed", said=said, unseen="; ".join(unseen))]
    return []


def _body(pen: Pen, words: Words, book: PlateBook, docket: Docket, width: float) -> Box:
    """The reading that counts, with its plate; where readings are in dispute they stand below, side by side."""
    own, reading = _own_facts(words, docket), docket.reading
    difference = next((one for one in docket.differences if one.path == "reading"), None)
    if reading is None or (difference and not difference.precision):
        own += _items(words, docket)
        half = (len(own) + 1) // 2
        wide = (width - 4) / 2
        return Row([facts(pen, own[:half], wide), facts(pen, own[half:], wide)], 4.0)
    plate = plate_of(pen, words, book, reading, PLATE)
    left = 74.0 if plate else 92.0
    right = width - left - 2 - (plate.width + 2 if plate else 0)
    rows = reading_facts(words, reading, {})
    if docket.read_by and difference is None:
        rows.append((words.say("read_by"), words.said(*docket.read_by), ""))
    columns: list[Box] = [plate] if plate else []
    first, second = facts(pen, rows + own, left), bone_facts(pen, words, reading, {}, right)
    columns += _balanced(pen, first, second, _items(words, docket))
    body = Row(columns, 2.0)
    if difference is None:
        return body
    return Stack([Text(pen, words.say("docket.coarser"), width, TABLE, bold=True), Space(0.6), body])


def _own_facts(words: Words, docket: Docket) -> list[Fact]:
    """What the docket says beside its reading. What is in dispute says so here and stands in full below."""
    return [
        one_fact(words, path, getattr(docket, path), docket.differences)
        for path in ("material", "count", "weight_g", "burning", "finder")
        if path in ("material", "count", "weight_g")
        or getattr(docket, path) is not None
        or any(one.path == path for one in docket.differences)
    ]


def _balanced(pen: Pen, left: Stack, right: Stack, more: Sequence[Fact]) -> list[Box]:
    """Two columns with `more` below: its first lines on the left, the others on the right, so that the block is low."""
    below = facts(pen, more, left.width).boxes, facts(pen, more, right.width, names_in(right.width)).boxes
    own = [*accumulate((box.height for box in below[0]), initial=0.0)]
    others = [*accumulate((box.height for box in reversed(below[1])), initial=0.0)][::-1]
    at = min(range(len(more) + 1), key=lambda n: (max(left.height + own[n], right.height + others[n]), -n))
    rest = [Space(1.0), Rule(right.width, THIN, 0.8), *below[1][at:]] if at < len(more) else []
    return [Stack([*left.boxes, *below[0][:at]]), Stack([*right.boxes, *rest])]


def _items(words: Words, docket: Docket) -> list[Fact]:
    """What else was observed, by kind: one line for all marks, one for all teeth."""
    element = docket.reading.element if docket.reading else None
    found: dict[str, list[str]] = {}
    for path, value in docket.items:
        said = observed(path, value, words.texts, element)
        if said:
            found.setdefault(path.partition("/")[0], []).append(said)
    return [(words.field(head), "; ".join(said), "") for head, said in found.items()]


def human_box(pen: Pen, words: Words, docket: Docket, width: float) -> Box:
    """Where the human question stands, and every reading and assessment behind it."""
    standing = f"{words.say('human')}: {words.word('sheets.standing', docket.answer)}"
    strong = docket.answer in human.RAISED or docket.answer == human.NOT_EXCLUDED
    lines = []
    if docket.own != docket.answer:
        lines.append(words.say("human.joined", own=words.word("sheets.standing", docket.own)))
    lines += [_human_reading(words, one) for one in docket.human]
    lines += [_assessment(words, one) for one in docket.assessments]
    if len(lines) == 1 and _says_no_more(docket):
        standing, lines = words.say("human.by", standing=standing, said=words.said(docket.human[0].said)), []
    return Stack([Text(pen, standing, width, TABLE, bold=strong), *(Text(pen, one, width, TABLE) for one in lines)])


def _says_no_more(docket: Docket) -> bool:
    """Whether the one reading there is says nothing beyond where the docket stands."""
    one = docket.human[0] if docket.human else None
    return one is not None and one.answer == docket.answer and not one.why and not one.by_rule


def _human_reading(words: Words, reading: HumanReading) -> str:
    # A rule gives its own key as the reason, which its name says already.
    why = "" if not reading.why or reading.why == f"rule.{reading.by_rule}" else words.plain(reading.why)
    why = words.say("human.why", why=why) if why else ""
    if reading.by_rule:
        why += words.say("human.by_rule", rule=words.word("asked_by_rule", reading.by_rule))
    return words.say(
        "human.reading",
        answer=words.word("human_answer", reading.answer),
        why=why,
        said=words.said(reading.said),
        cleared=words.say("human.cleared") if reading.cleared else "",
    )


def _assessment(words: Words, assessed: Assessed) -> str:
    value = assessed.value if isinstance(assessed.value, Mapping) else {"verdict": assessed.value}
    part = " ".join(words.word(name, value[name]) for name in ("side", "element") if value.get(name))
    named = ", ".join(
        [*([part] if part else []), *([words.word("taxon", value["taxon"])] if value.get("taxon") else [])]
    )
    counts = ""
    if assessed.void:
        counts = words.say("human.void", why=words.word("sheets.void", assessed.void))
    elif assessed.overturned:
        counts = words.say("human.overturned")
    elif assessed.waits:
        counts = words.say("human.waits")
    return words.say(
        "human.assessment",
        verdict=words.word("verdict", value.get("verdict")),
        what=f" ({named})" if named else "",
        bone_seen=words.word("bone_seen", value.get("bone_seen")),
        said=words.said(assessed.said),
        counts=counts,
    )


def _checked(pen: Pen, words: Words, docket: Docket, width: float) -> list[Box]:
    """That a specialist has gone over it, and whether it has changed since."""
    if docket.checked:
        return [Text(pen, words.say("docket.checked", said=words.said(*docket.checked)), width, TABLE, bold=True)]
    if docket.was_checked:
        said = words.said(*docket.was_checked)
        return [Text(pen, words.say("docket.changed_since", said=said), width, TABLE, bold=True)]
    return []


def _links(pen: Pen, words: Words, docket: Docket, width: float) -> list[Box]:
    lines = []
    if docket.joined:
        lines.append(words.say("docket.joined", labels=", ".join(docket.joined)))
    if docket.groups:
        lines.append(words.say("docket.groups", labels=", ".join(docket.groups)))
    if docket.unknown:
        lines.append(words.say("docket.unknown", n=docket.unknown))
    return [Text(pen, line, width, TABLE) for line in lines]
