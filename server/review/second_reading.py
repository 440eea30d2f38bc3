"""Reading a bone a second time at the desk, blind: the form, raising the human question, looking after all.

The form shows the docket's label, and of bag, context and weight what the draw says; of the first reading nothing. It
is saved whole, over what it showed, and may be mended until the draw is over. The human question goes to the docket at
once, as an answer like any other: by its own form, and in the same save where a rule asks for it. Who opens the first
reading is named in the log and in the record, which is then not blind. Not here: draws and figures (second).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.records import checking
from fieldapp.records.changes import canonical
from fieldapp.records.checking import Among, is_wanting, reading_by_rule
from fieldapp.records.fold import Record
from fieldapp.records.schemas import OBSERVED
from server.ledger import second
from server.ledger.checks import Found
from server.ledger.ledger import RULES, Edit
from server.ledger.second import Draw
from server.review import blind, desk, once, opened, raising, reading_form, words
from server.review.desk import pages
from server.review.showing import label

RAISES = (human.QUERY, human.NOT_EXCLUDED)
"""Answers at the desk: what lies here has been lifted."""
STAGE = "analysis"


@pages.get("/second/<reading>")
@desk.needs_sign_in
def second_reading(reading: str) -> Response:
    """The form: empty, or with what was said here before."""
    found = _found(reading)
    record, draw = found
    return _page(record, draw, reading_form.answers(_observed(record)), done=request.args.get("done", ""))


@pages.post("/second/<reading>")
@desk.needs_sign_in
def second_saved(reading: str) -> Response:
    """The fields of reading_form; `do`: "parts" shows those of the bone named, "next" saves and goes on to the next,
    anything else saves; `heads`: what the form showed, JSON {path: [change ids]}; `parts_of`; `note`."""
    record, draw = _found(reading)
    if not second.is_open(record) and draw.over:
        abort(409)
    heads, answers = opened.form(record).heads, reading_form.given(request.form)
    if request.form.get("do") == "parts":
        return _page(record, draw, answers, heads=heads)
    if reading_form.is_stale(request.form):
        return _page(record, draw, answers, 400, fault="stale", heads=heads)
    ledger, ids = desk.ledger(), _items(record)
    read = reading_form.read(answers, STAGE, lambda name: ids.get(name) or ledger.new_id())
    if read.faults or not ({"reading", "material"} & read.values.keys()):
        return _page(record, draw, answers, 400, "numbers" if read.faults else "empty", read.faults, heads)
    if any(one not in heads.get("done", ()) for one in record.heads.get("done", {})):
        return _page(record, draw, answers, 409, fault="meanwhile", heads=heads)
    values: dict[str, Any] = {**dict.fromkeys(_observed(record)), **read.values, "done": True}
    if note := desk.field("note"):
        values[f"note/{ledger.new_id()}"] = {"text": note, "stage": STAGE}
    over = {path: ids for path, ids in heads.items() if path in values}
    if (seen := f"{second.SEEN}/{desk.me().person}") in record.heads:
        values[seen], over[seen] = True, record.head_ids()[seen]
    with ledger.database.writing() as connection:
        ledger.write_many_in(connection, [Edit(second.KIND, record.id, values, over)], desk.me().by)
        now = ledger.record_in(connection, record.id)
        around = _around(now, ledger.record_in(connection, second.docket_of(record))) if now else []
        raised = _raised(around)
        ledger.write_many_in(connection, raised, RULES)
    desk.desk().written()
    desk.acted("second_read", second.docket_of(record))
    # What the rules raise or ask to be mended is shown before she goes on.
    found = _problems(now, ledger.record(second.docket_of(record))) if now is not None else []
    after, clean = _left(record, draw), not raised and all(one.level == "note" for one in found)
    if desk.field("do") == "next" and clean and after:
        return redirect(url_for("review.second_reading", reading=after[0].id, before=record.id))
    return redirect(url_for("review.second_reading", reading=record.id, done="saved"))


@pages.post("/second/<reading>/raise")
@desk.needs_sign_in
def second_raise(reading: str) -> Response:
    """`answer` and `why`, with `once`: an answer to the human question, on the docket itself."""
    record, draw = _found(reading)
    desk.must("raise")
    one, answer = once.given(), desk.field("answer")
    if answer not in RAISES:
        return _page(record, draw, reading_form.answers(_observed(record)), 400, fault="answer")
    docket, path = second.docket_of(record), f"human/{one}"
    there = desk.ledger().record(docket)
    value = {"answer": answer, "why": desk.field("why"), "in_place": False, "by_rule": None, "stage": STAGE}
    holds = raising.hold_edits(there, answer, lifted=True) if there is not None else []
    edits = [Edit("docket", docket, {path: value}, {}), *holds]
    if once.write(docket, path, edits):
        desk.acted("raised", docket)
    if answer == human.QUERY:
        return redirect(url_for("review.hold", docket=docket))
    return redirect(url_for("review.second_reading", reading=record.id, done="raised"))


@pages.post("/second/<reading>/look")
@desk.needs_sign_in
def second_look(reading: str) -> Response:
    """Opens the first reading to who is signed in. What is not read by then is not read blind."""
    record, _ = _found(reading)
    docket = second.docket_of(record)
    if blind.is_hidden(docket):
        blind.looked(record)
    return redirect(url_for("review.docket", docket=docket))


def _found(reading: str) -> tuple[Record, Draw]:
    """A second reading that who is signed in may make, and its draw."""
    desk.must("second_reading")
    record = desk.ledger().record(reading)
    if record is None or record.kind != second.KIND or record.life() == "deleted":
        abort(404)
    if not blind.is_asked(record):
        abort(403)
    sample = second.sample_of(record)
    return record, next(one for one in second.draws(desk.ledger()) if one.id == sample)


def _observed(record: Record) -> dict[str, Any]:
    """What this second reading says so far."""
    values = record.values()
    return {path: value for path, value in values.items() if path.partition("/")[0] in OBSERVED and value is not None}


def _items(record: Record) -> dict[str, str]:
    """{name in the form: id} of the items that are there, so that they are mended and not made anew."""
    found: dict[str, str] = {}
    rows = dict.fromkeys(reading_form.ROWS, 0)
    for path, value in _observed(record).items():
        head, _, one = path.partition("/")
        if head == "measure" and isinstance(value, Mapping):
            found[f"measure.{value.get('code')}"] = one
        elif head in rows and isinstance(value, Mapping):
            found[f"{head}.{rows[head]}"] = one
            rows[head] += 1
    return found


def _around(record: Record, docket: Record | None) -> list[Record]:
    """A second reading with what the rules look at beside it; the docket's own readings among it are not shown."""
    ledger = desk.ledger()
    if docket is None:
        return [record, ledger.site()]
    bag = docket.value("bag")
    there = ledger.get({*ledger.contexts_of([docket]).values(), *([bag] if isinstance(bag, str) else [])})
    return [record, docket, ledger.site(), *there.values()]


