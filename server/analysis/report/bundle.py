"""Everything of a report as files in one: the document, the PDF, each table as CSV, each chart as SVG and PNG.

For: handing the whole over, or working on in other programs. The same report gives the same files. Not for: what is in
it (contents).
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from io import BytesIO

from server.analysis import charts, writing
from server.analysis.report.contents import Report
from server.analysis.report.document import NO_TIME
from server.analysis.report.telling import WRITING, Told
from server.analysis.wording import Wording


def files(report: Report, wording: Wording) -> Iterator[tuple[str, bytes]]:
    """(name, content) of every table and chart; numbered as in the report, and on from there. A chart that the report
    prints has the number of its figure in its name."""
    number = 0
    for part in (*report.parts, *report.more):
        for entry in part.entries:
            number += 1
            name = f"{number:03}_{entry.result.key}"
            yield f"tables/{name}.csv", writing.as_csv([entry.result], wording).encode("utf-8", "replace")
            yield f"tables/{name}.json", writing.as_json([entry.result], wording).encode("utf-8", "replace")
            for n, chart in enumerate(entry.result.charts, 1):
                title = wording.chart_title(entry.result, chart)
                figure = f"_figure_{entry.figure + n - 1}" if part in report.parts else ""
                for form in charts.FORMATS:
                    yield f"charts/{name}_{n}{figure}.{form}", charts.draw(chart, wording, title, form)


def zipped(report: Report, wording: Wording, papers: dict[str, bytes], told: Told) -> bytes:
    """All of it in a ZIP file, with `papers` ({name: content}) at its top. `told` hears which file was written last,
    how many are, and how many there will be."""
    out, done = BytesIO(), 0
    entries = [entry for part in (*report.parts, *report.more) for entry in part.entries]
    of = len(papers) + sum(2 + len(charts.FORMATS) * len(one.result.charts) for one in entries)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (*papers.items(), *files(report, wording)):
            archive.writestr(zipfile.ZipInfo(name, NO_TIME), content, zipfile.ZIP_DEFLATED)
            done += 1
            told(WRITING, name, done, of)
    return out.getvalue()
