"""The summary of a trench, or of any contexts together: a line a context, and what is identified by animal.

For: `summary_of` and `render_summary`, A4 lying. A docket that stands on the sheets of two contexts, because it is in
dispute where it lies, is counted once in the whole. Not for: minimum numbers, or any fragment by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime

from fieldapp.domain.knowledge import Knowledge
from fieldapp.sheets.boxes import Box, Stack, Text, table
from fieldapp.sheets.context_sheet import by_recovery, heading_of, weight_of
from fieldapp.sheets.edges import Edges, new_pen, top_of
from fieldapp.sheets.entries import ContextSheet, Docket, Figures, Span, Tally
from fieldapp.sheets.figures import figures
from fieldapp.sheets.page import draw
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import NOTHING, Words

Way = tuple[str | None, float | None]


@dataclass(frozen=True, slots=True)
class Line:
    """A context in the summary. `differs`: whether the context's own fields are in dispute."""

    number: str
    type: object
    phase: object
    state: object
    locked: bool
    differs: bool
    deleted: bool
    ways: tuple[tuple[object, object], ...]
    figures: Figures


@dataclass(frozen=True, slots=True)
class Summary:
    """Contexts, a line each, and what they are together: `whole`, and by how it was got."""

    site_code: str
    site_name: str
    lines: tuple[Line, ...]
    whole: Figures
    by_way: tuple[tuple[Way, Figures], ...]
    source: str


def summary_of(sheets: Iterable[ContextSheet], knowledge: Knowledge) -> Summary:
    """What these contexts are together; sheets are taken one by one and not kept."""
    lines: list[Line] = []
    dockets: dict[str, Docket] = {}
    tallies: dict[str, Tally] = {}
    code = name = source = ""
    for sheet in sheets:
        code, name, source = sheet.site_code, sheet.site_name, sheet.source
        dockets.update({one.id: one for one in sheet.dockets if one.id not in dockets})
        tallies.update({one.id: one for one in sheet.tallies})
        ways = tuple((one.recovery, one.mesh_mm) for one in sheet.bags if not one.deleted)
        own = (sheet.number, sheet.type, sheet.phase, sheet.state, sheet.locked, bool(sheet.differences))
        lines.append(Line(*own, sheet.deleted, ways, sheet.figures))

    def of(some: Iterable[Docket], counted: Iterable[Tally]) -> Figures:
        return figures([*some], knowledge, tallies=[*counted], loose_holds=0, differences=(), problems=())

    found: list[Docket | Tally] = [*dockets.values(), *tallies.values()]
    every = dict.fromkeys((one.recovery, one.mesh_mm) for one in found)
    by_way = tuple(
        (
            way,
            of(
                (one for one in dockets.values() if (one.recovery, one.mesh_mm) == way),
                (one for one in tallies.values() if (one.recovery, one.mesh_mm) == way),
            ),
        )
        for way in sorted(every, key=lambda one: (one[0] is None, one[0] or "", -(one[1] or 0.0)))
    )
    return Summary(code, name, tuple(lines), of(dockets.values(), tallies.values()), by_way, source)


def render_summary(summary: Summary, trench: str, texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """The summary as a PDF/A-1b file; `trench`: its name, "" for the whole site. ValueError: a time without a zone."""
    words = Words(texts)
    large = words.say("trench.of", trench=trench) if trench else words.say("trench.site")
    title = f"{summary.site_code} {large}".strip()
    with closing(
        new_pen(words, f"{title}: {words.say('trench.title')}", words.say("trench.subject"), printed_at, lying=True)
    ) as pen:
        held = any(one.figures.holds_open for one in summary.lines)
        warning = words.say("trench.hold") if held else ""
        edges = Edges(pen, words, title, printed_at, summary.source, warning=warning, line=words.say("trench.foot"))
        boxes: list[Box] = [
            top_of(
                pen,
                words,
                f"{summary.site_code}  {summary.site_name}".strip(),
                words.say("trench.title"),
                large,
                edges.room,
            )
        ]
        if held:
            boxes.append(
                Text(pen, f"{words.say('trench.hold')}. {words.say('cautions.law')}", edges.room, BODY, bold=True)
            )
        boxes += [_contexts(pen, words, summary, edges.room), _animals(pen, words, summary, edges.room)]
        draw(pen, edges.paginate(boxes), edges.head, edges.foot)
        return pen.bytes()


COLUMNS = {
    "context": 22.0,
    "type": 28.0,
    "phase": 22.0,
    "recovery": 40.0,
    "dockets": 16.0,
    "pieces": 16.0,
    "nsp": 14.0,
    "nisp": 14.0,
    "holds": 18.0,
    "disagreements": 13.0,
    "impossible": 12.0,
    "check": 12.0,
    "state": 0.0,
}


def _contexts(pen: Pen, words: Words, summary: Summary, room: float) -> Box:
    if not summary.lines:
        return Text(pen, words.say("trench.none"), room, BODY)
    widths = [*COLUMNS.values()]
    widths[-1] = room - sum(widths) - 2 * (len(widths) - 1)
    head = [words.say(f"trench.{one}") for one in COLUMNS]
    found = table(pen, head, [_line(words, one) for one in summary.lines], widths)
    found.flows = True
    return found


def _line(words: Words, line: Line) -> list[str]:
    told = line.figures
    number = line.number or words.say("no_number")
    state = words.word("context_state", line.state)
    return [
        words.say("bags.deleted", label=number) if line.deleted else number,
        words.word("context_type", line.type),
        words.plain(line.phase),
        words.ways(line.ways),
        words.span(told.total.dockets),
        words.span(told.total.pieces),
        words.span(told.nsp),
        words.span(told.total.nisp),
        str(told.holds_open),
        str(told.disagreements),
        str(told.problems.get("impossible", 0)),
        str(told.problems.get("check", 0)),
        words.say("head.locked", state=state) if line.locked else state,
    ]


def _animals(pen: Pen, words: Words, summary: Summary, room: float) -> Stack:
    """NISP by animal, a column for each way in which bones were got: those are never mixed unsaid."""
    whole = summary.whole
    ways = summary.by_way[:4]
    wide = 30.0
    widths = [60.0, *[wide] * len(ways), 26.0, 26.0, 26.0]
    head = [
        words.say("rows.taxon"),
        *(words.say("trench.nisp_of", way=words.way(*way)) for way, _ in ways),
        words.say("trench.nisp_all"),
        words.say("rows.pieces"),
        words.say("rows.weight"),
    ]
    by_way = [{row.heading: row for row in figures.rows} for _, figures in ways]
    rows = []
    for row in whole.rows:
        nisp = [found[row.heading].nisp if row.heading in found else Span(0, 0) for found in by_way]
        # What cannot be identified has no number of identified ones, not nought.
        shown = [words.span(one) if row.nisp.high else NOTHING for one in (*nisp, row.nisp)]
        rows.append([heading_of(words, row), *shown, words.span(row.pieces), weight_of(words, row)])
    total = whole.total
    each = [words.span(figures.total.nisp) for _, figures in ways]
    rows.append(
        [words.say("rows.total"), *each, words.span(total.nisp), words.span(total.pieces), weight_of(words, total)]
    )
    boxes: list[Box] = [
        Text(pen, words.say("trench.animals"), room, BODY + 2, bold=True),
        table(pen, head, rows, widths),
    ]
    if whole.by_recovery:
        boxes.append(by_recovery(pen, words, whole.by_recovery, 140.0))
    boxes += [
        Text(pen, words.say(one), room, TABLE) for one in ("trench.signs", "summary.range", "summary.definitions")
    ]
    return Stack(boxes, gap=1.2)
