"""What has changed since the person at the desk last looked: record by record, the last changed first.

How far somebody has looked is a line of the log, so it is theirs on every machine. Not here: a record's whole history
(dockets), what was noticed of tablets (today).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from flask import redirect, request, url_for
from sqlalchemy import ColumnElement, Connection, func, or_, select
from werkzeug.wrappers import Response

from fieldapp.records.changes import read
from server.ledger import events, tables
from server.ledger.database import among
from server.ledger.lines import LINE
from server.review import desk, fragments, words
from server.review.desk import pages
from server.review.showing import SEALED, Said, said_by
from server.review.tables import Paged, Sort

FARTHEST = 10_000
"""Changes that are looked back over at most."""
_CHANGE, _RECORD = tables.change.c, tables.record.c
_LAST = func.max(_CHANGE.seq)


@dataclass(frozen=True, slots=True)
class Changed:
    """A record that has changed: how often, by whom and when, at which paths, sealed ones left out."""

    record: str
    kind: str
    label: str
    number: int
    said: tuple[Said, ...]
    paths: tuple[str, ...]


def since() -> int:
    """The number of the last change that the person at the desk has looked at, or as far as is looked back."""
    ledger = desk.ledger()
    with ledger.database.reading() as connection:
        last = events.last_of(connection, "looked", desk.me().person)
    now = ledger.names()
    seen = last.fields.get("seq") if last is not None and last.fields.get("epoch") == now.epoch else 0
    return max(seen if isinstance(seen, int) else 0, now.head - FARTHEST)


def count() -> int:
    """How many changes there have been since."""
    return max(0, desk.ledger().names().head - since())


@pages.get("/changes")
@desk.needs_sign_in
def changes() -> Response:
    """Records that have changed since; what is written while the page is looked at comes after `head`."""
    start, head = since(), desk.ledger().names().head
    query = (
        select(_CHANGE.record, _RECORD.kind, func.coalesce(_RECORD.label, "").label("label"), func.count().label("n"))
        .join(tables.record, _RECORD.id == _CHANGE.record)
        .outerjoin(tables.docket_line, LINE.record == _CHANGE.record)
        .where(_CHANGE.seq > start, _CHANGE.seq <= head)
        .group_by(_CHANGE.record, _RECORD.kind, _RECORD.label)
    )
    sorts = {"at": Sort(_LAST, many_first=True), "record": Sort(func.max(LINE.sort)), "n": Sort(func.count(), True)}
    only = {one: _RECORD.kind == one for one in ("docket", "context", "bag", "photo")}
    with desk.ledger().database.reading() as connection:
        table = Paged(connection, query, sorts, find=_has, only=only, usual=(_LAST.desc(), _CHANGE.record))
        found = _changed(connection, table.rows, start, head)
    done = request.args.get("done", "")
    return desk.page("changes", table=table, found=found, head=head, farthest=start == head - FARTHEST, done=done)


def _has(word: str) -> ColumnElement[bool]:
    return or_(_RECORD.label.icontains(word, autoescape=True), fragments.has(word))


def _changed(connection: Connection, rows: Sequence[Any], start: int, head: int) -> list[Changed]:
    query = select(_CHANGE.record, _CHANGE.body).where(
        among(connection, _CHANGE.record, [one.record for one in rows]), _CHANGE.seq > start, _CHANGE.seq <= head
    )
    written: dict[str, list[Any]] = {}
    for record, body in connection.execute(query.order_by(_CHANGE.seq.desc())):
        written.setdefault(record, []).append(read(body))
    return [
        Changed(
            one.record,
            one.kind,
            one.label,
            one.n,
            tuple({(said.name, said.role): said for said in map(said_by, reversed(written[one.record]))}.values()),
            tuple(
                words.in_order(
                    {_name(path) for it in written[one.record] for path in it.set if not path.endswith(SEALED)},
                    words.field,
                )
            ),
        )
        for one in rows
    ]


def _name(path: str) -> str:
    return path.partition("/")[0]


@pages.post("/changes")
@desk.needs_sign_in
def looked() -> Response:
    """`seq`: the number up to which the page showed what there was."""
    ledger, given = desk.ledger(), desk.field("seq")
    now = ledger.names()
    if given.isascii() and given.isdigit() and len(given) < 16:
        fields = {"by": desk.me().name, "seq": min(int(given), now.head), "epoch": now.epoch}
        ledger.note("looked", desk.me().person, fields)
    return redirect(url_for("review.changes", done="looked"))
