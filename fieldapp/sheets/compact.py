"""The compact sheet: a context on few pages, one line a fragment, for the finds tray and the wall.

For: `render_compact`, A4 lying. Holds stand in front as on the full sheet. Not for: plates, versions in full, notes,
or who said what: the full sheet has them, and says so here.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from datetime import datetime
from typing import Any

from fieldapp.sheets.boxes import Box, Stack, Text, table
from fieldapp.sheets.edges import Edges, new_pen, title_of, top_of
from fieldapp.sheets.entries import ContextSheet, Docket, Reading
from fieldapp.sheets.hold_banner import front_banners
from fieldapp.sheets.page import draw
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.tally_box import tally_boxes
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.versions import MARKS
from fieldapp.sheets.words import NOTHING, Words

COLUMNS = {
    "label": 19.0,
    "element": 28.0,
    "side": 15.0,
    "taxon": 29.0,
    "portions": 48.0,
    "fusion": 30.0,
    "count": 12.0,
    "weight": 13.0,
    "marks": 22.0,
    "human": 26.0,
    "signs": 0.0,
}
"""Widths in mm; the last takes what is left."""
SIGNS = {"impossible": "!!", "check": "!"}


def render_compact(sheet: ContextSheet, texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """The compact sheet as a PDF/A-1b file. Raises ValueError for a time without a zone."""
    words = Words(texts)
    title = title_of(words, sheet)
    subject = words.say("compact.subject")
    with closing(new_pen(words, f"{title}: {words.say('compact.title')}", subject, printed_at, lying=True)) as pen:
        warning = words.say("hold_here") if sheet.figures.holds_open else ""
        edges = Edges(
            pen, words, title, printed_at, sheet.source, warning=warning, line=words.say("compact.legend", **_legend())
        )
        draw(pen, edges.paginate(_blocks(pen, words, sheet, edges.room)), edges.head, edges.foot)
        return pen.bytes()


def _legend() -> dict[str, str]:
    return {**SIGNS, "nothing": NOTHING, "conflict": MARKS["conflict"].strip(), "precision": MARKS["precision"].strip()}


def _blocks(pen: Pen, words: Words, sheet: ContextSheet, room: float) -> list[Box]:
    number = words.say("context", number=sheet.number or words.say("no_number"))
    site = f"{sheet.site_code}  {sheet.site_name}".strip()
    boxes: list[Box] = [top_of(pen, words, site, words.say("compact.title"), number, room)]
    boxes.append(Text(pen, _context(words, sheet), room, TABLE))
    boxes += front_banners(pen, words, sheet, room)
    boxes.append(Text(pen, _sums(words, sheet), room, TABLE, bold=True))
    shown = [one for one in sheet.dockets if one.life != "deleted" or one.hold]
    if shown:
        head = [words.say(f"compact.{name}") for name in COLUMNS]
        widths = [*COLUMNS.values()]
        widths[-1] = room - sum(widths) - 2 * (len(widths) - 1)
        lines = table(pen, head, [_line(words, sheet, one) for one in shown], widths)
        lines.flows = True
        boxes.append(lines)
    else:
        boxes.append(Text(pen, words.say("empty"), room, BODY))
    tallies = tally_boxes(pen, words, sheet, room)
    if tallies:
        boxes.append(Stack([Text(pen, words.say("tallies"), room, BODY, bold=True), *tallies], gap=1.0))
    boxes.append(Text(pen, words.say("compact.full"), room, TABLE))
    return boxes


def _context(words: Words, sheet: ContextSheet) -> str:
    said = [
        (words.field("type"), words.word("context_type", sheet.type)),
        (words.field("trench"), words.plain(sheet.trench)),
        (words.field("phase"), words.plain(sheet.phase)),
        (words.field("state"), words.word("context_state", sheet.state)),
        (words.field("grave_like"), words.word("grave_like", sheet.grave_like)),
        (words.field("recovery"), words.ways((one.recovery, one.mesh_mm) for one in sheet.bags if not one.deleted)),
    ]
    if sheet.locked:
        said[3] = (said[3][0], words.say("head.locked", state=said[3][1]))
    shown = [words.say("compact.fact", name=name, value=value) for name, value in said]
    if sheet.differences:
        shown.append(words.say("compact.context_differs"))
    return words.say("and").join(shown)


def _sums(words: Words, sheet: ContextSheet) -> str:
    figures = sheet.figures
    return words.say(
        "compact.sums",
        dockets=words.span(figures.total.dockets),
        pieces=words.span(figures.total.pieces),
        nsp=words.span(figures.nsp),
        nisp=words.span(figures.total.nisp),
        holds=figures.holds_open,
        disagreements=figures.disagreements,
        impossible=figures.problems.get("impossible", 0),
        check=figures.problems.get("check", 0),
    )


def _line(words: Words, sheet: ContextSheet, docket: Docket) -> list[str]:
    label = docket.label.removeprefix(f"{sheet.site_code} ")
    if docket.life == "deleted":
        label = words.say("bags.deleted", label=label)
    reading = docket.reading
    cells = [
        *(_said(words, docket, name) for name in ("element", "side", "taxon")),
        _portions(words, reading) if reading else "",
        _fusion(words, reading) if reading else "",
        _plain(words, docket, "count"),
        _plain(words, docket, "weight_g"),
        _marks(words, docket),
        words.word("sheets.short_standing", docket.answer),
    ]
    return [label, *(one or NOTHING for one in cells), _signs(words, docket)]


def _said(words: Words, docket: Docket, field: str) -> str:
    """A field of the reading; every version of it where they conflict."""
    reading = docket.reading
    difference = next((one for one in docket.differences if one.path == "reading"), None)
    if difference is not None and difference.fields.get(field) == "conflict":
        read = [one.reading for one in difference.versions if one.reading is not None]
        said = dict.fromkeys(words.word(field, getattr(one, field)) for one in read)
        return MARKS["conflict"] + " / ".join(said)
    if reading is None or getattr(reading, field) in (None, ""):
        return "" if field != "element" else words.word("material", docket.material)
    said_once = words.word(field, getattr(reading, field))
    if field == "taxon" and reading.certainty == "cf":
        said_once = words.say("docket.cf", taxon=said_once)
    differs = difference is not None and difference.fields.get(field) == "precision"
    return (MARKS["precision"] if differs else "") + said_once


def _plain(words: Words, docket: Docket, path: str) -> str:
    difference = next((one for one in docket.differences if one.path == path), None)
    if difference is not None and not difference.precision:
        return MARKS["conflict"] + " / ".join(_figure(words, one.value) for one in difference.versions)
    return _figure(words, difference.used if difference else getattr(docket, path))


def _figure(words: Words, value: Any) -> str:
    return "" if value is None else words.plain(value)


def _portions(words: Words, reading: Reading) -> str:
    """What is there: the portions of which most is, then those of which only a part is."""

    def named(state: str) -> str:
        names = [key for key, told in reading.portions if told == state]
        return ", ".join(words.texts.get(f"portion.{reading.element}.{key}", key) for key in names)

    most, part = named("most"), named("part")
    return "; ".join([most] * bool(most) + [words.say("compact.part", portions=part)] * bool(part))


def _fusion(words: Words, reading: Reading) -> str:
    told = [(key, state) for key, state in reading.fusion if state not in (None, "not_visible", "not_examined")]
    return ", ".join(
        f"{words.texts.get(f'centre.{reading.element}.{key}', key)} {words.word('fusion_state', state)}"
        for key, state in told
    )


def _marks(words: Words, docket: Docket) -> str:
    """What was done to the bone: kinds of marks, burning, what is unhealthy; each once."""
    found: list[str] = []
    if docket.burning not in (None, "", "unburnt"):
        found.append(words.word("burning", docket.burning))
    for path, value in docket.items:
        head = path.partition("/")[0]
        if head in ("mark", "pathology") and isinstance(value, Mapping):
            found.append(words.word(f"{head}_kind" if head == "mark" else head, value.get("kind")))
        elif head == "digestion" and value not in (None, "", "none"):
            found.append(words.word("digestion", value))
    return ", ".join(dict.fromkeys(found))


def _signs(words: Words, docket: Docket) -> str:
    conflicts = sum(not one.precision for one in docket.differences) + (docket.life == "disputed")
    signs = [f"{MARKS['conflict'].strip()}{conflicts}"] if conflicts else []
    signs += [MARKS["precision"].strip()] if any(one.precision for one in docket.differences) else []
    for level, sign in SIGNS.items():
        n = sum(one.level == level for one in docket.problems)
        signs += [f"{sign}{n}"] if n else []
    if docket.checked:
        signs.append(words.say("compact.checked"))
    return " ".join(signs)
