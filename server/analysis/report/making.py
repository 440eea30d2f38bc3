"""A report in one of its forms: what the command and the desk ask for. Not for: what is in it, or how one looks."""

from __future__ import annotations

from datetime import datetime

from fieldapp.assets import texts
from server.analysis.report.contents import Report
from server.analysis.report.telling import WRITING, Told, to_nobody
from server.analysis.wording import Wording

FORMS = {
    "pdf": "application/pdf",
    "docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    "zip": "application/zip",
}
"""{ending: kind of file}; a ZIP file holds the other two and every table and chart."""


def written(
    report: Report,
    wording: Wording,
    form: str,
    at: datetime,
    *,
    source: str,
    data: str,
    told: Told = to_nobody,
) -> bytes:
    """The report as a file of one of FORMS. `source`: the ledger in words; `data`: its folder, as commands name it."""
    # Each form's library is loaded only if it is asked for.
    from server.analysis.report import bundle, document, paper

    if form in ("pdf", "docx"):
        told(WRITING, f"report.{form}", 0, 1)
    if form == "pdf":
        return paper.pdf(report, wording, texts(), at, source=source, data=data)
    if form == "docx":
        return document.docx(report, wording, at, data=data)
    papers = {
        f"report.{one}": written(report, wording, one, at, source=source, data=data, told=told)
        for one in ("pdf", "docx")
    }
    return bundle.zipped(report, wording, papers, told)
