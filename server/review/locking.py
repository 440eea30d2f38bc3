"""Locked contexts: their analysis is finished, so the desk edits nothing in them until one is opened again.

The lock stands at a context's path `locked`. What tablets bring is taken in as always, and what came after the lock
is listed until somebody has seen the list and locks again. The human question is asked and answered all the same: a
raise, a step of a hold, an assessment are never refused. Not here: editing itself (editing, editing_context).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flask import abort, redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.records.fold import Record
from server.ledger.asking import Written
from server.review import desk, opened, words
from server.review.desk import pages
from server.review.showing import Said, label, said_by

PATH = "locked"
LISTED = 200
"""So many of the changes that came after a lock are listed; that there are more is said."""


@dataclass(frozen=True, slots=True)
class Late:
    """A change that came after the lock: of which record, by whom, which paths it sets."""

    record: str
    kind: str
    label: str
    said: Said
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lock:
    """How a context stands locked. `until`: the number of the count when the list of what came after was made; `more`:
    whether that is longer than what is listed."""

    by: tuple[Said, ...]
    late: tuple[Late, ...]
    until: int
    more: bool


def is_locked(context: Record | None) -> bool:
    """Whether a context is locked: if anybody's word that stands says so."""
    return context is not None and any(one is True for one in context.heads.get(PATH, {}).values())


def locked_among(contexts: Iterable[str]) -> Record | None:
    """The first locked one among contexts, by id; None where all are open to be edited."""
    return next((one for _, one in sorted(locked_of(contexts).items())), None)


def locked_of(contexts: Iterable[str]) -> dict[str, Record]:
    """{id: context} of the locked ones among contexts."""
    return {one: found for one, found in desk.ledger().get(filter(None, contexts)).items() if is_locked(found)}


def bars(records: Iterable[Record]) -> bool:
    """Whether something may not be edited or settled in one of these: it is, or lies in, a context that is locked."""
    listed = list(records)
    own = {one.id for one in listed if one.kind == "context"}
    return locked_among({*own, *desk.ledger().contexts_of(listed).values()}) is not None


def lock_of(context: Record) -> Lock | None:
    """How it is locked and what came after; None if it is not."""
    if not is_locked(context):
        return None
    ledger = desk.ledger()
    locks = ledger.who(one for one, value in context.heads[PATH].items() if value is True)
    # Before the list is asked for: what comes in between is in the list too, and is listed again.
    until = ledger.names().head
    late = _came_after(context.id, max(one.seq for one in locks.values()), LISTED + 1)
    said = tuple(said_by(one.change) for one in locks.values())
    return Lock(said, tuple(_told(late[:LISTED])), until, len(late) > LISTED)


def _came_after(context: str, seq: int, limit: int) -> list[Written]:
    """What came after, but the locking itself."""
    return [one for one in desk.ledger().came_after(context, seq, limit) if one.change.set.keys() != {PATH}]


def _told(late: list[Written]) -> Iterable[Late]:
    records = desk.ledger().get({one.change.record for one in late})
    for one in late:
        record = records.get(one.change.record)
        kind = record.kind if record else one.change.kind
        yield Late(
            one.change.record,
            kind,
            label(record),
            said_by(one.change),
            tuple(words.in_order(one.change.set, words.field)),
        )


@pages.post("/context/<context>/lock")
@desk.needs_sign_in
def lock(context: str) -> Response:
    """`heads`: what the form showed. Locks a context; or locks it again, where `until` is the number of the count up to
    which what came after was shown: what came since is not taken as seen."""
    record = _found(context)
    desk.must("lock_context")
    shown = opened.form(record)
    until = desk.field("until")
    if is_locked(record):
        if not (until.isascii() and until.isdigit() and len(until) < 16):
            abort(400)
        if _came_after(context, int(until), LISTED):
            return _back(context, "came_meanwhile")
    if not is_locked(record) or _stands(record, shown):
        desk.write("context", context, {PATH: True}, {PATH: shown.heads.get(PATH, [])})
        desk.acted("context_locked", context)
    return _back(context, "locked")


@pages.post("/context/<context>/open")
@desk.needs_sign_in
def open_context(context: str) -> Response:
    """`heads`: what the form showed. Opens a locked context to be edited again."""
    record = _found(context)
    desk.must("lock_context")
    shown = opened.form(record)
    if is_locked(record) and _stands(record, shown):
        desk.write("context", context, {PATH: None}, {PATH: shown.heads.get(PATH, [])})
        desk.acted("context_opened", context)
    return _back(context, "opened")


def _stands(record: Record, shown: opened.Opened) -> bool:
    """Whether the lock that the form showed is still the one there is: sent twice, a form does nothing more."""
    return not set(record.heads[PATH]).isdisjoint(shown.heads.get(PATH, ()))


def _back(context: str, done: str) -> Response:
    return redirect(url_for("review.context", context=context, done=done, _anchor="lock"))


def _found(context: str) -> Record:
    record = desk.ledger().record(context)
    if record is None or record.kind != "context":
        abort(404)
    return record
