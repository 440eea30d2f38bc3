"""The report as an archival PDF, in the hand of the sheets.

For: pages with head and foot, tables that go on overleaf, charts. Not for: what is in it (contents).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from datetime import datetime
from io import BytesIO

from PIL import Image

from fieldapp.domain.assemblage.results import Result
from fieldapp.sheets.boxes import Box, Space, Stack, Text, table
from fieldapp.sheets.edges import Edges, new_pen, top_of
from fieldapp.sheets.page import draw
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import Words
from server.analysis import charts
from server.analysis.report.contents import ROWS, Entry, Report
from server.analysis.wording import Wording

HEADING = BODY + 4
CHART = 150.0
"""Width of a chart on the page, mm."""
WIDEST = 11
"""Columns that fit a page; what is wider is in the files."""


class Picture(Box):
    """A picture, as wide as it is told to be."""

    def __init__(self, data: bytes, width: float, height: float) -> None:
        self.data, self.width, self.height = data, width, height

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.image(self.data, x, y, self.width, self.height)


def pdf(
    report: Report, wording: Wording, texts: Mapping[str, str], printed_at: datetime, *, source: str, data: str
) -> bytes:
    """The report as a PDF/A-1b file. `source`: the ledger, in words; `data`: its folder, as commands name it."""
    words = Words(texts)
    title = f"{report.site}: {report.title}"
    with closing(new_pen(words, title, wording.say("report.subject"), printed_at)) as pen:
        edges = Edges(pen, words, title, printed_at, source, line=wording.say("report.foot"))
        room = edges.room
        boxes: list[Box] = [top_of(pen, words, report.site, wording.say("report.kind"), report.title, room)]
        boxes += [Text(pen, one, room, BODY, bold=n == 0) for n, one in enumerate(report.cautions)]
        boxes += _section(pen, wording.say("report.heading.studied"), [report.asked, *report.studied], room)
        boxes += _section(pen, wording.say("report.heading.left_out"), report.left_out, room)
        number = 0
        for part in report.parts:
            if part.entries:
                boxes.append(_heading(pen, wording.say(f"topic.{part.topic}"), room))
            for entry in part.entries:
                number += 1
                boxes += _entry(pen, wording, entry, number, room, data)
        boxes.append(_heading(pen, wording.say("report.heading.methods"), room))
        boxes += [
            Stack([Text(pen, name, room, BODY, bold=True), Text(pen, how, room, BODY)]) for name, how in report.methods
        ]
        boxes += _section(pen, wording.say("report.heading.sources"), report.sources, room)
        draw(pen, edges.paginate(boxes, gap=2.5), edges.head, edges.foot)
        return pen.bytes()


def _heading(pen: Pen, words: str, room: float) -> Box:
    return Stack([Space(3), Text(pen, words, room, HEADING, bold=True)])


def _section(pen: Pen, heading: str, paragraphs: Sequence[str], room: float) -> list[Box]:
    if not paragraphs:
        return []
    texts = [Text(pen, one, room, BODY) for one in paragraphs]
    return [Stack([_heading(pen, heading, room), texts[0]], gap=1.5), *texts[1:]]


def _entry(pen: Pen, wording: Wording, entry: Entry, number: int, room: float, data: str) -> Iterator[Box]:
    result = entry.result
    named = ", ".join(one for one in (wording.title(result), entry.of, wording.unit(result.unit)) if one)
    title = Text(pen, wording.say("report.table", n=number, title=named), room, BODY, bold=True)
    rows = _table(pen, wording, result, room)
    yield Stack([Space(1.5), title])
    yield rows
    below = [wording.note(one) for one in result.notes]
    if len(result.rows) > ROWS:
        below.append(wording.say("report.more", shown=ROWS, n=len(result.rows)))
    if len(result.columns) > WIDEST:
        below.append(wording.say("report.wide", shown=WIDEST, n=len(result.columns)))
    below += [words for words, _ in wording.left_out(result)]
    below.append(wording.say("report.again", command=entry.command(data)))
    yield from (Text(pen, one, room, TABLE) for one in below)
    for chart in result.charts:
        yield _picture(charts.draw(chart, wording, wording.chart_title(result, chart), "png"))


def _table(pen: Pen, wording: Wording, result: Result, room: float) -> Box:
    columns = result.columns[:WIDEST]
    body = [
        [wording.cell(column, cell) for column, cell in zip(columns, row.cells, strict=False)]
        for row in result.rows[:ROWS]
    ]
    found = table(pen, [wording.heading(one) for one in columns], body, _widths(pen, wording, result, body, room))
    found.flows = True
    return found


def _widths(pen: Pen, wording: Wording, result: Result, body: Sequence[Sequence[str]], room: float) -> list[float]:
    """As wide as what stands in them; where that is more than there is, the widest give way."""
    heads = [wording.heading(one) for one in result.columns[:WIDEST]]
    # Headings may be broken into lines, words of the table not if it can be helped.
    wants = [
        max(
            [
                max(
                    pen.bold_type.width(pen.bold_type.printable(word), TABLE)
                    for word in head.capitalize().split() or [""]
                )
            ]
            + [pen.type.width(pen.type.printable(line[n]), TABLE) for line in body]
        )
        + 0.6
        for n, head in enumerate(heads)
    ]
    free = room - 2.0 * (len(wants) - 1)
    while sum(wants) > free + 0.01:
        widest = max(wants)
        second = max([one for one in wants if one < widest], default=0.0)
        most = [n for n, one in enumerate(wants) if one == widest]
        less = min(widest - second, (sum(wants) - free) / len(most))
        for n in most:
            wants[n] = widest - max(less, 0.05)
    return wants


def _picture(png: bytes) -> Picture:
    # The archive's form of file knows no transparency.
    with Image.open(BytesIO(png)) as opened:
        flat = opened.convert("L")
    out = BytesIO()
    flat.save(out, "JPEG", quality=88)
    return Picture(out.getvalue(), CHART, CHART * flat.height / flat.width)
