"""Many disagreements that have one cause, settled at once; and the lots that were settled so, opened again as a whole.

Each is settled as if by itself: a change of its own, `over` the heads that the form showed, with a note. What has
changed meanwhile is left out, and said. All are written in one transaction, and the log's line keeps their ids: that is
the lot. Opening it again puts every path back to the versions that it was settled from, but for those that somebody has
written since. What lost stays readable in each record's history.

Never here: the human question, holds, bones on hold, deletions, links between bones (server.ledger.causes.MANY).
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flask import abort, redirect, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response

from fieldapp.records.changes import Change, canonical
from fieldapp.records.fold import Record
from server.ledger import Event, Written, events, folding, lots
from server.ledger import causes as ledger_causes
from server.ledger.causes import Case, Cause
from server.ledger.ledger import Edit
from server.review import blind, closing, desk, locking, once, words
from server.review.desk import ACTS, pages
from server.review.showing import Showing, Version, coarser, label

AT_ONCE = 100
"""So many of a cause are on a page, and settled at once."""

SPECIALISTS = ("zooarchaeologist", "human_osteologist")
COARSER, LATER = "coarser", "later"
SETTLED, OPENED = "settled_many", "opened_many"

Wanted = list[tuple[str, str, list[str]]]
"""[(record, path, the heads that the form showed)]."""


@dataclass(frozen=True, slots=True)
class Becomes:
    """What a disagreement of a lot becomes, or why it is left out, as a key."""

    case: tuple[str, str]
    record: Record | None
    versions: tuple[Version, ...]
    value: Any = None
    why: str = ""
    shown: tuple[str, ...] = ()


@pages.get("/disagreements/causes")
@desk.needs_sign_in
def causes() -> Response:
    """What many disagreements come down to."""
    found = _causes()
    return desk.page("causes", causes=found, acts=ACTS, title=_title, who=_who)


@pages.get("/disagreements/cause/<key>")
@desk.needs_sign_in
def cause(key: str) -> Response:
    """The disagreements of one cause side by side, to be ticked; `all=1` ticks those of the page."""
    return _page(_one(key))


@pages.post("/disagreements/cause/<key>")
@desk.needs_sign_in
def settle_many(key: str) -> Response:
    """`one`: what is ticked, each [record, path, heads shown]; `choice`; `reason`; `once`; `do`: "look" or "write"."""
    found = next((one for one in _causes() if one.key == key), None)
    if found is None:
        # All of them have been settled; a form that is sent twice leads to what it has done.
        lot = once.given()
        if _line(SETTLED, lot) is None:
            abort(404)
        return redirect(url_for("review.lot", lot=lot))
    desk.must(ACTS[found.kind])
    lot, wanted = once.given(), _ticked()
    if _line(SETTLED, lot) is not None:
        return redirect(url_for("review.lot", lot=lot))
    choice, reason = desk.field("choice"), desk.field("reason")
    form: dict[str, Any] = {"choice": choice, "reason": reason, "ticked": wanted, "once": lot}
    fault = "none" if not wanted else "many" if len(wanted) > AT_ONCE else ""
    fault = fault or ("choice" if choice not in dict(_choices(found)) else "" if reason else "reason")
    if fault:
        return _page(found, 400, fault=fault, **form)
    never = _never()
    if desk.field("do") != "write":
        showing = _showing(found.cases)
        with desk.ledger().database.reading() as connection:
            preview = _become(connection, wanted, found, choice, never, showing)
        return _page(found, preview=preview, **form)
    if not _settled(found, wanted, choice, reason, lot, never) and _line(SETTLED, lot) is None:
        return _page(found, 409, fault="changed", **form)
    return redirect(url_for("review.lot", lot=lot))


def _settled(found: Cause, wanted: Wanted, choice: str, reason: str, lot: str, never: frozenset[str]) -> bool:
    """Writes the lot, if anything is left to settle, in one transaction with its line of the log."""
    ledger, me, showing = desk.ledger(), desk.me(), _showing(found.cases)
    with ledger.database.writing() as connection:
        become = _become(connection, wanted, found, choice, never, showing)
        text = words.say("note.settled_many", field=words.field(found.path), reason=reason, lot=lot[:8])
        edits = []
        for one in become:
            if one.record is not None and not one.why:
                found_edit = lots.settled(one.record, one.case[1], one.shown, one.value)
                assert found_edit is not None  # what has changed has a `why`
                edits.append(_noted(found_edit, text))
        if not edits:
            return False
        made = ledger.write_many_in(connection, edits, me.by)
        _note(
            connection,
            SETTLED,
            lot,
            [one.id for one in made],
            found.path,
            [(*one.case, one.why) for one in become if one.why],
        )
    desk.desk().written()
    return True


@pages.get("/disagreements/lots")
@desk.needs_sign_in
def lots_settled() -> Response:
    """The lots that were settled, the newest first."""
    ledger = desk.ledger()
    opened = {_text(one, "lot") for one in ledger.events(1000, OPENED)}
    return desk.page("lots", lots=ledger.events(200, SETTLED), opened=opened)


@pages.get("/disagreements/lot/<lot>")
@desk.needs_sign_in
def lot(lot: str) -> Response:
    """What was settled together, from what, and what was left out."""
    return _lot_page(_the_lot(lot))


@pages.post("/disagreements/lot/<lot>/open")
@desk.needs_sign_in
def open_lot(lot: str) -> Response:
    """`reason`. Puts the versions before it back, side by side, for all of the lot that nobody has written since."""
    line = _the_lot(lot)
    ledger, me = desk.ledger(), desk.me()
    changes = ledger.who(_ids(line))
    for kind in {one.change.kind for one in changes.values()}:
        desk.must(ACTS[kind])
    reason = desk.field("reason")
    if not reason:
        return _lot_page(line, 400, fault="reason")
    made: list[Change] = []
    written = _written_over(changes)
    ids = sorted({one.change.record for one in changes.values()})
    text = words.say("note.opened_many", field=words.field(_text(line, "path")), reason=reason, lot=lot[:8])
    with ledger.database.writing() as connection:
        records = {one.id: one for one in folding.records_of(connection, ids)}
        locked = _locked(records.values())
        found, stay = lots.opened(
            [one.change for one in changes.values()],
            written,
            {one: record for one, record in records.items() if one not in locked},
        )
        edits = [edit for first, *rest in found for edit in (_noted(first, text), *rest)]
        left = [(one.record, lots.path_of(one), "locked" if one.record in locked else "changed") for one in stay]
        if edits:
            made = ledger.write_many_in(connection, edits, me.by)
            _note(connection, OPENED, lot, [one.id for one in made], _text(line, "path"), left)
    if not made:
        return _lot_page(line, 409, fault="nothing")
    desk.desk().written()
    return redirect(url_for("review.lot", lot=lot, done="opened", left=len(left)))


# -- causes


def _causes() -> list[Cause]:
    every = desk.ledger().cases()
    shown = blind.apart(one.disputed.record for one in every)
    listed = [one for one in every if one.disputed.record in shown]
    locked = locking.locked_of({_place(one) for one in listed})
    return ledger_causes.causes((one for one in listed if _place(one) not in locked), _never())


def _place(case: Case) -> str:
    """The context that a record lies in; what lies in none stands for itself."""
    return case.disputed.context or case.disputed.record


def _never() -> frozenset[str]:
    """Dockets on hold, and all that are said to be one bone with them: each is settled by itself."""
    return frozenset(each for one in desk.holds() for each in (one.docket, *one.joined))


def _one(key: str) -> Cause:
    return next((one for one in _causes() if one.key == key), None) or abort(404)


def _choices(found: Cause) -> list[tuple[str, str]]:
    """[(choice, what it is in words)] of a cause."""
    made = [(f"by:{one.id}", words.say("many.by", name=one.name or words.say("not_known_who"))) for one in found.sayers]
    made = made if len(made) > 1 else []
    if found.path == "reading" and found.nature == "precision":
        made.append((COARSER, words.say("many.coarser")))
    values = found.fields[0][1] if found.path != "reading" and len(found.fields) == 1 else ()
    made += [(f"value:{canonical(one)}", words.say("many.value", value=_said(found.path, one))) for one in values]
    return [*made, (LATER, words.say("many.later"))]


def _showing(found: Sequence[Case]) -> Showing:
    """Who wrote what stands in these, looked up at one go."""
    showing = Showing(desk.ledger())
    showing.said(head for one in found for head in one.disputed.heads)
    return showing


def _become(
    connection: Connection, wanted: Wanted, found: Cause, choice: str, never: frozenset[str], showing: Showing
) -> list[Becomes]:
    """What each that is ticked becomes. Asked again when it is written, of what stands then."""
    records = {one.id: one for one in folding.records_of(connection, sorted({record for record, _, _ in wanted}))}
    cases = {(one.disputed.record, one.disputed.path): one for one in found.cases}
    made, locked = [], _locked(records.values())
    for one, path, shown in wanted:
        record, case = records.get(one), cases.get((one, path))
        if record is None or case is None or one in never or not ledger_causes.may_be_many(record, path):
            made.append(Becomes((one, path), record, (), why="gone"))
        elif one in locked:
            made.append(Becomes((one, path), record, (), why="locked"))
        elif set(record.heads.get(path, {})) != set(shown) or set(shown) != set(case.disputed.heads):
            made.append(Becomes((one, path), record, (), why="changed"))
        else:
            versions = showing.versions(case.disputed.heads)
            values = _chosen(case, versions, choice)
            why = "" if len(values) == 1 else "no_such"
            made.append(Becomes((one, path), record, versions, values[0] if values else None, why, tuple(shown)))
    return made


def _locked(records: Collection[Record]) -> set[str]:
    """Those of these records that lie in a locked context, or are one."""
    ledger = desk.ledger()
    where = ledger.contexts_of(records)
    contexts = ledger.get({*where.values(), *(one.id for one in records)})
    return {
        one.id
        for one in records
        if any(locking.is_locked(contexts.get(each)) for each in (one.id, where.get(one.id, "")))
    }


def _chosen(case: Case, versions: Sequence[Version], choice: str) -> list[Any]:
    """The value that a choice stands for here: one, or none or several where it stands for no single one."""
    sort, _, told = choice.partition(":")
    if sort == "by":
        return case.said_by(told)
    if sort == "value":
        return [one.value for one in versions if canonical(one.value) == told]
    if choice == COARSER:
        return [coarser(versions)] if case.disputed.nature == "precision" else []
    said = [(who.order, one.value) for one in versions for who in one.said if who.role in SPECIALISTS]
    return [max(said, key=lambda one: one[0])[1]] if said else []


def _ticked() -> Wanted:
    """What the form has ticked; what is no such thing ends the request."""
    found = []
    for written in request.form.getlist("one"):
        try:
            record, path, heads = json.loads(written)
        except (ValueError, TypeError, RecursionError):
            abort(400)
        if not isinstance(record, str) or not isinstance(path, str) or not isinstance(heads, list):
            abort(400)
        if not heads or not all(isinstance(one, str) for one in heads):
            abort(400)
        found.append((record, path, heads))
    if len({one[:2] for one in found}) != len(found):
        abort(400)
    return found


def _page(
    found: Cause, status: int = 200, *, preview: Sequence[Becomes] = (), fault: str = "", **form: Any
) -> Response:
    ledger = desk.ledger()
    last = max(1, -(-len(found.cases) // AT_ONCE))
    at = min(max(1, request.args.get("page", 1, int)), last)
    cases = found.cases[(at - 1) * AT_ONCE : at * AT_ONCE]
    showing = _showing(cases)
    shown = [(one.disputed, showing.versions(one.disputed.heads), one.sayers) for one in cases]
    ticked = {(record, path) for record, path, _ in form.get("ticked", ())}
    if request.args.get("all"):
        ticked = {(one.record, one.path) for one, _, _ in shown}
    where = ledger.get({one.context for one, _, _ in shown if one.context})
    return desk.page(
        "cause",
        status,
        cause=found,
        shown=shown,
        ticked=ticked,
        numbers={one: label(record) for one, record in where.items()},
        choices=_choices(found),
        title=_title(found),
        who=_who(found),
        said=_said,
        packed=lambda one: canonical([one.record, one.path, sorted(one.heads)]),
        preview=preview,
        again=[
            canonical([*one.case, sorted(one.record.heads[one.case[1]])])
            for one in preview
            if one.record and not one.why
        ],
        label=label,
        act=ACTS[found.kind],
        fault=fault,
        most=AT_ONCE,
        form=form,
        once=form.get("once") or once.new(),
        at=at,
        last=last,
    )


def _title(found: Cause) -> str:
    """What differs, in words."""
    parts = []
    for field, values in found.fields:
        said = " / ".join(_said(field, one) for one in values)
        name = words.field(field or found.path)
        parts.append(f"{name}: {said}" if said else name)
    return "; ".join(parts)


def _who(found: Cause) -> str:
    return ", ".join(one.name or words.say("not_known_who") for one in found.sayers)


def _said(path: str, value: Any) -> str:
    if path in ("bag", "context", "sample") and value not in (words.CLOSED, words.HIDDEN):
        return desk.refer(value)
    return words.value(path, value)


# -- lots


def _note(
    connection: Connection, what: str, lot: str, made: Sequence[str], path: str, left: Sequence[tuple[str, str, str]]
) -> None:
    me = desk.me()
    fields = {"name": me.name, "role": me.role, "n": len(made), "label": words.field(path), "path": path, "lot": lot}
    desk.ledger().note_in(
        connection, what, me.person, {**fields, "changes": list(made), "left": [list(one) for one in left]}
    )


def _line(what: str, lot: str) -> Event | None:
    with desk.ledger().database.reading() as connection:
        found = events.naming(connection, what, lot)
    return next((one for one in found if _text(one, "lot") == lot), None)


def _the_lot(lot: str) -> Event:
    return _line(SETTLED, lot) or abort(404)


def _lot_page(line: Event, status: int = 200, fault: str = "") -> Response:
    ledger = desk.ledger()
    showing = Showing(ledger)
    lot = _text(line, "lot")
    changes = ledger.who(_ids(line))
    records = ledger.get({one.change.record for one in changes.values()} | {one[0] for one in _left(line)})
    written = _written_over(changes)
    shown = []
    for one in changes.values():
        path = lots.path_of(one.change)
        record = records.get(one.change.record)
        closed = record is not None and closing.is_closed(path, closing.closed_paths(record))
        unsaid = words.CLOSED if closed else words.HIDDEN if blind.is_hidden(one.change.record) else None
        values = lots.former(one.change, written) if unsaid is None else [unsaid]
        value = one.change.set[path] if unsaid is None else unsaid
        stands = record is not None and set(record.heads.get(path, {})) == {one.change.id}
        shown.append((one.change, path, record, values, value, stands))
    opened = _line(OPENED, lot)
    kinds = {one.change.kind for one in changes.values()}
    return desk.page(
        "lot",
        status,
        line=line,
        lot=lot,
        path=_text(line, "path"),
        shown=sorted(shown, key=lambda each: (label(each[2]), each[1])),
        left=[(records.get(record), record, path, why) for record, path, why in _left(line)],
        who=showing.said(list(changes)[:1]),
        opened=opened,
        opened_left=[(records.get(record), record, path, why) for record, path, why in _left(opened)] if opened else [],
        may_open=all(kind in ACTS and desk.may(ACTS[kind]) == "yes" for kind in kinds),
        said=_said,
        label=label,
        fault=fault,
        done=request.args.get("done", ""),
    )


def _noted(edit: Edit, text: str) -> Edit:
    """The edit with a note of why."""
    note = {"text": text, "stage": "analysis"}
    return edit._replace(set={**edit.set, f"note/{desk.ledger().new_id()}": note})


def _written_over(changes: Mapping[str, Written]) -> dict[str, Change]:
    """{id: the change} of what the settlements of a lot were written over."""
    over = {head for one in changes.values() for heads in one.change.over.values() for head in heads}
    return {one: each.change for one, each in desk.ledger().who(over).items()}


def _ids(line: Event) -> list[str]:
    return [one for one in line.fields.get("changes", []) if isinstance(one, str)]


def _left(line: Event) -> list[tuple[str, str, str]]:
    return [(one[0], one[1], one[2]) for one in line.fields.get("left", []) if isinstance(one, list) and len(one) == 3]


def _text(line: Event, name: str) -> str:
    return str(line.fields.get(name, ""))
