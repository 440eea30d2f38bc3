"""The context bone sheet as a PDF. Not here: what is on it and how it looks (fieldapp.sheets)."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from io import BytesIO

from flask import abort, send_file
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from fieldapp.records.fold import Record
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.hold_log import render_hold
from fieldapp.sheets.plate_drawing import PlateBook, bundled_plates
from fieldapp.sheets.selecting import of_context
from server.ledger import Ledger
from server.review import closing, desk, words
from server.review.desk import pages
from server.review.showing import label, said_by


@pages.get("/context/<context>/sheet.pdf")
@desk.needs_sign_in
def sheet(context: str) -> Response:
    """The sheet of a context as it stands now. Exact places are not on it, whoever asks."""
    record = desk.ledger().record(context)
    if record is None or record.kind != "context":
        abort(404)
    here = _gathered(record)
    name = "".join(one if one.isalnum() else "_" for one in label(record)) or context
    pdf = BytesIO(render(here, _plates(), texts(), desk.ledger().clock()))
    code = words.plain(desk.ledger().site().value("code"))
    return send_file(pdf, mimetype="application/pdf", download_name=f"{code}_{name}.pdf")


def _gathered(record: Record, *, hold_words: bool = False) -> ContextSheet:
    """All that a context's sheet says. `hold_words`: the free words of hold logs too, which may name the place."""
    ledger = desk.ledger()
    # All of them: a record whose place is disputed belongs on the sheet of every context that a version names.
    kinds = ("bag", "docket", "group", "hold")
    records = {one.id: one for kind in kinds for one in ledger.records(kind, deleted=True)}
    site = ledger.site()
    return of_context(
        record,
        records.values(),
        site=site,
        authority=desk.authority(),
        knowledge=knowledge(),
        who=_who(ledger, [record, *records.values()]),
        source=words.say("sheet.source", site=words.plain(site.value("name"))),
        hold_words=hold_words,
    )


@pages.get("/hold/<docket>/log.pdf")
@desk.needs_sign_in
def hold_log(docket: str) -> Response:
    """The log of a hold. Free words, which may name the place, only for the roles that may see what is closed; that
    they were given out is noted. The exact place is on no copy."""
    ledger = desk.ledger()
    found = next((one for one in desk.holds() if one.docket == docket), None)
    context = ledger.record(found.context) if found is not None and found.context else None
    if found is None or context is None:
        abort(404)
    with_words = closing.may_see()
    here = _gathered(context, hold_words=with_words)
    shown = next((one for one in here.dockets if one.id == docket and one.hold is not None), None)
    if shown is None:
        abort(404)
    if with_words:
        closing.seen(docket, "log")
    pdf = BytesIO(render_hold(here, shown, texts(), ledger.clock()))
    name = "".join(one if one.isalnum() else "_" for one in shown.label)
    return send_file(pdf, mimetype="application/pdf", download_name=f"hold_{name}.pdf")


@cache
def _plates() -> PlateBook:
    return bundled_plates()


def _who(ledger: Ledger, records: Iterable[Record]) -> dict[str, tuple[str, str, str]]:
    """{change id: (name, role, time)} of every change that stands in these records."""
    standing = {one for record in records for heads in record.heads.values() for one in heads}
    found = {one: said_by(written.change) for one, written in ledger.who(standing).items()}
    return {one: (said.name, said.role, said.at) for one, said in found.items()}
