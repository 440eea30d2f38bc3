"""Raising the human question at the desk: only ever raising, one docket at a time.

Adds an answer and, for a stop or a query, opens the hold or raises the one there is. What lies in a locked context is
raised like any other. Not here: assessments (holds), and what is closed with a raise (closing, photos).
"""

from __future__ import annotations

from flask import abort, redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.fold import Record
from fieldapp.records.raising import hold_write
from server.ledger.ledger import Edit
from server.review import desk, once
from server.review.desk import pages
from server.review.dockets import RAISING, docket_page


@pages.post("/docket/<docket>/raise")
@desk.needs_sign_in
def raise_docket(docket: str) -> Response:
    """`once`, `answer` (one of RAISING), `why`."""
    ledger = desk.ledger()
    record = ledger.record(docket)
    if record is None or "docket" not in record.kinds:
        abort(404)
    desk.must("raise")
    answer, why, path = desk.field("answer"), desk.field("why"), f"human/{once.given()}"
    if answer not in RAISING or not why:
        return docket_page(docket, 400, fault="raise", typed={"answer": answer, "why": why})
    if path in record.heads:
        return redirect(url_for("review.docket", docket=docket, done="raised", _anchor="human"))
    in_place = {human.STOP: True, human.QUERY: False}.get(answer)
    value = {"answer": answer, "why": why, "in_place": in_place, "by_rule": None, "stage": "analysis"}
    edits = [Edit("docket", docket, {path: value}, {}), *hold_edits(record, answer, lifted=in_place is False)]
    if once.write(record.id, path, edits):
        desk.acted("raised", docket)
    return redirect(url_for("review.docket", docket=docket, done="raised", _anchor="human"))


def hold_edits(docket: Record, answer: str, lifted: bool) -> list[Edit]:
    """What an answer writes of a docket's hold; nothing for one that no hold follows."""
    if answer not in human.RAISED:
        return []
    ledger, hold = desk.ledger(), hold_id(docket.id)
    zone = ledger.site().value("zone_text")
    context = ledger.contexts_of([docket]).get(docket.id, "")
    tier = human.STOP if answer == human.STOP else human.QUERY
    written = hold_write(
        ledger.record(hold), docket.id, context, tier, zone if isinstance(zone, str) else "", lifted=lifted
    )
    return [Edit("hold", hold, written.set, written.over)] if written else []
