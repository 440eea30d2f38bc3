"""The first page: holds before everything, then what waits for somebody, then what came in.

Not here: what makes a hold, a disagreement or a problem (the ledger).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from flask import redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import texts
from fieldapp.domain import human
from fieldapp.records.changes import canonical, read
from server.ledger import Hold, Ledger, asking, events, lines
from server.review import changes, desk, log, tablets, words
from server.review.desk import ACTS, pages
from server.review.showing import SEALED, Showing, is_stop, label

SHOWN, LAST, MOST = 12, 15, 500
LEVELS = ("impossible", "check", "note")
NOTICES = (
    "fork", "broken_chain", "gap", "kept_unread", "set_aside", "other_site", "new_epoch", "carry_key_second",
    "carry_key_accepted", "carry_from_withdrawn", "token_refused",
)  # fmt: skip
"""What was noticed of tablets that somebody should know of; their sentences are the cabin's."""
DECIDING = ("human_osteologist", "director")
"""Roles that nobody gets unseen: who was given one, or its password, is told to everybody for FRESH."""
GIVEN, FRESH = ("person_added", "password_reset"), timedelta(days=7)


LOOKED_THROUGH = 20_000
"""Changes, of which those of the day are counted."""


@dataclass(frozen=True, slots=True)
class Came:
    """One of the last changes."""

    at: str
    name: str
    role: str
    kind: str
    record: str
    label: str
    notebook: str
    paths: tuple[str, ...]


@pages.get("/")
def front() -> Response:
    """The pages begin with today."""
    return redirect(url_for("review.today"))


@pages.get("/today")
@desk.needs_sign_in
def today() -> Response:
    """What needs somebody, the most urgent first."""
    ledger = desk.ledger()
    with ledger.database.reading() as connection:
        conflicts = asking.disputed(connection, lines.first_disagreements(connection, SHOWN))
        waiting = lines.waiting(connection)
        brought = asking.brought(connection, _today(ledger), LOOKED_THROUGH)
    open_holds = [one for one in desk.holds() if one.raised and not one.released]
    open_holds.sort(key=lambda one: not is_stop(one))
    return desk.page(
        "today",
        holds=open_holds,
        contexts=numbers([one.context for one in open_holds]),
        waiting=[one for one in desk.holds() if waits(one)],
        conflicts=conflicts,
        settled_here=ACTS,
        todo=waiting,
        brought=[(_source(source), n, at) for source, n, at in brought],
        changed=changes.count(),
        counts=ledger.counts(),
        notices=_notices(),
        silent=tablets.silent(),
        silent_days=tablets.SILENT.days,
        given=_given(),
        came=_came(),
        versions=distinct,
        shown=SHOWN,
        levels=LEVELS,
    )


def _today(ledger: Ledger) -> str:
    """When the cabin's day began, as the ledger writes times."""
    return ledger.text(ledger.clock().replace(hour=0, minute=0, second=0, microsecond=0))


def _source(source: str) -> str:
    """Who brought changes: a tablet, a file, or people and rules at the cabin itself."""
    return words.say("today.brought.here") if source == desk.ledger().names().notebook else desk.notebook(source)


def distinct(heads: Mapping[str, Any]) -> list[Any]:
    """The distinct values among heads."""
    return list({canonical(value): value for value in heads.values()}.values())


def waits(hold: Hold) -> bool:
    """Whether somebody entitled has yet to assess readings of this docket."""
    return hold.standing is not None and hold.standing.answer in (human.STOP, human.QUERY)


def numbers(ids: list[str]) -> dict[str, str]:
    """{context id: number}; one that has not come is left out."""
    return {one: label(record) for one, record in desk.ledger().get(filter(None, ids)).items()}


def _notices() -> list[tuple[str, str]]:
    """(when, sentence) of what was noticed of tablets, newest first."""
    found = [one for what in NOTICES for one in desk.ledger().events(SHOWN, what)]
    found.sort(key=lambda one: -one.nr)
    named = [
        {**one.fields, "notebook": desk.notebook(one.fields.get("notebook")), "why": _why(one.fields.get("why"))}
        for one in found
    ]
    return [
        (one.at, words.sentence(f"cabin.event.{one.what}", fields))
        for one, fields in zip(found[:SHOWN], named[:SHOWN], strict=True)
    ]


def _why(written: Any) -> str:
    """Why a change was kept aside, or an epoch began: a key of the texts. An older ledger's words stay as they are."""
    return texts().get(written, written) if isinstance(written, str) else words.plain(written)


def _given() -> list[tuple[str, str]]:
    """(when, sentence) of whoever lately got a role that decides, or a new password for one, newest first."""
    ledger = desk.ledger()
    lately = ledger.text(ledger.clock() - FRESH)
    with ledger.database.reading() as connection:
        found = events.page(connection, MOST, only=GIVEN, after=lately)
    return [(one.at, log.sentence(one)) for one in found if one.fields.get("role") in DECIDING][:SHOWN]


def _came() -> list[Came]:
    """The last changes, newest first. Sealed places are left out: that one was sealed says enough to the curious."""
    ledger = desk.ledger()
    head = ledger.names().head
    last = [read(body) for _, _, body in ledger.pull(max(0, head - LAST), LAST).rows]
    records: dict[str, Any] = ledger.get(one.record for one in last)
    said = Showing(ledger).said(one.id for one in last)
    who = {one.change: one for one in said}
    return [
        Came(
            one.at,
            who[one.id].name,
            who[one.id].role,
            one.kind,
            one.record,
            label(records.get(one.record)),
            one.notebook,
            tuple(
                words.in_order({path.partition("/")[0] for path in one.set if not path.endswith(SEALED)}, words.field)
            ),
        )
        for one in reversed(last)
    ]
