"""One docket, whole: what it is, who said what, the human question, problems, notes, joined dockets, every change."""

from __future__ import annotations

from flask import abort
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import standing
from fieldapp.records.fold import Record
from server.ledger import second
from server.ledger.holds import bone
from server.review import blind, closing, desk, photos
from server.review.desk import pages
from server.review.showing import Said, Showing, coarser, label


@pages.get("/docket/<docket>")
@desk.needs_sign_in
def docket(docket: str) -> Response:
    """A docket's page; without what was read first, for whoever is to read it a second time."""
    ledger = desk.ledger()
    record = ledger.record(docket)
    if record is None or "docket" not in record.kinds:
        abort(404)
    again = blind.hidden([docket]).get(docket)
    if again is not None:
        return _hidden(record, again)
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
        history=history,
        photos=photos.strip([docket]),
        again=_again(docket),
    )


def _hidden(record: Record, again: Record) -> Response:
    """The page of a docket whose first reading is hidden: its label, and the human question, which never is."""
    showing, where = Showing(desk.ledger()), standing.standing_of(record, desk.authority())
    hold = next((one for one in desk.holds() if one.docket == record.id), None)
    answer = max(where.answer, hold.answer if hold else where.answer, key=human.CAUTION.__getitem__)
    return desk.page(
        "docket_hidden",
        docket=record,
        label=label,
        again=again,
        draw=_draws([again])[again.id],
        hold=hold,
        answer=answer,
        readings=showing.readings(record, where),
        assessments=showing.assessments(record, where, desk.authority(), desk.names()),
    )


def _again(docket: str) -> list[tuple[Record, second.Draw, list[Said]]]:
    """(second reading, its draw, who made it) of a docket."""
    with desk.ledger().database.reading() as connection:
        found = second.about(connection, [docket])
    draws = _draws(found) if found else {}
    showing = Showing(desk.ledger())
    return [(one, draws[one.id], list(showing.said(one.heads.get("done", {})))) for one in found if one.id in draws]


def _draws(readings: list[Record]) -> dict[str, second.Draw]:
    """{second reading: its draw}."""
    draws = {one.id: one for one in second.draws(desk.ledger())}
    return {one.id: draws[second.sample_of(one)] for one in readings if second.sample_of(one) in draws}
