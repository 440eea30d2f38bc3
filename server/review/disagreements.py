"""Disagreements: the list, one side by side, settling it, opening it again.

A settlement is one change of the cabin's notebook whose `over` names every head that the form showed. A head that came
meanwhile is not named, so it stays and the disagreement with it; nothing is lost. The readings that lose stay in the
history.

Opening again is as many changes as there were versions: each sets the path to one of them and names the settlement's
heads in `over`, but none names another, so that they stand side by side as before and everywhere alike. The
settlement stays in the history. (One change could not do it: a change holds one value a path.)

Never here: human fields and holds; a third version (third) and many disagreements at a time (settling).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any

from flask import abort, redirect, request, url_for
from sqlalchemy import ColumnElement, Connection, case, func, or_
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from fieldapp.records.changes import canonical
from fieldapp.records.fold import ADD_ONLY, DELETED, Record
from fieldapp.records.schemas import SHAPES
from server.ledger import asking, lines, tables
from server.ledger.asking import Disputed
from server.ledger.folding import nature as nature_of
from server.ledger.lines import LINE
from server.review import blind, closing, coming_back, desk, fragments, locking, opened, parting, words
from server.review.desk import ACTS, pages
from server.review.showing import SEALED, Said, Showing, Version, coarser, differing, label, rows
from server.review.tables import Paged, Sort
from server.review.today import distinct, numbers
from server.review.typed import third_input

COARSER, KEEP, DELETE, LOCKED = "coarser", "keep", "delete", "locked"
NEXT = "next"


_ROW, _RECORD = tables.disagreement.c, tables.record.c
_IS_PRECISION = _ROW.nature == "precision"
_ABOUT = case(
    *((or_(_ROW.path == one, _ROW.path.startswith(f"{one}/")), one) for one in sorted({*chain(*SHAPES.values())})),
    else_=_ROW.path,
)
"""A path without the id of what stands there."""
SORTS = {
    "record": Sort(func.coalesce(LINE.sort, _RECORD.label)),
    "context": Sort(LINE.place),
    "about": Sort(_ABOUT, order=lambda paths: words.in_order(paths, words.field)),
    "nature": Sort(_ROW.nature),
}
ONLY = {
    "conflict": _ROW.nature == "conflict",
    "deletion": _ROW.nature == "deletion",
    "precision": _IS_PRECISION,
    "readings": _ROW.path == "reading",
    "contexts": _RECORD.kind == "context",
}


@pages.get("/disagreements")
@desk.needs_sign_in
def disagreements() -> Response:
    """What the records disagree about; differences of precision last."""
    with desk.ledger().database.reading() as connection:
        table = _table(connection)
        found = asking.disputed(connection, [tuple(row) for row in table.rows])
    return desk.page(
        "disagreements",
        table=table,
        found=found,
        contexts=numbers([one.context for one in found]),
        settled_here=ACTS,
        versions=lambda one: _listed(one.record, one.path, one.heads),
    )


def _table(connection: Connection, asked: MultiDict[str, str] | None = None) -> Paged:
    usual = (_IS_PRECISION, func.coalesce(LINE.sort, _RECORD.label, ""), _ROW.record, _ROW.path)
    return Paged(connection, lines.DISAGREEMENTS, SORTS, find=_has, only=ONLY, usual=usual, asked=asked)


def _next(record: str, path: str) -> Disputed | None:
    """What comes after this one in the list that it was opened from, of what is settled here."""
    asked = coming_back.asked_of("/review/disagreements")
    with desk.ledger().database.reading() as connection:
        table = _table(connection, asked)
        listed = [tuple(row) for row in table.rows]
        here = listed.index(mine) if (mine := next((one for one in listed if one[:2] == (record, path)), None)) else -1
        after = listed[here + 1 :]
        if table.number < table.last:
            asked["page"] = str(table.number + 1)
            after += [tuple(row) for row in _table(connection, asked).rows]
        found = asking.disputed(connection, [*after, *listed[: max(here, 0)]])
    return next((one for one in found if one.kind in ACTS and not blind.is_hidden(one.record)), None)


def _has(word: str) -> ColumnElement[bool]:
    """Whether the word is in the record's label, in what it was read as, or in the name of what is in dispute."""
    paths = {path for shapes in SHAPES.values() for path in shapes if word in words.field(path).casefold()}
    about = [_ROW.path == path for path in paths] + [_ROW.path.startswith(f"{path}/") for path in paths]
    return or_(_RECORD.label.icontains(word, autoescape=True), fragments.has(word), *about)