def _raised(records: Sequence[Record]) -> list[Edit]:
    """What the rules ask of the human question, for the docket."""
    found = []
    for record, problems in Among(records, knowledge()).raises(records[:1]):
        docket = next((one for one in records if one.id == checking.subject_of(record)), None)
        for problem in problems:
            path, value = reading_by_rule(record.id, problem)
            if problem.raises and (docket is None or is_wanting(docket, path, value)):
                found.append(Edit("docket", checking.subject_of(record), {path: value}, {}))
    return found


def _problems(record: Record, docket: Record | None) -> list[Found]:
    """What the rules find in what was saved."""
    if not second.is_done(record):
        return []
    found = Among(_around(record, docket), knowledge()).check(record)
    return [
        Found(
            one.record, record.kind, "", one.problem.rule, one.problem.level, one.problem.path, dict(one.problem.fields)
        )
        for one in found
    ]


def _left(record: Record, draw: Draw) -> list[Record]:
    """The others of the draw that who is signed in is still to read."""
    return [one for one in draw.open if blind.is_asked(one) and one.id != record.id]


def _called(reading: Record) -> str:
    return label(desk.ledger().record(second.docket_of(reading))) or words.say("no_label")


def _page(
    record: Record,
    draw: Draw,
    answers: Mapping[str, str],
    status: int = 200,
    fault: str = "",
    faults: Sequence[str] = (),
    heads: Mapping[str, Sequence[str]] | None = None,
    done: str = "",
) -> Response:
    ledger = desk.ledger()
    docket = ledger.record(second.docket_of(record))
    contexts = ledger.contexts_of([docket] if docket else [])
    bag = docket.value("bag") if docket else None
    others = ledger.get({*contexts.values(), *([bag] if isinstance(bag, str) else [])})
    asked, before = _left(record, draw), ledger.record(request.args.get("before", ""))
    kept = {path: ids for path, ids in record.head_ids().items() if path.partition("/")[0] in (*OBSERVED, "done")}
    return desk.page(
        "second_reading",
        status,
        record=record,
        draw=draw,
        docket=docket,
        docket_id=second.docket_of(record),
        name=label(docket) or words.say("no_label"),
        bag=label(others.get(bag)) if isinstance(bag, str) and "bag" in draw.shown else "",
        context=label(others.get(contexts.get(docket.id, ""))) if docket and "context" in draw.shown else "",
        weight=docket.value("weight_g") if docket and "weight" in draw.shown else None,
        answers=answers,
        shown=reading_form.shown(answers),
        form=reading_form,
        heads=canonical(kept if heads is None else heads),
        editable=second.is_open(record) or not draw.over,
        is_done=second.is_done(record),
        before=_called(before) if before is not None and second.sample_of(before) == draw.id else "",
        was_seen=desk.me().person in record.items(second.SEEN) and not second.is_done(record),
        problems=_problems(record, docket),
        left=len(asked),
        following=asked[0].id if asked else "",
        raises=RAISES,
        once=once.new(),
        fault=fault,
        faults=set(faults),
        note=desk.field("note") if request.method == "POST" else "",
        done=done,
    )
