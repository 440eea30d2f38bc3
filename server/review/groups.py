"""Groups: bones that belong together, seen lying so or thought so, across bags and contexts. The list, one, made anew.

A member is a path of its own (`member/<docket>`), so two people who add members never disagree. Also here: what ties a
docket to others (groups, pieces, the same bone), for its page. Not here: whether two dockets are one bone (doubles).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from fieldapp.records.shapes import RELATIONS
from server.ledger import pairs
from server.ledger.ledger import Edit
from server.review import blind, comparisons, desk, locking, once, opened, words
from server.review.desk import pages
from server.review.showing import Said, Showing, label
from server.review.tables import Column, Table

ACT = "edit_docket"
_NOTHING: Any = object()
AT_ONCE = 200
"""So many dockets of a context can be ticked on a page."""


@dataclass(frozen=True, slots=True)
class Line:
    """A group in the list."""

    record: Record
    contexts: str
    members: int


@dataclass(frozen=True, slots=True)
class Tied:
    """What ties a docket to another record: a group, a piece that fits, its other half, one it was told from."""

    sort: str
    record: Record
    value: Any


@pages.get("/groups")
@desk.needs_sign_in
def groups() -> Response:
    """All groups."""
    found = desk.ledger().records("group")
    members = {one.id: one.linked("member") for one in found}
    dockets = desk.ledger().get({each for ids in members.values() for each in ids})
    where = desk.ledger().contexts_of(dockets.values())
    own = {one.id: context for one in found if isinstance(context := one.value("context"), str)}
    numbers = {one: label(record) for one, record in desk.ledger().get({*where.values(), *own.values()}).items()}

    def line(one: Record) -> Line:
        ids = {context for each in (*members[one.id], one.id) if (context := where.get(each) or own.get(each))}
        listed = sorted(numbers.get(each) or words.say("not_come") for each in ids)
        return Line(one, ", ".join(listed), len(members[one.id]))

    table = Table([line(one) for one in found], COLUMNS, text=_text, only=ONLY)
    return desk.page("groups", table=table, label=label, act=ACT)


def _text(line: Line) -> str:
    return f"{label(line.record)} {words.value('relation', line.record.value('relation'))} {line.contexts}"


COLUMNS: tuple[Column[Line], ...] = (
    Column("label", lambda one: label(one.record).casefold()),
    Column("relation", lambda one: words.value("relation", one.record.value("relation"))),
    Column("contexts", lambda one: one.contexts),
    Column("members", lambda one: one.members, many_first=True),
)
ONLY = {"several": lambda one: ", " in one.contexts, "empty": lambda one: not one.members}


@pages.get("/groups/new")
@desk.needs_sign_in
def group_form() -> Response:
    """The form for a new group. `context`: whose dockets can be ticked; `docket`: ticked already; `relation`: chosen
    already; `back`: the group of which these are members, where one goes afterwards."""
    return _form(relation=request.args.get("relation", ""), back=request.args.get("back", ""))


def _form(status: int = 200, **form: Any) -> Response:
    context = form.get("context") or request.args.get("context", "")
    number = request.args.get("number", "").strip()
    if number:
        with desk.ledger().database.reading() as connection:
            context = next(iter(pairs.labelled(connection, [number], "context").get(number, ())), "")
    record = desk.ledger().record(context) if context else None
    record = record if record is not None and record.kind == "context" else None
    dockets: list[Record] = []
    if record is not None:
        with desk.ledger().database.reading() as connection:
            dockets, _ = pairs.pieces_of(connection, record.id)
    return desk.page(
        "group_form",
        status,
        context=record,
        unknown=number if number and record is None else "",
        dockets=dockets[:AT_ONCE],
        more=len(dockets) - AT_ONCE,
        label=label,
        relations=RELATIONS,
        title=blind.title,
        once=form.get("once") or once.new(),
        ticked=form.get("ticked") or request.args.getlist("docket"),
        fault=form.get("fault", ""),
        unfound=form.get("unfound", ()),
        form=form,
        act=ACT,
    )


@pages.post("/groups/new")
@desk.needs_sign_in
def group_add() -> Response:
    """`once`, `relation`, `called` (may be left out), `docket` (ids that were ticked), `labels` (more of them, of any
    context), `context` (of the form), `reason`, `back`."""
    desk.must(ACT)
    new, ticked = once.given(), list(dict.fromkeys(request.form.getlist("docket")))
    relation, reason, labels = desk.field("relation"), desk.field("reason"), desk.pasted("labels")
    known = {one: record for one, record in desk.ledger().get(ticked).items() if record.kind == "docket"}
    members, unfound = _by_label(labels)
    members = list(dict.fromkeys([*(one for one in ticked if one in known), *members]))
    fault = "label" if unfound else "relation" if relation not in RELATIONS else "members" if len(members) < 2 else ""
    if not fault and locking.bars(desk.ledger().get(members).values()):
        fault = "locked"
    if fault:
        return _form(
            409 if fault == "locked" else 400, fault=fault,
            unfound=unfound, once=new, ticked=ticked, relation=relation, labels=labels, reason=reason,
            called=desk.field("called"), context=desk.field("context"), back=desk.field("back"),
        )  # fmt: skip
    if desk.ledger().record(new) is None:
        where = set(desk.ledger().contexts_of(desk.ledger().get(members).values()).values())
        values: dict[str, Any] = {"relation": relation, **{f"member/{one}": True for one in members}}
        if called := desk.field("called"):
            values["label"] = called[:200]
        if len(where) == 1:
            values["context"] = where.pop()
        if reason:
            values[f"note/{desk.ledger().new_id()}"] = {"text": reason, "stage": "analysis"}
        if once.write(new, "relation", [Edit("group", new, values, {})]):
            desk.acted("group_made", new)
    back = desk.ledger().record(desk.field("back"))
    return redirect(
        url_for("review.group", group=back.id if back is not None and back.kind == "group" else new, done="made")
    )


@pages.get("/group/<group>")
@desk.needs_sign_in
def group(group: str) -> Response:
    """A group with its members, wherever they lie."""
    return _page(_found(group))


@pages.post("/group/<group>")
@desk.needs_sign_in
def group_change(group: str) -> Response:
    """`add` (labels), `away` (ids of members), `relation`; `heads`: {path: [change ids]} as the form showed it."""
    record = _found(group)
    desk.must(ACT)
    shown = opened.form(record).heads
    ids, unfound = _by_label(desk.pasted("add"))
    away = [one for one in request.form.getlist("away") if f"member/{one}" in record.heads]
    typed = {"add": desk.pasted("add"), "away": away, "relation": desk.field("relation")}
    if unfound:
        return _page(record, 400, fault="label", unfound=unfound, **typed)
    values: dict[str, Any] = {f"member/{one}": True for one in ids if one not in away}
    values |= {f"member/{one}": None for one in away}
    relation = desk.field("relation")
    if relation in RELATIONS and relation != record.value("relation"):
        values["relation"] = relation
    stands = {path: list(record.heads.get(path, {}).values()) for path in values}
    values = {path: value for path, value in values.items() if any(one != value for one in stands[path] or [_NOTHING])}
    if not values:
        return _page(record, 400, fault="nothing", **typed)
    if locking.bars([record, *desk.ledger().get(path.removeprefix("member/") for path in values).values()]):
        return _page(record, 409, fault="locked", **typed)
    desk.write("group", record.id, values, {path: shown.get(path, []) for path in values})
    desk.acted("group_changed", record.id)
    return redirect(url_for("review.group", group=group, done="1"))


def _found(group: str) -> Record:
    record = desk.ledger().record(group)
    # Whatever was also claimed to be a group keeps what is closed of it.
    if record is None or record.kinds != ("group",):
        abort(404)
    return record


def _by_label(text: str) -> tuple[list[str], list[str]]:
    """(ids of the dockets with these labels, one a line or apart by commas; labels of none, or of several)."""
    asked = [one for line in text.replace(",", "\n").splitlines() if (one := " ".join(line.split()).upper())]
    with desk.ledger().database.reading() as connection:
        found = pairs.labelled(connection, asked)
    ids = [found[one][0] for one in asked if len(found.get(one, ())) == 1]
    return ids, [one for one in asked if len(found.get(one, ())) != 1]


def _page(record: Record, status: int = 200, **form: Any) -> Response:
    ledger = desk.ledger()
    showing = Showing(ledger)
    ids = record.linked("member")
    dockets = ledger.get(ids)
    where = ledger.contexts_of(dockets.values())
    numbers = {one: label(found) for one, found in ledger.get(set(where.values())).items()}
    members: list[tuple[str, Record | None, str, Sequence[Said]]] = [
        (one, dockets.get(one), where.get(one, ""), showing.said(record.heads[f"member/{one}"])) for one in ids
    ]
    comparison = comparisons.of(record, dockets)
    # Lefts by lefts and rights by rights, where they are looked through for pairs.
    side = {one: found.side for one, found in comparison.members.items()} if comparison else {}
    members.sort(key=lambda each: (side.get(each[0], ""), numbers.get(each[2], ""), label(each[1]), each[0]))
    paths = [path for path in record.heads if path.startswith("member/") or path == "relation"]
    return desk.page(
        "group",
        status,
        group=record,
        label=label,
        members=members,
        numbers=numbers,
        relations=RELATIONS,
        comparison=comparison,
        pair=comparisons.PAIR,
        said=showing.said(record.heads.get("relation", {})),
        notes=showing.notes(record),
        problems=ledger.problems(record=record.id),
        is_hidden=blind.is_hidden,
        title=blind.title,
        heads=canonical({path: sorted(record.heads[path]) for path in paths}),
        act=ACT,
        done=request.args.get("done", ""),
        fault=form.pop("fault", ""),
        unfound=form.pop("unfound", ()),
        form=form,
    )


def ties_of(docket: Record) -> dict[str, list[Tied]]:
    """{sort: what ties this docket to others}, whichever end says so: groups ("member"), pieces ("joins"), the same
    bone ("same_as") and those it was told from ("not_same")."""
    ledger = desk.ledger()
    with ledger.database.reading() as connection:
        pointing = pairs.pointing(connection, [docket.id], ("joins", "member", "same_as"))
    own = docket.links(("joins/", "same_as/", "not_same/"))
    records = ledger.get({*(one for one, _, _ in pointing), *(other for _, other in own)})
    found: dict[str, list[Tied]] = {}

    def take(sort: str, other: str, value: Any) -> None:
        record = records.get(other)
        listed = found.setdefault(sort, [])
        if record is not None and record.life() != "deleted" and all(one.record.id != other for one in listed):
            listed.append(Tied(sort, record, value))

    for sort, other in own:
        take(sort, other, docket.value(f"{sort}/{other}"))
    for one, sort, _ in pointing:
        if one in records:
            heads: Mapping[str, Any] = records[one].heads.get(f"{sort}/{docket.id}", {})
            take(sort, one, next((value for value in heads.values() if value), None))
    return {sort: sorted(listed, key=lambda one: label(one.record)) for sort, listed in found.items() if listed}
