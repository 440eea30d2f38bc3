"""Entry by keyboard: one field, a line a docket, Enter after Enter, in the short words of a tablet's lab session.

A line that leaves a code waiting for a figure stays in hand until the figure has come, from callipers or a balance;
what is in hand is saved with the next line of words or by Enter alone. Of a line that is not understood nothing is
saved, unless it raises the human question: that never waits for a slip of the fingers, nor for a lock.
Not here: what lines mean (fieldapp.records.typed, entry_lines), many lines at once (entry_many), deleting elsewhere.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records import standing
from fieldapp.records.changes import canonical
from fieldapp.records.checking import values_of
from fieldapp.records.fold import DELETED, Record
from fieldapp.records.typed import is_figure
from server.review import blind, desk, entry_lines, locking, once, opened, words
from server.review.desk import pages
from server.review.entry_lines import Line, Lines, Place
from server.review.showing import label

SHOWN = 12
"""So many of the dockets made last are listed."""
SAVE, LOOK, BACK = "save", "look", "back"
LONGEST = 500
_TOLD = ("done", "undone", "kept")
ROUTE = "/<any(bag, context):kind>/<place>/entry"


class Made(NamedTuple):
    """A docket in the list: what is said of it, its problems, where it stands, and the heads that undo names."""

    record: Record
    said: list[tuple[str, str]]
    problems: list[Any]
    answer: str
    heads: str


@pages.get(ROUTE)
@desk.needs_sign_in
def entry(kind: str, place: str) -> Response:
    """`done`: the docket saved just now; `undone`: the label of one taken back; `line`: what the field begins with."""
    where = entry_lines.place_of(kind, place)
    desk.must("edit_docket")
    return _page(where, text=request.args.get("line", "")[:LONGEST])


@pages.post(ROUTE)
@desk.needs_sign_in
def enter(kind: str, place: str) -> Response:
    """`line`; `held`: what is in hand already; `once`: the id of the docket; `do`: what its button does."""
    where = entry_lines.place_of(kind, place)
    desk.must("edit_docket")
    mark, do = once.given(), desk.field("do")
    typed, held = desk.field("line")[:LONGEST], desk.field("held")[:LONGEST]
    ledger = desk.ledger()
    if ledger.record(mark) is not None:
        return _gone_on(where, mark)
    if do == BACK:
        return _page(where, text=_joined(held, typed))
    whole = _joined(held, typed)
    if not whole:
        return _page(where)
    lines = Lines(where)
    line = lines.read(whole, mark, entry_lines.before_of(ledger.record(desk.field("before")), lines.knowledge))
    raises = line.answer in human.RAISED
    if raises:
        _never_refused(line)
    elif line.wrong or (line.waits and not typed):
        return _page(where, 422, held=held, text=typed, line=line, lines=lines)
    lines.check([line])
    if do == LOOK:
        return _page(where, held=held, text=typed, line=line, lines=lines, looked=True)
    if not raises:
        if typed and (line.waits or is_figure(typed)):
            return _page(where, held=whole, line=line, lines=lines)
        if locking.locked_among([where.context]) is not None:
            return _page(where, 409, held=held, text=typed, line=line, lines=lines, fault="locked")
    if entry_lines.write([line]):
        desk.acted("docket_made", mark)
        if line.gravest in human.RAISED:
            desk.acted("raised", mark)
    return _gone_on(where, mark)


@pages.post("/docket/<docket>/take-back")
@desk.needs_sign_in
def take_back(docket: str) -> Response:
    """`heads`: what the list showed. Deletes a docket that was made at the desk, as long as it is as it was shown and
    nobody may take it for human; its label is not given again."""
    record = desk.ledger().record(docket)
    if record is None or record.kind != "docket" or "hold" in record.kinds:
        abort(404)
    desk.must("edit_docket")
    shown = opened.form(record)
    bag, context = record.value("bag"), desk.ledger().contexts_of([record]).get(docket, "")
    kind, place = ("bag", bag) if isinstance(bag, str) and bag else ("context", context)
    if not place:
        abort(400)
    if record.life() != "deleted":
        if locking.locked_among([context]) is not None:
            return redirect(url_for("review.docket", docket=docket, fault="locked"))
        if not _may_go(record) or shown.heads != record.head_ids():
            return redirect(url_for("review.entry", kind=kind, place=place, kept=docket))
        desk.write("docket", docket, {DELETED: True}, shown.heads)
        desk.acted("docket_taken_back", docket)
    return redirect(url_for("review.entry", kind=kind, place=place, undone=docket))


def _may_go(record: Record) -> bool:
    """Whether the list may take a docket back: made here, live, and nothing of it raised."""
    held = any(one.docket == record.id for one in desk.holds())
    raised = standing.answer_of(record, desk.authority()) in human.RAISED
    place = record.value("bag") or record.value("context") or ""
    return not held and not raised and record.id in desk.ledger().begun_here(str(place), 1_000_000)


def _never_refused(line: Line) -> None:
    """A raise is saved whatever else the line holds: words that were not understood become a note."""
    left = [one.word for one in line.wrong if one.why != entry_lines.NO_MATERIAL]
    left += [line.waits] if line.waits else []
    if left:
        path = f"note/{entry_lines.own(line.docket, 'left')}"
        text = words.say("entry.left_over", words=" ".join(left))
        line.values[path] = {"text": text, "stage": entry_lines.STAGE}
    line.wrong, line.waits = [], ""


def _joined(held: str, typed: str) -> str:
    """Two lines as one: the words of both, then the notes of both."""
    (first, _, note), (second, _, more) = held.partition('"'), typed.partition('"')
    notes = "; ".join(one.strip() for one in (note, more) if one.strip())
    text = " ".join([*first.split(), *second.split()])
    return f'{text} "{notes}'.strip() if notes else text


def _gone_on(where: Place, docket: str) -> Response:
    return redirect(url_for("review.entry", kind=where.record.kind, place=where.record.id, done=docket))


def _page(
    where: Place,
    status: int = 200,
    *,
    held: str = "",
    text: str = "",
    line: Line | None = None,
    lines: Lines | None = None,
    looked: bool = False,
    fault: str = "",
) -> Response:
    ledger = desk.ledger()
    made = _made(where)
    context = ledger.record(where.context) if where.context else None
    told = ledger.get(_asked(name) for name in _TOLD)
    return desk.page(
        "entry",
        status,
        where=where,
        context=context,
        locked=context if locking.is_locked(context) else None,
        bags=[] if where.bag else ledger.records("bag", where.context),
        once=once.new(),
        before=made[0].record.id if made else "",
        held=held,
        field=text,
        line=line,
        waits=line.waits if line is not None and not line.wrong else "",
        faults=[lines.sentence(line, one) for one in line.wrong] if line is not None and lines is not None else [],
        codes=lines.codes(line) if line is not None and lines is not None else [],
        said=entry_lines.said,
        looked=looked,
        fault=fault,
        made=made,
        told={name: told.get(_asked(name)) for name in _TOLD},
        answer_of=lambda record: standing.answer_of(record, desk.authority()),
        raised=human.RAISED,
        label=label,
        longest=LONGEST,
    )


def _asked(name: str) -> str:
    """The id that the address holds under a name."""
    return request.args.get(name, "").replace("\0", "")


def _made(where: Place) -> list[Made]:
    """The dockets made here last, newest first."""
    ledger = desk.ledger()
    ids = ledger.begun_here(where.record.id, SHOWN)
    open_ = blind.apart(ids)
    records, problems = ledger.get(ids), ledger.problems_of(ids)
    answers = {one.docket: one.answer for one in desk.holds()}
    found = []
    for record in (records[one] for one in ids if one in open_ and one in records):
        answer = answers.get(record.id) or standing.answer_of(record, desk.authority())
        own = [one for one in problems if one.record == record.id]
        heads = "" if answer in human.RAISED else canonical(record.head_ids())
        found.append(Made(record, entry_lines.said(values_of(record)), own, answer, heads))
    return found
