"""One docket, whole: what it is, who said what, the human question, problems, notes, joined dockets, every change."""

from __future__ import annotations

from flask import abort
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import standing
from server.ledger.holds import bone
from server.review import closing, desk, groups, photos
from server.review.desk import pages
from server.review.showing import Showing, coarser, label


@pages.get("/docket/<docket>")
@desk.needs_sign_in
def docket(docket: str) -> Response:
    """A docket's page."""
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
        fields=[one for one in fields if one.path not in ("reading", "label")],
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