def _listed(record: str, path: str, heads: Mapping[str, Any]) -> list[Any]:
    """The distinct values of a line of the list; what is closed is looked at on its own page, by whom it is for."""
    if blind.is_hidden(record):
        return [words.HIDDEN]
    found = desk.ledger().record(record)
    closed = found is None or closing.is_closed(path, closing.closed_paths(found)) or path.endswith(SEALED)
    return [words.CLOSED] if closed else distinct(heads)


@pages.get("/disagreement/<record>/<path:path>")
@desk.needs_sign_in
def disagreement(record: str, path: str) -> Response:
    """One path of one record: its versions, or what stands since it was settled."""
    return disagreement_page(found_record(record, path), path)


@pages.post("/disagreement/<record>/<path:path>")
@desk.needs_sign_in
def settle(record: str, path: str) -> Response:
    """`heads`: what the form showed, JSON {path: [change ids]}; `choice`: a change id, "coarser", "keep" or "delete";
    `reason`; `do`: "next" goes on to the next of the list."""
    found = found_record(record, path)
    must_settle(found, path)
    shown = shown_heads(found, path)
    choice, reason = desk.field("choice"), desk.field("reason")
    fault = "choice" if not choice else "" if reason else "reason"
    if fault or (fault := lock_fault(found, path)):
        return disagreement_page(
            found, path, 409 if fault == LOCKED else 400, fault=fault, choice=choice, reason=reason
        )
    value = _chosen(found, path, shown[path], choice)
    if parting.settled_away(found, path, value):
        return disagreement_page(found, path, 409, fault="lowers", choice=choice, reason=reason)
    over = dict(shown) if path == DELETED else {path: shown[path]}
    after = _next(record, path) if desk.field("do") == NEXT else None
    note = {"text": words.say("note.settled", field=words.field(path), reason=reason), "stage": "analysis"}
    if opened.write(found, path, [{path: value, f"note/{desk.ledger().new_id()}": note}], over):
        desk.acted("settled", record)
    if after is not None:
        address = url_for("review.disagreement", record=after.record, path=after.path, before=record, before_path=path)
        return redirect(address)
    return redirect(url_for("review.disagreement", record=record, path=path, done="settled"))


@pages.post("/disagreement/<record>/<path:path>/open")
@desk.needs_sign_in
def open_again(record: str, path: str) -> Response:
    """`heads`: what the form showed; `reason`. Puts the versions before the settlement back, side by side."""
    found = found_record(record, path)
    must_settle(found, path)
    shown = shown_heads(found, path)
    reason = desk.field("reason")
    fault = "" if reason else "reason"
    if fault or (fault := lock_fault(found, path)):
        return disagreement_page(found, path, 409 if fault == LOCKED else 400, fault=fault, reason=reason)
    former = _former(Showing(desk.ledger()), found, path, shown[path])
    if len(former) < 2:
        abort(409)
    note = {"text": words.say("note.opened", field=words.field(path), reason=reason), "stage": "analysis"}
    values: list[dict[str, Any]] = [{path: one.value} for one in former]
    values[0][f"note/{desk.ledger().new_id()}"] = note
    if opened.write(found, path, values, {path: shown[path]}):
        desk.acted("opened_again", record)
    return redirect(url_for("review.disagreement", record=record, path=path, done="opened"))


def found_record(record: str, path: str) -> Record:
    """The record, if this path of it can be settled at all and may be seen; else it ends the request."""
    found = desk.ledger().record(record)
    # Human readings never disagree, and nothing of a hold is settled: its most cautious value counts.
    if found is None or path not in found.heads or path.startswith(ADD_ONLY) or found.kind not in ACTS:
        abort(404)
    if "hold" in found.kinds and (path == DELETED or path.partition("/")[0] in SHAPES["hold"]):
        abort(404)  # whatever else was claimed for its id
    if closing.is_closed(path, closing.closed_paths(found)) and not closing.may_see():
        abort(403)
    if blind.is_hidden(record):
        abort(redirect(url_for("review.docket", docket=record)))
    return found


def must_settle(record: Record, path: str) -> None:
    """Ends the request if the role may not settle what a record of this kind says; whether a context is locked, only
    who may lock."""
    desk.must(ACTS[record.kind])
    if path == locking.PATH:
        desk.must("lock_context")


def lock_fault(record: Record, path: str) -> str:
    """LOCKED if the record lies in a locked context, or is one: nothing in it is settled but the lock itself."""
    return LOCKED if path != locking.PATH and locking.bars([record]) else ""


def shown_heads(record: Record, path: str) -> dict[str, list[str]]:
    """What the form showed, of this path at least."""
    shown = opened.form(record).heads
    return shown if shown.get(path) else abort(400)


