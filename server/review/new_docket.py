"""A new docket at the desk, in a context or one of its bags, under a label of the cabin's own letter.

The form is the one over a docket that is there (editing); its `once` is the docket's id, so that a form sent twice
makes one. The label is handed out with the change that makes the docket, never before. Not here: entry of many.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records.checking import answers_wanted
from fieldapp.records.fold import Record
from server.ledger.ledger import Edit
from server.review import blind, desk, locking, once, raising
from server.review.desk import pages
from server.review.docket_form import DocketForm
from server.review.editing import LOOK, SAVE, Problems, as_would_be, bears_teeth, choosing_for, form_over, sent
from server.review.showing import label

ANOTHER = "another"
CARRIED = ("material", "bag", "context", "finder")
"""What the next one begins with. Never an answer to the human question."""


@pages.get("/context/<context>/docket")
@desk.needs_sign_in
def new_docket(context: str) -> Response:
    """The form. `bag`: the one it lies in; `after`: the docket made just before, of which a little is carried on."""
    where = _context(context)
    desk.must("edit_docket")
    ledger = desk.ledger()
    before = ledger.record(request.args.get("after", ""))
    if before is not None and blind.is_hidden(before.id):
        before = None
    given = {name: before.value(name) for name in CARRIED} if before is not None and before.kind == "docket" else {}
    bag = ledger.record(request.args.get("bag", ""))
    if bag is not None and bag.kind == "bag":
        given |= {"bag": bag.id}
    if not given.get("bag"):
        given["context"] = context
    mark = once.new()
    begun = {name: value for name, value in given.items() if value is not None}
    form = _form({}, mark, {name: text for name, text in _texts(begun, mark).items() if text})
    return _page(where, form, before=before)


@pages.post("/context/<context>/docket")
@desk.needs_sign_in
def make_docket(context: str) -> Response:
    """`once`; `do`: what its button does; the fields as in forms and docket_form."""
    where = _context(context)
    desk.must("edit_docket")
    mark, do, ledger = once.given(), desk.field("do"), desk.ledger()
    if ledger.record(mark) is not None:
        return _gone_on(context, mark, do)
    form = _form({}, mark, sent())
    values = form.altered()
    if do in (SAVE, ANOTHER) and not values.get("material"):
        form.faults.setdefault("material", "wanting")
    if do not in (SAVE, ANOTHER):
        return _page(where, form, values=values, looked=do == LOOK)
    if form.faults:
        return _page(where, form, 422, values=values, fault="faults")
    if form.asks_for_parts:
        return _page(where, form, values=values, fault="parts")
    if not values.get("bag"):
        values.setdefault("context", context)
    record = _record(mark, values)
    if locking.locked_among(ledger.contexts_of([record]).values()) is not None:
        return _page(where, form, 409, values=values, fault="locked")
    asked = answers_wanted(mark, None, ledger.would_find(record))
    gravest = max((human.answer_of(one) for one in asked.values()), key=human.CAUTION.__getitem__, default="")
    holds = raising.hold_edits(record, gravest, lifted=False) if gravest else []
    with ledger.database.writing() as connection:
        if ledger.record_in(connection, mark) is not None:
            return _gone_on(context, mark, do)  # the same form, sent at the same moment
        values["label"] = ledger.new_label_in(connection)
        edits = [Edit("docket", mark, {**values, **asked}, {}), *holds]
        ledger.write_many_in(connection, edits, desk.me().by)
    desk.desk().written()
    desk.acted("docket_made", mark)
    if gravest in human.RAISED:
        return redirect(url_for("review.docket", docket=mark, done="rule_asks", _anchor="human"))
    return _gone_on(context, mark, do)


def _gone_on(context: str, docket: str, do: str) -> Response:
    if do == ANOTHER:
        return redirect(url_for("review.new_docket", context=context, after=docket))
    return redirect(url_for("review.docket", docket=docket, done="made"))


def _context(context: str) -> Record:
    record = desk.ledger().record(context)
    if record is None or record.kind != "context" or record.life() == "deleted":
        abort(404)
    return record


def _texts(values: Mapping[str, Any], mark: str) -> dict[str, str]:
    """How a form would show these values."""
    return _form(values, mark, None).opening


def _form(values: Mapping[str, Any], mark: str, given: Mapping[str, str] | None) -> DocketForm:
    return form_over(values, mark, given)


def _record(docket: str, values: Mapping[str, Any]) -> Record:
    """The docket as it would be."""
    found = Record(docket)
    found.kinds, found.sites = ("docket",), (desk.ledger().names().site,)
    return as_would_be(found, values, {})


def _page(
    where: Record,
    form: DocketForm,
    status: int = 200,
    *,
    values: Mapping[str, Any] | None = None,
    before: Record | None = None,
    looked: bool = False,
    fault: str = "",
) -> Response:
    found = desk.ledger().would_find(_record(form.once, values)) if values else []
    return desk.page(
        "new_docket",
        status,
        where=where,
        form=form,
        choosing=choosing_for(form),
        teeth=bears_teeth(form),
        reading=form.reading(),
        problems=Problems(found),
        locked=where if locking.is_locked(where) else None,
        before=before,
        label=label,
        looked=looked,
        fault=fault,
    )
