"""One docket, whole: what it is, who said what, the human question, problems, notes, joined dockets, every change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import abort, request
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import checked, standing
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger import second
from server.ledger.bags import transfers_of
from server.ledger.holds import bone
from server.ledger.lines import sort_key
from server.review import blind, closing, desk, groups, locking, once, photos
from server.review.desk import pages
from server.review.following import next_unchecked
from server.review.showing import Field, Said, Showing, coarser, label

DONE = ("saved", "made", "last", "rule_asks", "raised", "marked", "unmarked")
FAULTS = ("locked",)
RAISING = (human.STOP, human.QUERY, human.NOT_EXCLUDED)
"""What can be said at the desk. That nothing points to human is for who has the bone in the hand and the aid."""


@pages.get("/docket/<docket>")
@desk.needs_sign_in
def docket(docket: str) -> Response:
    """A docket's page; without what was read first, for whoever is to read it a second time."""
    return docket_page(docket)


def docket_page(docket: str, status: int = 200, *, fault: str = "", typed: Mapping[str, str] | None = None) -> Response:
    """The page; `fault` and `typed`: what its form to raise lacked, and what was in it."""
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
    sample = _sample(others.get(bag) if isinstance(bag, str) else None)
    with ledger.database.reading() as connection:
        transfers = transfers_of(connection, {docket, *([bag] if isinstance(bag, str) else [])})
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
        imported=_imported(fields),
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
        joined=sorted(
            ((one, others.get(one)) for one in joined - {docket}), key=lambda one: (sort_key(label(one[1])), one[0])
        ),
        ties=groups.ties_of(record),
        history=history,
        photos=photos.strip([docket]),
        sample=sample,
        again=_again(docket),
        transfers=transfers,
    )


def _imported(fields: Sequence[Field]) -> Mapping[str, Any] | None:
    """The row of somebody else's table that the docket came of, where it may be seen and is one."""
    found = next((one for one in fields if one.path == closing.IMPORTED), None)
    value = found.versions[0].value if found is not None and found.versions else None
    is_row = isinstance(value, Mapping) and isinstance(value.get("columns"), Mapping)
    return value if is_row else None


def _sample(bag: Record | None) -> Record | None:
    """The sample that the bag came from, once both have come."""
    sample = bag.value("sample") if bag is not None else None
    return desk.ledger().record(sample) if isinstance(sample, str) and sample else None


def _said(name: str, known: tuple[str, ...]) -> str:
    """A word of the address, if it is one of those known."""
    told = request.args.get(name, "")
    return told if told in known else ""


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