def _chosen(record: Record, path: str, heads: Sequence[str], choice: str) -> Any:
    """The value that a choice stands for, of the versions the form showed."""
    if path == DELETED and choice in (KEEP, DELETE):
        return True if choice == DELETE else None
    values = {one.change.id: one.change.set[path] for one in desk.ledger().history(record.id) if one.change.id in heads}
    if choice in values:
        return values[choice]
    if choice == COARSER and nature_of(path, list(values.values())) == "precision":
        return coarser(Showing(desk.ledger()).versions(values))
    return abort(400)


def disagreement_page(record: Record, path: str, status: int = 200, **form: str) -> Response:
    """One path of one record; `form`: what was typed, with the `fault` that the form had."""
    ledger = desk.ledger()
    showing = Showing(ledger)
    disputed = record.disagreements().get(path)
    heads = disputed if disputed is not None else record.heads[path]
    versions = showing.versions(heads, record.id, path)
    nature = nature_of(path, list(heads.values())) if disputed is not None else ""
    former = () if nature or path == DELETED else _former(showing, record, path, list(heads))
    beside = versions if nature else former
    fields = differing(beside) if path == "reading" else {}
    listed = rows(beside, fields)
    context = ledger.contexts_of([record]).get(record.id, "")
    others = ledger.get(filter(None, [context]))
    closed = closing.closed_paths(record)
    unseen = _unseen(showing, record) if path == DELETED and nature else []
    if any(closing.is_closed(one, closed) for one in (path, *(one for one, _, _ in unseen))):
        if closing.may_see():
            closing.seen(record.id, closing.PLACE)
        else:
            unseen = [
                (one, words.CLOSED if closing.is_closed(one, closed) else value, who) for one, value, who in unseen
            ]
    return desk.page(
        "disagreement",
        status,
        record=record,
        path=path,
        label=label,
        context=others.get(context),
        context_id=context,
        nature=nature,
        versions=versions,
        former=former,
        reasons=_reasons(showing, record, heads) if not nature else [],
        differing=fields,
        rows=listed,
        unsaid=[one for one in listed if one not in fields and all(_is_unsaid(v.value, one) for v in beside)],
        coarser=coarser(versions) if nature == "precision" else None,
        unseen=unseen,
        heads=canonical(record.head_ids() if path == DELETED else {path: sorted(heads)}),
        act=ACTS[record.kind],
        third=third_input(record, path) if nature == "conflict" else None,
        may_combine=path == "reading" and len(versions) > 1 and all(isinstance(v.value, Mapping) for v in versions),
        done=request.args.get("done", ""),
        fault=form.pop("fault", ""),
        form=form,
        late=_late(showing, versions) if nature else (),
        before=_before(),
    )


def _is_unsaid(reading: Any, field: str) -> bool:
    """Whether a reading says nothing in a field: those that none says are named in one line."""
    return isinstance(reading, Mapping) and "/" not in field and reading.get(field) in (None, "", {})


def _before() -> tuple[Record, str, bool] | None:
    """(record, path, whether it is settled) of the one before, which was settled and led here."""
    record, path = request.args.get("before", ""), request.args.get("before_path", "")
    found = desk.ledger().record(record) if record else None
    if found is None or path not in found.heads or found.kind not in ACTS:
        return None
    return found, path, path not in found.disagreements()


def _former(showing: Showing, record: Record, path: str, heads: Sequence[str]) -> tuple[Version, ...]:
    """The versions that the changes `heads`, which settled the path, were written over."""
    written = {one.change.id: one.change for one in showing.ledger.history(record.id)}
    over = {one for head in heads if head in written for one in written[head].over.get(path, ()) if one in written}
    return showing.versions({one: written[one].set.get(path) for one in over})


def _reasons(showing: Showing, record: Record, heads: Mapping[str, Any]) -> list[tuple[str, Said]]:
    """The notes that were written in the same change as a value that stands."""
    return [(text, said) for text, _, said in showing.notes(record) if said.change in heads]


def _late(showing: Showing, versions: Sequence[Version]) -> tuple[Said, ...]:
    """After a settlement that met a newer head: what stands beside it."""
    mine = {said.change for version in versions for said in version.said if said.name == desk.me().name}
    return tuple(said for version in versions for said in version.said if said.change not in mine) if mine else ()


def _unseen(showing: Showing, record: Record) -> list[tuple[str, Any, Said]]:
    """(path, value, who) of what a disputed deletion had not seen."""
    seen = {one for over in (record.seen_by_deletion or {}).values() for ids in over.values() for one in ids}
    return [
        (path, None if path.endswith(SEALED) else record.heads[path][one], showing.one(one))
        for path, ids in sorted(record.heads.items())
        for one in sorted(ids)
        if path != DELETED and one not in seen and one not in record.heads.get(DELETED, {})
    ]
