"""Contexts made at the desk: one by a form, many from a list that is pasted or sent as a file.

What a list would do is shown line by line first, and nothing is written until that is confirmed. A context that is
there already gets only what it does not say yet: what it says otherwise is shown, and stays. If anything changed
between showing and confirming, it is shown anew. Not here: how a list is read (server.context_list).
"""

from __future__ import annotations

import csv
import hashlib
import io
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server import context_list
from server.context_list import COLUMNS, LISTS, Fault, Listed, Row
from server.ledger.ledger import Edit
from server.review import desk, locking
from server.review.desk import pages

STEPS = ("new", "fill", "same", "fault")
"""What becomes of a line."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A line and what it would do.

    step      one of STEPS
    writes    {path: value} that would be written
    differs   {path: (what stands, what the list says)}, which stays as it stands
    """

    row: Row
    step: str
    record: str
    faults: tuple[Fault, ...] = ()
    writes: Mapping[str, Any] = field(default_factory=dict)
    over: Mapping[str, list[str]] = field(default_factory=dict)
    differs: Mapping[str, tuple[Any, Any]] = field(default_factory=dict)


@pages.get("/contexts/add")
@desk.needs_sign_in
def contexts_new() -> Response:
    """The two forms."""
    return _page()


@pages.post("/contexts/add")
@desk.needs_sign_in
def contexts_add() -> Response:
    """`text` or `file`: shows what the list would do; with `plan`, the mark of what was shown, does it. Or one context
    by its fields (`one`)."""
    desk.must("edit_context")
    letters = ""
    if request.form.get("one") == "yes":
        text = _one()
    else:
        text = request.form.get("text", "")
        sent = request.files.get("file")
        if sent is not None and sent.filename:
            try:
                text, letters = context_list.text_of(sent.read())
            except UnicodeDecodeError:
                return _page(400, listed=Listed(faults=(Fault("letters"),)))
    listed = context_list.read(text, _words())
    if listed.faults:
        return _page(400, listed=listed, list_text=text, letters=letters)
    plan = planned(listed)
    single = request.form.get("one") == "yes" and plan[0].step == "new"
    if not single and request.form.get("plan") != mark(plan):
        # Shown for the first time, or something came meanwhile.
        return _page(listed=listed, plan=plan, list_text=text, letters=letters, moved="plan" in request.form)
    edits = [Edit("context", one.record, one.writes, one.over) for one in plan if one.writes]
    if edits:
        ledger, me = desk.ledger(), desk.me()
        with ledger.database.writing() as connection:
            now = planned(listed)
            if mark(now) != mark(plan):
                return _page(listed=listed, plan=now, list_text=text, letters=letters, moved=True)
            ledger.write_many_in(connection, edits, me.by)
            ledger.note_in(connection, "contexts_added", me.person, {"name": me.name, "role": me.role, "n": len(edits)})
        desk.desk().written()
    if any(one.step == "fault" for one in plan):
        return _page(listed=listed, plan=planned(listed), list_text=text, written=len(edits))
    if single:
        return redirect(url_for("review.context", context=plan[0].record))
    return redirect(url_for("review.contexts_new", done="added", n=len(edits)))


def _one() -> str:
    """The form of one context as a list of one."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerow([desk.field(name) for name in COLUMNS])
    return out.getvalue()


def _words() -> dict[str, dict[str, str]]:
    """{list: {what may be written: word}}: the words themselves, and their names in English and as the page speaks."""
    found: dict[str, dict[str, str]] = {}
    for name in LISTS.values():
        keys = knowledge().words[name]
        spoken = [{texts(*lang).get(f"{name}.{key}", key).casefold(): key for key in keys} for lang in (("en",), ())]
        found[name] = {**spoken[0], **spoken[1], **{key: key for key in keys}}
    return found


def planned(listed: Listed) -> list[Planned]:
    """What each line would do as things stand."""
    ledger = desk.ledger()
    called = ledger.numbered(row.number for row in listed.rows)
    ids = {row.line: called[row.number] for row in listed.rows}
    there = ledger.get(ids.values())
    return [_planned(row, ids[row.line], there.get(ids[row.line])) for row in listed.rows]


def _planned(row: Row, record: str, there: Record | None) -> Planned:
    if row.faults:
        return Planned(row, "fault", record, row.faults)
    noted = {f"note/{uuid.uuid5(uuid.UUID(record), row.note)}": {"text": row.note}} if row.note else {}
    if there is None:
        return Planned(row, "new", record, writes={"number": row.number, "state": "open", **row.values, **noted})
    if there.kind != "context" or there.life() != "live":
        return Planned(row, "fault", record, (Fault("deleted", "number", row.number),))
    disputed = there.disagreements()
    writes = {path: value for path, value in row.values.items() if _is_empty(there, path) and path not in disputed}
    differs = {
        path: (there.value(path), value)
        for path, value in row.values.items()
        if path not in writes and (path in disputed or canonical(there.value(path)) != canonical(value))
    }
    said = {value.get("text") for value in there.items("note").values() if isinstance(value, Mapping)}
    writes |= {path: value for path, value in noted.items() if row.note not in said}
    if writes and locking.is_locked(there):
        return Planned(row, "fault", record, (Fault("locked", "number", row.number),), differs=differs)
    over = {path: ids for path, ids in there.head_ids().items() if path in writes and ids}
    return Planned(row, "fill" if writes else "same", record, writes=writes, over=over, differs=differs)


def _is_empty(record: Record, path: str) -> bool:
    return record.value(path) in (None, "")


def mark(plan: list[Planned]) -> str:
    """Stands for a plan in the form that confirms it: another one, if anything has changed."""
    told = [[one.step, one.record, dict(one.writes), dict(one.over)] for one in plan]
    return hashlib.sha256(canonical(told).encode()).hexdigest()


def _page(status: int = 200, **values: Any) -> Response:
    desk.must("edit_context")
    plan = values.get("plan", [])
    usual = {"listed": Listed(), "plan": plan, "list_text": "", "letters": "", "moved": False, "written": 0}
    n = request.args.get("n", 0, int) if request.args.get("done") == "added" else values.get("written", 0)
    return desk.page(
        "adding_contexts",
        status,
        counts={step: sum(one.step == step for one in plan) for step in STEPS},
        mark=mark(plan),
        columns=COLUMNS,
        lists={column: knowledge().words[name] for column, name in LISTS.items()},
        list_names=LISTS,
        done=n,
        form={name: desk.field(name) for name in COLUMNS} if request.form.get("one") == "yes" else {},
        **{**usual, **values},
    )
