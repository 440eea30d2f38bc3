"""Editing a context at the desk: its number, what it is, where and when it belongs, its notes.

As for dockets (editing): only what was altered, over what the form showed, checked by the rules, and nothing where the
context is locked. A context that is numbered anew keeps its id. Not here: bags and dockets in it; opening it (locking).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import abort, redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain.ids import context_number
from fieldapp.records.changes import canonical
from fieldapp.records.fold import DELETED, Record
from server.review import closing, desk, locking, once, opened
from server.review.choosing import Choosing
from server.review.desk import pages
from server.review.editing import LOOK, SAVE, form_page, sent
from server.review.forms import Form


@pages.get("/context/<context>/edit")
@desk.needs_sign_in
def edit_context(context: str) -> Response:
    """The form over a context."""
    record = _found(context)
    desk.must("edit_context")
    heads = {path: ids for path, ids in record.head_ids().items() if _is_shown(record, path)}
    values = {path: record.value(path) for path in heads}
    return _page(record, _form(values, once.new(), None), heads=canonical(heads))


@pages.post("/context/<context>/edit")
@desk.needs_sign_in
def save_context(context: str) -> Response:
    """`heads`: what the form showed; `once`; `do`: what its button does; the fields as in forms."""
    record = _found(context)
    desk.must("edit_context")
    shown = opened.form(record)
    if not all(_is_shown(record, path) for path in shown.heads):
        abort(400)
    form = _form({path: shown.value(path) for path in shown.heads}, once.given(), sent())
    altered, heads, do = form.altered(), canonical(shown.heads), desk.field("do")
    if isinstance(altered.get("number"), str):
        altered["number"] = context_number(altered["number"])
    _number(form, altered, context)
    if do != SAVE:
        return _page(record, form, heads=heads, altered=altered, looked=do == LOOK)
    if form.faults:
        return _page(record, form, 422, heads=heads, altered=altered, fault="faults")
    over = shown.over(altered)
    altered = {path: value for path, value in altered.items() if not opened.done(record, path, value, over)}
    if locking.is_locked(record):
        return _page(record, form, 409, heads=heads, altered=altered, fault="locked")
    if altered:
        desk.write("context", context, altered, over)
        desk.acted("context_edited", context)
    return redirect(url_for("review.context", context=context, done="saved"))


def _number(form: Form, altered: dict[str, Any], context: str) -> None:
    """A context has a number, and no other one has it."""
    if "number" not in altered:
        return
    if not altered["number"]:
        form.faults["number"] = "wanting"
    elif set(desk.ledger().called("context", altered["number"])) - {context}:
        form.faults["number"] = "taken"
    if "number" in form.faults:
        del altered["number"]


def _found(context: str) -> Record:
    record = desk.ledger().record(context)
    if record is None or record.kind != "context" or record.life() == "deleted":
        abort(404)
    return record


def _is_shown(record: Record, path: str) -> bool:
    return path not in (DELETED, locking.PATH) and not closing.is_closed(path, closing.closed_paths(record))


def _form(values: Mapping[str, Any], mark: str, given: Mapping[str, str] | None) -> Form:
    return Form("context", values, mark, given, {}, desk.ledger().called)


def _page(record: Record, form: Form, status: int = 200, **shown: Any) -> Response:
    return form_page(
        record,
        form,
        status,
        choosing=Choosing(knowledge()),
        locked=record if locking.is_locked(record) else None,
        disputed=[path for path in record.disagreements() if _is_shown(record, path)],
        **shown,
    )
