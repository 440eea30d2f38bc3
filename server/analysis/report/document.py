"""The report as a document that can be edited (docx).

For: a draft that a specialist goes on writing in her own word processor: headings, paragraphs, tables and pictures in
plain styles. The same report gives the same content. Not for: what is in it (contents).
"""

from __future__ import annotations

import zipfile
from datetime import UTC, datetime
from io import BytesIO

from docx import Document
from docx.document import Document as Opened
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml import OxmlElement
from docx.shared import Cm, Pt

from fieldapp.domain.assemblage.results import Result
from server.analysis import charts, pictures
from server.analysis.report.contents import ROWS, Entry, Report
from server.analysis.wording import Wording

NO_TIME = (1980, 1, 1, 0, 0, 0)
"""The oldest a ZIP file can name: so that the same content is the same file."""


def docx(report: Report, wording: Wording, written_at: datetime, *, data: str) -> bytes:
    """The report as a file. `data`: the ledger's folder, as commands name it."""
    document = Document()
    _plain(document, report, written_at)
    document.add_heading(report.title, 0)
    document.add_paragraph(report.site)
    for n, one in enumerate(report.cautions):
        document.add_paragraph().add_run(one).bold = n == 0
    document.add_heading(wording.say("report.heading.studied"), 1)
    for one in (report.asked, *report.studied):
        document.add_paragraph(one)
    if report.left_out:
        document.add_heading(wording.say("report.heading.left_out"), 1)
        for one in report.left_out:
            document.add_paragraph(one)
    for one in (wording.say("report.note_once"), report.empty, report.others):
        if one:
            document.add_paragraph(one)
    number = 0
    for part in report.parts:
        if part.entries:
            document.add_heading(wording.say(f"topic.{part.topic}"), 1)
        for entry in part.entries:
            number += 1
            _entry(document, wording, entry, number, data)
    document.add_heading(wording.say("report.heading.methods"), 1)
    for name, *told in report.methods:
        document.add_heading(name, 3)
        for one in told:
            document.add_paragraph(one)
    if report.sources:
        document.add_heading(wording.say("report.heading.sources"), 1)
        document.add_paragraph(wording.say("report.sources.what"))
        for one in report.sources:
            document.add_paragraph(one, style="List Bullet")
    document.add_paragraph(wording.say("report.signed"))
    out = BytesIO()
    document.save(out)
    return _without_times(out.getvalue())


def _without_times(document: bytes) -> bytes:
    """The same document without the time at which its parts were packed, so that it is the same file again."""
    out = BytesIO()
    with zipfile.ZipFile(BytesIO(document)) as packed, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as again:
        for name in packed.namelist():
            again.writestr(zipfile.ZipInfo(name, NO_TIME), packed.read(name), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _plain(document: Opened, report: Report, written_at: datetime) -> None:
    section = document.sections[0]
    section.page_width, section.page_height = Cm(21), Cm(29.7)
    section.left_margin = section.right_margin = Cm(2)
    document.styles["Normal"].font.size = Pt(10)
    about = document.core_properties
    about.title, about.author, about.comments = f"{report.site}: {report.title}", "", ""
    # The form of file knows no zone but that of Greenwich.
    about.created = about.modified = written_at.astimezone(UTC).replace(tzinfo=None)
    about.last_modified_by = ""


def _entry(document: Opened, wording: Wording, entry: Entry, number: int, data: str) -> None:
    result = entry.result
    document.add_heading(wording.say("report.table", n=number, title=wording.full_title(result)), 2)
    _table(document, wording, result)
    for one in (*entry.below, *entry.ends(wording, data)):
        document.add_paragraph().add_run(one).font.size = Pt(8)
    for n, chart in enumerate(result.charts):
        title = entry.figure_title(n, wording)
        width = 8.0 if chart.kind in pictures.KINDS else 14.0
        drawn = charts.draw(chart, wording, title, "png", width / 2.54)
        # Read out in the place of the picture.
        document.add_picture(BytesIO(drawn), width=Cm(width))._inline.docPr.set("descr", title)


def _table(document: Opened, wording: Wording, result: Result) -> None:
    table = document.add_table(rows=1, cols=len(result.columns), style="Light Grid")
    # The headings come again on each page that the table goes on to.
    table.rows[0]._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))
    lines = [[wording.heading(one) for one in result.columns]]
    for row in result.rows[:ROWS]:
        lines.append([wording.cell(column, cell) for column, cell in zip(result.columns, row.cells, strict=True)])
    for n, line in enumerate(lines):
        cells = table.rows[0].cells if n == 0 else table.add_row().cells
        for column, cell, words in zip(result.columns, cells, line, strict=True):
            paragraph = cell.paragraphs[0]
            run = paragraph.add_run(words)
            run.font.size, run.bold = Pt(8), n == 0 or result.rows[n - 1].total
            if column.kind != "word":
                paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
