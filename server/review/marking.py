"""The specialist's mark on dockets, one or all of a page that show nothing open; and taking it off.

A mark names what the form showed (fieldapp.records.checked), so that what comes later shows. Many at once are marked
only where the rules have looked and found nothing, nobody disagrees and nothing may be human. Not here: editing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import checked, standing
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger.ledger import Edit
from server.review import blind, desk, locking, opened
from server.review.desk import pages

MINDED = human.RAISED | {human.NOT_EXCLUDED}
"""Where a docket may be human: each of them is looked at by itself."""
MOST = 200
"""Dockets that are marked with one form."""


@pages.post("/docket/<docket>/check")
@desk.needs_sign_in
def check(docket: str) -> Response:
    """`heads`: what the form showed; `off`, if the mark is to be taken off."""
    record = desk.ledger().record(docket)
    if record is None or record.kind != "docket" or "hold" in record.kinds:
        abort(404)
    desk.must("check_docket")
    shown = opened.form(record)
    if locking.locked_among(desk.ledger().contexts_of([record]).values()) is not None:
        return redirect(url_for("review.docket", docket=docket, fault="locked"))
    value = None if desk.field("off") else checked.mark(shown.heads)
    if record.value(checked.PATH) != value:
        desk.write("docket", docket, {checked.PATH: value}, {checked.PATH: shown.heads.get(checked.PATH, [])})
        desk.acted("mark_taken_off" if value is None else "checked", docket)
    return redirect(url_for("review.docket", docket=docket, done="unmarked" if value is None else "marked"))


@pages.post("/context/<context>/check")
@desk.needs_sign_in
def check_many(context: str) -> Response:
    """`shown`: JSON {docket: [ids of all heads shown]}. Marks those of them that still show nothing open."""
    desk.must("check_docket")
    ledger = desk.ledger()
    asked = _asked()
    if locking.locked_among([context]) is not None:
        return redirect(url_for("review.context", context=context, done="locked_first", _anchor="lock"))
    records = ledger.get(asked)
    where = ledger.contexts_of(records.values())
    if any(where.get(one) != context for one in asked):
        abort(400)
    written = ledger.who(one for ids in asked.values() for one in ids)
    if any(one not in written or written[one].change.record != docket for docket, ids in asked.items() for one in ids):
        abort(400)
    edits = []
    for one in quiet(records.values()):
        paths = {path: [i for i in asked[one.id] if path in written[i].change.set] for path in one.heads}
        mark = checked.mark({path: ids for path, ids in paths.items() if checked.covers(path)})
        edits.append(Edit("docket", one.id, {checked.PATH: mark}, {checked.PATH: paths.get(checked.PATH, [])}))
    if edits:
        with ledger.database.writing() as connection:
            ledger.write_many_in(connection, edits, desk.me().by)
            fields = {"name": desk.me().name, "role": desk.me().role, "n": len(edits), "label": desk.refer(context)}
            ledger.note_in(connection, "checked_many", desk.me().person, fields)
        desk.desk().written()
    return redirect(url_for("review.context", context=context, marked=len(edits)))


def quiet(dockets: Iterable[Record]) -> list[Record]:
    """Those that may be marked with others: live, not marked yet, no problem, no disagreement, not possibly human;
    nor hidden from who would mark it."""
    listed = list(dockets)
    told = blind.apart(one.id for one in listed)
    troubled = desk.ledger().troubled(one.id for one in listed)
    held = {one.docket for one in desk.holds() if one.answer in MINDED}
    return [
        one
        for one in listed
        if one.kind == "docket"
        and one.life() == "live"
        and checked.state_of(one) != "checked"
        and one.id not in troubled
        and one.id not in held
        and standing.answer_of(one, desk.authority()) not in MINDED
        and one.id in told
        and not checked.disagreements(one)
    ]


def offered(dockets: Iterable[Record]) -> tuple[int, str]:
    """How many of these a form over all of them would mark, and what it carries in `shown`."""
    seen = {one.id: sorted({i for ids in one.heads.values() for i in ids}) for one in quiet(dockets)}
    return len(seen), canonical(seen)


def _asked() -> dict[str, list[str]]:
    try:
        told: Any = json.loads(request.form.get("shown", ""))
    except (ValueError, RecursionError):
        abort(400)
    if not isinstance(told, dict) or not 0 < len(told) <= MOST:
        abort(400)
    for ids in told.values():
        if not isinstance(ids, list) or not all(isinstance(one, str) for one in ids):
            abort(400)
    return told
