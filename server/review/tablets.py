"""Tablets: which are let in, letting one in with a code to type or to photograph, renaming, withdrawing.

A code is shown once, on the page that answers the form, and is not in an address. Not here: what a code proves
(fieldapp.records.enrolment), what a tablet may then do (server.api).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple, cast

import segno
from flask import current_app, redirect, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from fieldapp.records import enrolment
from server.ledger import people as looking_after
from server.ledger.devices import CODE_LIVES, REASONS, WITHIN, WRONG_CODES, Device, Devices
from server.ledger.events import Event
from server.review import desk, once, words
from server.review.desk import pages

EXTENSION = "bonedocket.review.tablets"
SILENT = timedelta(days=2)
"""After this long the first page asks where a tablet is."""
MOST_EVENTS = 5000
DONE = ("renamed", "withdrawn")
QUIET_ZONE = 4
"""Light modules around the picture: the standard's own figure (ISO/IEC 18004, memory)."""


@dataclass(frozen=True, slots=True)
class Door:
    """What letting in takes. `addresses`: this machine's own, as others reach it."""

    devices: Devices
    addresses: Callable[[], Sequence[str]]


class Fetched(NamedTuple):
    """Somebody's locked key that a tablet has. `open`: it is still the key that the account signs with."""

    person: str
    name: str
    role: str
    at: str
    open: bool


def door() -> Door:
    """The cabin's, set when the pages were registered."""
    return cast(Door, current_app.extensions[EXTENSION])


@pages.get("/tablets")
@desk.needs_sign_in
def tablets() -> Response:
    """Every tablet, open codes, wrong ones; the form that lets one in."""
    desk.must("see_tablets")
    devices = door().devices
    wrong = devices.wrong_codes()
    return desk.page(
        "tablets",
        tablets=devices.all(),
        ways=_ways(),
        came=door().devices.came(),
        silent={one.notebook for one in silent()},
        codes=[(one, _clock(one.expires_at)) for one in devices.open_codes()],
        wrong=wrong,
        shut=wrong >= WRONG_CODES,
        minutes=int(WITHIN.total_seconds() // 60),
        lives=int(CODE_LIVES.total_seconds() // 60),
        once=once.new(),
    )


@pages.post("/tablets/code")
@desk.needs_sign_in
def tablet_code() -> Response:
    """`once`, `name`: a code for one tablet. The answer shows it, and can be printed."""
    desk.must("enrol_tablet")
    mark = once.given()
    name = looking_after.tidy(desk.field("name"))[: looking_after.LONGEST_NAME]
    code = door().devices.open_code(name, once=mark, by=desk.me().by)
    reached_at = addresses()
    return desk.page(
        "tablet_code",
        code=code,
        until=_clock(code.expires_at),
        tablet_name=name,
        addresses=reached_at,
        qr=picture(enrolment.qr_text(reached_at, code.text)),
        fingerprint=enrolment.in_pairs(door().devices.fingerprint),
    )


@pages.get("/tablet/<letter>")
@desk.needs_sign_in
def tablet(letter: str) -> Response:
    """One tablet: what is known of it, and what can be done about it."""
    desk.must("see_tablets")
    return _tablet(door().devices.get(letter))


@pages.post("/tablet/<letter>/name")
@desk.needs_sign_in
def tablet_rename(letter: str) -> Response:
    """`name`: another one; the letter stays."""
    desk.must("manage_tablets")
    found, name = door().devices.get(letter), looking_after.tidy(desk.field("name"))
    if not name or len(name) > looking_after.LONGEST_NAME:
        return _tablet(found, 400, fault="name")
    door().devices.rename(found.letter, name, desk.me().by)
    return redirect(url_for("review.tablet", letter=found.letter, done="renamed"))


@pages.post("/tablet/<letter>/withdraw")
@desk.needs_sign_in
def tablet_withdraw(letter: str) -> Response:
    """`reason`: a word of REASONS."""
    desk.must("manage_tablets")
    found, reason = door().devices.get(letter), desk.field("reason")
    if reason not in REASONS:
        return _tablet(found, 400, fault="reason")
    door().devices.withdraw(found.letter, reason=reason, by=desk.me().by)
    return redirect(url_for("review.tablet", letter=found.letter, done="withdrawn"))


def silent() -> list[Device]:
    """Tablets that are let in and have not been here for SILENT."""
    long_ago = desk.ledger().text(desk.ledger().clock() - SILENT)
    return [
        one for one in door().devices.all() if one.withdrawn_at is None and (one.seen_at or one.enrolled_at) < long_ago
    ]


def picture(text: str) -> Markup:
    """A QR code of a text as an SVG within the page, black on white in every theme."""
    rows = segno.make(text, error="m", micro=False).matrix
    size = len(rows) + 2 * QUIET_ZONE
    dark = "".join(
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h1v1h-1z" for y, row in enumerate(rows) for x, one in enumerate(row) if one
    )
    return Markup(
        '<svg class="qr" role="img" aria-label="{}" viewBox="0 0 {} {}" shape-rendering="crispEdges">'
        '<path fill="#fff" d="M0 0h{}v{}h-{}z"/><path fill="#000" d="{}"/></svg>'
    ).format(words.say("tablet.qr"), size, size, size, size, size, dark)


def addresses() -> list[str]:
    """Where a tablet reaches this cabin: `host:port`, with the path that the site lies at."""
    port, path = request.environ.get("SERVER_PORT", "443"), request.script_root
    return [f"[{one}]:{port}{path}" if ":" in one else f"{one}:{port}{path}" for one in door().addresses()]


def _clock(at: str | datetime) -> str:
    """A moment as the clock on this site's wall shows it."""
    moment = datetime.fromisoformat(at) if isinstance(at, str) else at
    return f"{moment.astimezone(desk.ledger().clock().tzinfo):%H:%M}"


def _ways() -> dict[str, str]:
    """{notebook: why it was withdrawn}, as far as it was said."""
    found: dict[str, str] = {}
    for one in desk.ledger().events(MOST_EVENTS, "withdrawn"):
        found.setdefault(str(one.fields.get("notebook") or one.who), str(one.fields.get("reason") or ""))
    return found


def _tablet(found: Device, status: int = 200, *, fault: str = "") -> Response:
    done = request.args.get("done", "")
    fetched = desk.ledger().events(MOST_EVENTS, "key_handed_out")
    reason = _ways().get(found.notebook, "") if found.withdrawn_at else ""
    return desk.page(
        "tablet",
        status,
        tablet=found,
        reason=reason,
        came=door().devices.came().get(found.notebook, (0, 0)),
        fetched=_fetched([one for one in fetched if one.fields.get("notebook") == found.notebook]),
        reasons=REASONS,
        done=done if done in DONE else "",
        fault=fault,
        longest=looking_after.LONGEST_NAME,
    )


def _fetched(of: Sequence[Event]) -> list[Fetched]:
    """Whose locked keys were fetched there, the last time of each."""
    keys = {one.account.key for one in looking_after.overview(desk.ledger())}
    found: dict[Any, Fetched] = {}
    for one in of:
        person, name, role, key = (str(one.fields.get(part) or "") for part in ("person", "name", "role", "key"))
        found.setdefault((person, role), Fetched(person, name, role, one.at, key in keys))
    return list(found.values())
