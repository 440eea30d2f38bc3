"""One field of many dockets at once: chosen from a list, looked at docket by docket, written in one transaction.

Nothing is written that was not shown: the form carries the heads it replaces, and what has changed meanwhile is left
out and said. Each lot has a page that puts it back. Not here: what may be set, and who is left out (bulk_plan).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger import events
from server.ledger.events import Event
from server.review import bulk_plan, contexts, desk, fragments, once, words
from server.review.bulk_plan import CannotSet, Plan
from server.review.desk import pages
from server.review.showing import label

WRITE = "write"
SET, PUT_BACK = "bulk_set", "bulk_put_back"
LISTED = 100
"""So many lots are listed, and so many of those left out for one reason."""


@pages.get("/bulk")
@desk.needs_sign_in
def bulk() -> Response:
    """`docket`: those ticked; or `all`, with the address of a list (fragments) and `context`: all that it holds."""
    desk.must("edit_docket")
    asked = request.args.getlist("docket")
    if request.args.get("all"):
        context = request.args.get("context", "").replace("\0", "")
        where = [contexts.inside(context)] if context else []
        with desk.ledger().database.reading() as connection:
            asked = fragments.every(connection, bulk_plan.MOST + 1, *where)
    return _choose(asked)


@pages.post("/bulk")
@desk.needs_sign_in
def set_bulk() -> Response:
    """`dockets`: their ids; `once`; the one field that is filled in. Or `do` = write with `path`, `text` and `seen`,
    {docket: heads}, as the preview showed it."""
    desk.must("edit_docket")
    mark = once.given()
    if desk.field("do") == WRITE:
        name, text, seen = desk.field("path"), desk.field("text"), _seen()
        asked = list(seen)
    else:
        asked = [one for one in request.form.get("dockets", "").split() if one]
        filled = [name for name in bulk_plan.FIELDS if desk.field(name)]
        if len(filled) != 1:
            return _choose(asked, 422, fault="one")
        name, text, seen = filled[0], desk.field(filled[0]), {}
    try:
        make = bulk_plan.setting(name, text, mark)
    except CannotSet as fault:
        return _choose(asked, 422, fault=str(fault.args[0]), at=name)
    if len(asked) > bulk_plan.MOST:
        return _choose(asked, 413, fault="too_many")
    found = bulk_plan.plan(_records(asked), make)
    if desk.field("do") == WRITE and (first := bulk_plan.write(found, seen, SET, name)) is not None:
        return redirect(url_for("review.bulk_page", first=first.id))
    return _preview(found, name=name, text=text, once=mark, status=409 if desk.field("do") == WRITE else 200)


@pages.get("/bulk-list")
@desk.needs_sign_in
def bulk_list() -> Response:
    """The lots written last, newest first."""
    desk.must("edit_docket")
    with desk.ledger().database.reading() as connection:
        found = events.page(connection, LISTED, only=(SET, PUT_BACK))
    names = desk.names()
    return desk.page("bulk_list", lots=found, who=lambda one: names.get(one.who, ""), sets=SET)


@pages.get("/bulk/<first>")
@desk.needs_sign_in
def bulk_page(first: str) -> Response:
    """A lot by its first change: what was written, who was left out, and the form that puts it back."""
    desk.must("edit_docket")
    return _page(_event(first))


@pages.post("/bulk/<first>")
@desk.needs_sign_in
def put_back(first: str) -> Response:
    """`seen`, {docket: heads}, as the page showed it. Gives the dockets of a lot what they had before it."""
    desk.must("edit_docket")
    event, seen = _event(first), _seen()
    found = _back(event)
    if any(one not in {each.id for each in _of(found)} for one in seen):
        abort(400)
    written = bulk_plan.write(found, seen, PUT_BACK, str(event.fields.get("path", "")))
    if written is None:
        return _page(event, 409)
    return redirect(url_for("review.bulk_page", first=written.id))


def _back(event: Event) -> Plan:
    changes = desk.ledger().following(str(event.fields["first"]), int(event.fields["n"]))
    return bulk_plan.plan(_records([one.change.record for one in changes]), bulk_plan.putting_back(changes))


def _event(first: str) -> Event:
    with desk.ledger().database.reading() as connection:
        found = events.holding(connection, (SET, PUT_BACK), "first", first)
    return found if found is not None else abort(404)


def _of(plan: Plan) -> list[Record]:
    return [*(one.record for one in plan.steps), *(one for each in plan.left.values() for one in each)]


def _records(ids: Sequence[str]) -> list[Record]:
    """Those that are there, in this order, each once."""
    asked = [one for one in dict.fromkeys(ids) if "\0" not in one]
    found = desk.ledger().get(asked)
    return [found[one] for one in asked if one in found]


def _seen() -> dict[str, list[str]]:
    try:
        told: Any = json.loads(request.form.get("seen", ""))
    except (ValueError, RecursionError):
        abort(400)
    if not isinstance(told, dict) or len(told) > bulk_plan.MOST:
        abort(400)
    for ids in told.values():
        if not isinstance(ids, list) or not all(isinstance(one, str) for one in ids):
            abort(400)
    return told


def _carried(plan: Plan) -> str:
    return canonical({one.record.id: one.seen for one in plan.steps})


def _choose(asked: Sequence[str], status: int = 200, *, fault: str = "", at: str = "") -> Response:
    too_many = len(asked) > bulk_plan.MOST
    return desk.page(
        "bulk_choose",
        status,
        records=[] if too_many else _records(asked),
        fields=bulk_plan.FIELDS,
        options=bulk_plan.options,
        typed={} if status == 200 else {name: desk.field(name) for name in bulk_plan.FIELDS},
        once=once.new(),
        fault="too_many" if too_many else fault,
        at=at,
        most=bulk_plan.MOST,
        label=label,
    )


def _preview(plan: Plan, *, name: str, text: str, once: str, status: int) -> Response:
    return desk.page(
        "bulk_preview",
        status,
        plan=plan,
        path=name,
        typed=text,
        once=once,
        seen=_carried(plan),
        shown=_shown,
        listed=LISTED,
        label=label,
    )


def _page(event: Event, status: int = 200) -> Response:
    ledger, fields = desk.ledger(), event.fields
    changes = ledger.following(str(fields["first"]), int(fields["n"]))
    left = fields.get("left")
    there: dict[str, list[str]] = left if isinstance(left, dict) else {}
    records = ledger.get([*(one.change.record for one in changes), *(one for ids in there.values() for one in ids)])
    plan = _back(event)
    return desk.page(
        "bulk",
        status,
        event=event,
        changes=[one.change for one in changes],
        records=records,
        left={why: [records[one] for one in ids if one in records] for why, ids in there.items()},
        plan=plan,
        seen=_carried(plan),
        shown=_shown,
        listed=LISTED,
        label=label,
        puts_back=event.what == PUT_BACK,
        locked=status == 409,
    )


def _shown(path: str, value: Any, name: str) -> str:
    """What a lot sets at a path, in words: of a reading the part that it is about, another record by its label."""
    if value is None:
        return words.say("not_recorded")
    if path in ("bag", "context"):
        return desk.refer(value)
    if path == "reading" and name == bulk_plan.STAGE and isinstance(value, dict):
        return words.value(bulk_plan.STAGE, value.get("stage"))
    return words.value(path, value)
