"""One docket, whole: what it is, who said what, the human question, problems, notes, joined dockets, every change."""

from __future__ import annotations

from collections.abc import Mapping

from flask import abort, request
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import checked, standing
from fieldapp.records.changes import canonical
from server.ledger.holds import bone
from server.review import closing, desk, groups, locking, once, photos
from server.review.desk import pages
from server.review.following import next_unchecked
from server.review.showing import Showing, coarser, label

DONE = ("saved", "made", "last", "rule_asks", "raised", "marked", "unmarked")
FAULTS = ("locked",)
RAISING = (human.STOP, human.QUERY, human.NOT_EXCLUDED)
"""What can be said at the desk. That nothing points to human is for who has the bone in the hand and the aid."""


@pages.get("/docket/<docket>")
@desk.needs_sign_in
def docket(docket: str) -> Response:
    """A docket's page."""
    return docket_page(docket)


def docket_page(docket: str, status: int = 200, *, fault: str = "", typed: Mapping[str, str] | None = None) -> Response:
    """The page; `fault` and `typed`: what its form to raise lacked, and what was in it."""
    ledger = desk.ledger()
    record = ledger.record(docket)
    if record is None or "docket" not in record.kinds:
        abort(404)
    showing = Showing(ledger)
    where = standing.standing_of(record, desk.authority())
    hold = next((one for one in desk.holds() if one.docket == docket), None)
    context = ledger.contexts_of([record]).get(docket, "")
    with ledger.database.reading() as connection:
        joined = set(bone(connection, docket))
    bag = record.value("bag")
    others = ledger.get({*joined, *filter(None, [context, bag if isinstance(bag, str) else ""])})
    fields, history, notes = showing.fields(record), showing.history(docket), showing.notes(record)
    closed = closing.closed_paths(record)
    written = [(path, value) for one in history for path, value in one.values]
    if any(value is not None and closing.is_closed(path, closed) for path, value in written):
        if closing.may_see():
            closing.seen(docket, closing.PLACE)
        else:
            fields, history = closing.shown_fields(fields, closed), closing.shown_history(history, closed)
            notes = closing.shown_notes(notes, closed)
    reading = next((one for one in fields if one.path == "reading"), None)
    own = where.answer
    return desk.page(
        "docket",
        status,
        docket=record,
        label=label,
        where=where,
        answer=max(own, hold.answer if hold else own, key=human.CAUTION.__getitem__),
        hold=hold,
        context=others.get(context),
        context_id=context,
        bag=others.get(bag) if isinstance(bag, str) else None,
        reading=coarser(reading.versions) if reading and reading.versions else None,
        reading_field=reading,
        fields=[one for one in fields if one.path not in ("reading", "label", checked.PATH)],
        state=checked.state_of(record),
        marks=[v for one in fields if one.path == checked.PATH for v in one.versions if v.value],
        heads=canonical(record.head_ids()),
        locked=locking.locked_among([context]),
        after=next_unchecked(record),
        raising=RAISING,
        typed=typed or {},
        once=once.new(),
        done=_said("done", DONE),
        fault=fault or _said("fault", FAULTS),
        disputed=[one for one in fields if one.nature],
        readings=showing.readings(record, where),
        assessments=showing.assessments(record, where, desk.authority(), desk.names()),
        problems=ledger.problems(record=docket),
        notes=notes,
        joined=[(one, others.get(one)) for one in sorted(joined - {docket})],
        ties=groups.ties_of(record),
        history=history,
        photos=photos.strip([docket]),
    )


def _said(name: str, known: tuple[str, ...]) -> str:
    """A word of the address, if it is one of those known."""
    told = request.args.get(name, "")
    return told if told in known else ""
