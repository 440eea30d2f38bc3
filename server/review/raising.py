"""Raising the human question at the desk: only ever raising, one docket at a time.

Adds an answer and, for a stop or a query, opens the hold or raises the one there is. What lies in a locked context is
raised like any other. Not here: assessments (holds), and what is closed with a raise (closing, photos).
"""

from __future__ import annotations

from typing import Any

from flask import abort, redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.raising import hold_write
from server.ledger.ledger import Edit
from server.review import desk, once
from server.review.desk import pages

ANSWERS = (human.STOP, human.QUERY, human.NOT_EXCLUDED)
"""What can be said at the desk. That nothing points to human is for who has the bone in the hand and the aid."""


@pages.post("/docket/<docket>/raise")
@desk.needs_sign_in
def raise_docket(docket: str) -> Response:
    """`once`, `answer` (one of ANSWERS), `why`."""
    ledger = desk.ledger()
    record = ledger.record(docket)
    if record is None or "docket" not in record.kinds:
        abort(404)
    desk.must("raise")
    answer, why, path = desk.field("answer"), desk.field("why"), f"human/{once.given()}"
    if answer not in ANSWERS or not why:
        return redirect(url_for("review.docket", docket=docket, fault="raise", _anchor="raise"))
    if path in record.heads:
        return redirect(url_for("review.docket", docket=docket, done="raised", _anchor="human"))
    in_place = {human.STOP: True, human.QUERY: False}.get(answer)
    value = {"answer": answer, "why": why, "in_place": in_place, "by_rule": None, "stage": "analysis"}
    edits = [Edit("docket", docket, {path: value}, {}), *_hold(docket, answer)]
    with ledger.database.writing() as connection:
        ledger.write_many_in(connection, edits, desk.me().by)
    desk.desk().written()
    desk.acted("raised", docket)
    return redirect(url_for("review.docket", docket=docket, done="raised", _anchor="human"))


def _hold(docket: str, answer: str) -> list[Edit]:
    """What follows for its hold; nothing where the piece is only not excluded."""
    if answer not in human.RAISED:
        return []
    ledger, hold = desk.ledger(), hold_id(docket)
    found = ledger.get([docket, hold])
    zone: Any = ledger.site().value("zone_text")
    context = ledger.contexts_of([found[docket]]).get(docket, "")
    written = hold_write(
        found.get(hold), docket, context, answer, zone if isinstance(zone, str) else "", lifted=answer == human.QUERY
    )
    return [Edit("hold", hold, written.set, written.over)] if written else []
