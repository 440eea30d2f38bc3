"""The log: what was noticed and who did what, by kind and day, the newest first.

No exact place and no free words are in it: of what an event holds, only SHOWN is told, with names of people and
tablets. Not here: what is noted (server.ledger.events, and whoever calls it), nor the log of a hold (holds).
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from flask import request
from werkzeug.wrappers import Response

from fieldapp.assets import texts
from server.ledger import events
from server.ledger.events import Event
from server.review import desk, words
from server.review.desk import pages

LINES = 100
KEPT = ("contexts_added", "bag_kept", "bag_unticked", "boxed", "transfer_made", "transfer_changed")
"""Acts with contexts, bags, boxes and transfers."""
IMPORTS = ("import_begun", "imported", "import_cut")
"""What `bonedocket import` notes."""
KINDS: dict[str, tuple[str, ...]] = {
    "sign_in": ("sign_in", "sign_out", "sign_in_refused", "sign_in_locked", "key_opened"),
    "desk": (
        "settled",
        "opened_again",
        "settled_many",
        "opened_many",
        "pair_one_bone",
        "pair_fits_old",
        "pair_fits_fresh",
        "pair_two_bones",
        "pair_take_back",
        "group_made",
        "group_changed",
        "step_added",
        "assessed",
        "release_entered",
        "site_set",
        "looked",
        *KEPT,
        "docket_edited",
        "docket_made",
        "dockets_made",
        "docket_taken_back",
        "bulk_set",
        "bulk_put_back",
        "context_edited",
        "checked",
        "checked_many",
        "mark_taken_off",
        "context_locked",
        "context_opened",
        "raised",
    ),
    "second": ("second_drawn", "second_ended", "second_read", "first_seen"),
    "people": (
        "person_added",
        "password_changed",
        "password_reset",
        "person_withdrawn",
        "keys_revoked",
        "wait_ended",
        "sessions_ended",
        "may_assess",
        "may_not_assess",
    ),
    "tablets": (
        "code_opened",
        "code_refused",
        "code_locked",
        "enrolled",
        "renamed",
        "withdrawn",
        "token_refused",
        "key_handed_out",
    ),
    "came": ("kept_unread", "set_aside", "fork", "broken_chain", "gap", "other_site", *IMPORTS),
    "closed": ("closed_seen",),
}
OTHER = "other"
SHOWN = ("by", "name", "before", "role", "letter", "label", "n", "after", "what", "reason", "notebook", "path")
"""Of an event's fields: names, letters, labels, numbers and words of the program. A reason that is free text is not."""
UNKNOWN = ("sign_in_refused", "sign_in_locked", "code_refused", "code_locked")
"""Lines that anybody on the network can cause, with whatever name they like."""
ALWAYS = ("by", "name", "before", "label", "reason", "why")
"""What a sentence may want that an old line does not have, or that is not told."""


@pages.get("/log")
@desk.needs_sign_in
def log() -> Response:
    """`kind`, `day` (of the cabin's clock), `below` (the number of the last line shown): a page of lines."""
    desk.must("read_log")
    kind, day = request.args.get("kind", ""), request.args.get("day", "")
    kind = kind if kind in (*KINDS, OTHER) else ""
    asked = _day(day)
    below = request.args.get("below", "")
    after, until = _hours(asked) if asked else ("", "")
    with desk.ledger().database.reading() as connection:
        found = events.page(
            connection,
            LINES + 1,
            only=KINDS.get(kind),
            but=[one for kinds in KINDS.values() for one in kinds] if kind == OTHER else (),
            after=after,
            until=until,
            below=int(below) if below.isascii() and below.isdigit() and len(below) < 16 else None,
        )
    names = desk.names()
    return desk.page(
        "log",
        lines=[(one.at, _who(one, names), sentence(one)) for one in found[:LINES]],
        below=found[LINES - 1].nr if len(found) > LINES else None,
        first=not below,
        kind=kind,
        kinds=(*KINDS, OTHER),
        day=asked.isoformat() if asked else "",
        not_a_day=bool(day) and asked is None,
    )


def sentence(one: Event) -> str:
    """An event in words, without what is free or closed."""
    fields = {name: _plain(name, one.fields[name]) for name in SHOWN if name in one.fields}
    own = f"review.log.event.{one.what}"
    key = own if own in texts() else f"cabin.event.{one.what}"
    if key not in texts():
        return one.what.replace("_", " ")
    return words.sentence(key, {**dict.fromkeys(ALWAYS, words.say("not_recorded")), **fields})


def _plain(name: str, value: Any) -> str:
    if name == "role":
        return words.word("role", value)
    if name == "path":
        return words.field(str(value))
    if name == "notebook":
        return desk.notebook(value)
    if name == "reason":
        return words.text(f"review.tablet.reason.{value}") if value else words.say("not_recorded")
    return words.plain(value)


def _who(one: Event, names: dict[str, str]) -> str:
    """Who did it, as far as that can be told: nobody is named on the word of a form that was refused."""
    if one.fields.get("by"):
        return str(one.fields["by"])
    if one.who in names:
        return names[one.who]
    if one.who in ("", "cabin"):
        return words.say("log.cabin")
    return words.say("log.somebody") if one.what in UNKNOWN else desk.notebook(one.who)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _hours(day: date) -> tuple[str, str]:
    """When a day of the cabin's clock begins and ends, as the ledger writes times."""
    ledger = desk.ledger()
    begins = datetime.combine(day, time(), ledger.clock().tzinfo)
    try:
        return ledger.text(begins), ledger.text(begins + timedelta(days=1))
    except OverflowError:
        return ledger.text(ledger.clock()), ""
