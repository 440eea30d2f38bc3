"""The draft of a report at the desk: begun by a page, which says how far it is and hands the file over once it is made.

Not here: what is in a report (server.analysis.report), nor how it is made beside other work (its jobs).
"""

from __future__ import annotations

from urllib.parse import urlencode

from flask import abort, current_app, request, send_file, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import speaking, spoken
from server.analysis.report.jobs import FAILED, MADE, Job, Reports, TooMany
from server.analysis.report.telling import Told
from server.review import analysis, desk, words
from server.review.desk import pages

EXTENSION = "bonedocket.reports"
FILE_PATIENCE_S = 60.0
"""So long is waited for who asks for the file itself."""


def reports() -> Reports:
    """The reports of this server, for as long as it runs."""
    found = current_app.extensions.get(EXTENSION)
    if found is None:
        found = current_app.extensions.setdefault(EXTENSION, Reports())
    assert isinstance(found, Reports)
    return found


@pages.get("/analysis/report/<any(pdf, docx, zip):form>")
@desk.needs_sign_in
def analysis_report(form: str) -> Response:
    """The report on what the address asks for: how far it is, and where its file is. `file`: the file itself; `again`:
    to be tried again, if it could not be made."""
    from server.analysis.report import contents
    from server.analysis.report.making import FORMS, written

    if not analysis.kept().soon(analysis.PATIENCE_S):
        return analysis.wait()
    selection, fault = analysis.selection_asked()
    if fault is not None:
        abort(400)
    asked = analysis.kept().asked(selection, {}, analysis.hidden())
    language, said, now = spoken(), analysis.wording(asked), desk.ledger().clock()
    source = words.say("sheet.source", site=words.plain(desk.ledger().site().value("name")))

    def make(told: Told) -> bytes:
        with speaking(language):
            report = contents.made(asked, said, told, whole=form == "zip")
            return written(report, said, form, now, source=source, data="cabin", told=told)

    key = form, language, asked.gathered.stamp, selection, asked.hidden
    if reports().failed(key) and not request.args.get("again"):
        return _page(form, Job(FAILED), 500)
    whole = bool(request.args.get("file"))
    try:
        job = reports().ask(key, make, FILE_PATIENCE_S if whole else analysis.PATIENCE_S)
    except TooMany:
        return _page(form, None, 503)
    if job.state == MADE and job.file is not None and whole:
        return send_file(
            job.file, mimetype=FORMS[form], as_attachment=True, download_name=f"bone_report.{form}", max_age=0
        )
    return _page(form, job)


def _page(form: str, job: Job | None, status: int = 200) -> Response:
    """How far a report is; None where too many are waiting. It asks again by itself, and is handed over by itself."""
    there = {"here": _here(form), "file": _here(form, file="1"), "anew": _here(form, again="1")}
    answer = desk.page("report", status, form=form, job=job, **there)
    if job is None or job.state not in (MADE, FAILED):
        answer.headers["Refresh"] = f"2; url={_here(form)}"
    elif job.state == MADE:
        answer.headers["Refresh"] = f"0; url={_here(form, file='1')}"
    return answer


def _here(form: str, **more: str) -> str:
    query = [one for one in request.args.items(multi=True) if one[0] not in ("file", "again")]
    asked = urlencode([*query, *more.items()])
    return f"{url_for('review.analysis_report', form=form)}{'?' if asked else ''}{asked}"
