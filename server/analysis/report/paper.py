"""The report as an archival PDF, in the hand of the sheets.

For: pages with head and foot, tables that go on overleaf, charts. Not for: what is in it (contents).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from datetime import datetime
from io import BytesIO
from itertools import groupby

from PIL import Image

from fieldapp.domain.assemblage.results import Result
from fieldapp.sheets.boxes import Box, Row, Space, Stack, Text, Whole, table
from fieldapp.sheets.edges import Edges, new_pen, top_of
from fieldapp.sheets.page import draw
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.words import Words
from server.analysis import charts
from server.analysis.report.contents import ROWS, Entry, Report
from server.analysis.wording import Wording

HEADING = BODY + 4
CHART, BESIDE, INCH = 135.0, 4.0, 25.4
"""Width of a chart on the page, and between two that stand beside each other, mm."""
SMALL = 8.0
"""Points of what stands below a table."""
SIZES, LEAST = (TABLE, 8.5, 8.0, 7.5), (7.0, 6.5, 6.0)
"""Points of a table: as they are read easily, and what is left where words would be broken."""
GAP = 3.0
"""Between columns, mm."""
STEP = 1.0
"""By which a column is made wider for its heading, mm."""
ABREAST = {"skeleton": 2, "plate": 3}
"""So many pictures of a kind stand in a row."""
TALL = 60.0
"""A row higher than this may be parted, mm."""


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
        boxes.append(Text(pen, wording.say("report.note_once"), room, BODY))
        boxes += [Text(pen, one, room, BODY) for one in (report.empty, report.others) if one]
        number = 0
        for part in report.parts:
            made = [(number + n, entry) for n, entry in enumerate(part.entries, 1)]
            number += len(made)
            found = [box for n, entry in made for box in _entry(pen, wording, entry, n, room, data)]
            boxes += _headed(pen, wording.say(f"topic.{part.topic}"), found, room)
        for n, (name, *told) in enumerate(report.methods):
            heading = [] if n else [_heading(pen, wording.say("report.heading.methods"), room)]
            texts_of = [Text(pen, name, room, BODY, bold=True), *(Text(pen, one, room, BODY) for one in told)]
            boxes.append(Stack([*heading, *texts_of]))
        told = [wording.say("report.sources.what"), *report.sources] if report.sources else []
        boxes += _section(pen, wording.say("report.heading.sources"), told, room)
        boxes.append(Stack([Space(8), Text(pen, wording.say("report.signed"), room, BODY)]))
        draw(pen, edges.paginate(boxes, gap=2.5), edges.head, edges.foot)
        return pen.bytes()


def _heading(pen: Pen, words: str, room: float) -> Box:
    return Stack([Space(3), Text(pen, words, room, HEADING, bold=True)])


def _headed(pen: Pen, heading: str, boxes: list[Box], room: float) -> list[Box]:
    """A heading that stands on the page of what comes first below it."""
    if not boxes:
        return []
    first = boxes[0]
    assert isinstance(first, Stack)
    first = Stack([Whole([_heading(pen, heading, room), *first.boxes[:1]]), *first.boxes[1:]], again=first.again)
    first.flows = True
    return [first, *boxes[1:]]


def _section(pen: Pen, heading: str, paragraphs: Sequence[str], room: float) -> list[Box]:
    if not paragraphs:
        return []
    texts = [Text(pen, one, room, BODY) for one in paragraphs]
    return [Stack([_heading(pen, heading, room), texts[0]], gap=1.5), *texts[1:]]


def _entry(pen: Pen, wording: Wording, entry: Entry, number: int, room: float, data: str) -> Iterator[Box]:
    result = entry.result
    title = wording.say("report.table", n=number, title=wording.full_title(result))
    yield _table(pen, wording, result, Text(pen, title, room, BODY, bold=True), room)
    below = [*entry.below, *entry.ends(wording, data)]
    if below:
        yield Stack([Text(pen, one, room, SMALL) for one in below], gap=0.7)
    yield from _pictures(wording, entry, room)


def _table(pen: Pen, wording: Wording, result: Result, title: Box, room: float) -> Box:
    """The table under its title, which stands on the page of its first row; no row is parted."""
    columns = result.columns
    body = [[wording.cell(*pair) for pair in zip(columns, row.cells, strict=True)] for row in result.rows[:ROWS]]
    heads = [wording.heading(one) for one in columns]
    size, widths = _set(pen, heads, body, room)
    right = {n for n, one in enumerate(columns) if one.kind != "word"}
    totals = {n for n, row in enumerate(result.rows[:ROWS]) if row.total}
    head, *rows = table(pen, heads, body, widths, size, right=right, as_it_stands=True, gap=GAP, bold=totals).boxes
    first = Whole([Space(1.5), title, Space(1.0), head, *rows[:1]])
    found = Stack([first, *(Whole([one]) if one.height < TALL else one for one in rows[1:])], again=head)
    found.flows = True
    return found


def _set(pen: Pen, heads: Sequence[str], body: Sequence[Sequence[str]], room: float) -> tuple[float, list[float]]:
    """(size of the letters, widths of the columns) with which the table has fewest lines and no broken word."""
    free = room - GAP * (len(heads) - 1)
    found: tuple[int, float, list[float]] | None = None
    for size in (*SIZES, *LEAST):
        if found is not None and size in LEAST:
            break
        least, wants = (_wants(pen, heads, body, size, whole=whole) for whole in (False, True))
        if sum(wants) <= free:
            widths = wants
        elif sum(least) <= free:
            # What is to spare goes to those that want more.
            more = [want - own for want, own in zip(wants, least, strict=True)]
            widths = [own + (free - sum(least)) / sum(more) * one for own, one in zip(least, more, strict=True)]
        else:
            continue
        lines = sum(_lines(pen, line, widths, size) for line in body)
        if found is None or lines < found[0]:
            found = lines, size, widths
        if widths is wants:
            break
    if found is None:
        least = _wants(pen, heads, body, LEAST[-1], whole=False)
        return LEAST[-1], [one * free / sum(least) for one in least]
    return found[1], _eased(pen, heads, found[1], found[2], free)


def _eased(pen: Pen, heads: Sequence[str], size: float, widths: Sequence[float], free: float) -> list[float]:
    """The same widths, and what is left on the page to headings that run over more than two lines."""
    eased, spare = [*widths], free - sum(widths)
    for n in sorted(range(len(heads)), key=lambda one: -len(pen.bold_type.lines(heads[one], size, widths[one]))):
        while spare >= STEP and len(pen.bold_type.lines(heads[n], size, eased[n])) > 2:
            eased[n] += STEP
            spare -= STEP
    return eased


def _lines(pen: Pen, line: Sequence[str], widths: Sequence[float], size: float) -> int:
    return max((len(pen.type.lines(cell, size, wide)) for cell, wide in zip(line, widths, strict=True)), default=1)


def _wants(pen: Pen, heads: Sequence[str], body: Sequence[Sequence[str]], size: float, *, whole: bool) -> list[float]:
    """Of each column the width that no word is broken in, and in the table, if `whole`, no cell."""
    found = []
    for n, head in enumerate(heads):
        words = [pen.bold_type.width(word, size) for word in pen.bold_type.printable(head).split()]
        for line in body:
            # A row of sums is bold, and so may any be.
            cell = pen.bold_type.printable(line[n])
            words += [pen.bold_type.width(one, size) for one in ([cell] if whole else cell.split())]
        found.append(max(words, default=0.0) + 0.6)
    return found


def _pictures(wording: Wording, entry: Entry, room: float) -> Iterator[Box]:
    """The charts; skeletons and plates several in a row."""
    numbered = enumerate(entry.result.charts)
    for (_, abreast), those in groupby(numbered, lambda one: (one[1].kind, ABREAST.get(one[1].kind, 1))):
        width = min(CHART, (room - BESIDE * (abreast - 1)) / abreast)
        drawn = [
            _picture(charts.draw(one, wording, entry.figure_title(n, wording), "png", width / INCH), width)
            for n, one in those
        ]
        for first in range(0, len(drawn), abreast):
            yield Row(drawn[first : first + abreast], BESIDE)


def _picture(png: bytes, width: float) -> Picture:
    # The archive's form of file knows no transparency, and paper needs no colour.
    with Image.open(BytesIO(png)) as opened:
        flat = opened.convert("L")
    out = BytesIO()
    flat.save(out, "PNG")
    return Picture(out.getvalue(), width, width * flat.height / flat.width)
