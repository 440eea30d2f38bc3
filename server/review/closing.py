"""What is closed of possible human remains on the pages: to whom it is shown, and that it was seen is noted.

For: the exact place of a bone that stands raised, wherever it was entered in the clear before, and the words of a
hold's log. Not for: what a tablet sealed (holds opens that), nor for closing it on the tablet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldapp.records.fold import Record
from server.review import desk, words
from server.review.showing import Entry, Field, Said, label

PLACE, STEP, PHOTO = "place", "step", ("sha256", "view", "note")
IMPORTED = "imported"
"""A row of somebody else's table: where a bone lay may be said in any of its columns."""


def closed_paths(record: Record) -> frozenset[str]:
    """First parts of the paths of a record that are closed. Those of a hold's log and of a closed photograph are, for
    whatever kind the record was claimed."""
    raised = any(one.raised for one in desk.holds() if one.docket == record.id)
    picture = "photo" in record.kinds and any(record.heads.get("closed", {}).values())
    return frozenset({STEP, *((PLACE, IMPORTED) if raised else ()), *(PHOTO if picture else ())})


def is_closed(path: str, closed: Iterable[str]) -> bool:
    """Whether a path is among those."""
    return path.partition("/")[0] in closed


def may_see() -> bool:
    """Whether who is signed in may see what is closed."""
    return desk.may("see_closed") == "yes"


def seen(record: str, what: str) -> None:
    """Notes that who is signed in has seen what is closed of a docket: "place", "words" or "log"."""
    me, of = desk.me(), desk.ledger().record(record)
    fields = {"name": me.name, "role": me.role, "label": label(of), "what": what}
    desk.ledger().note("closed_seen", me.person, fields)


def shown_fields(fields: list[Field], closed: frozenset[str]) -> list[Field]:
    """The fields without what is closed to who is signed in: that there is something stays."""
    return [
        replace(one, versions=tuple(replace(version, value=words.CLOSED) for version in one.versions))
        if is_closed(one.path, closed)
        else one
        for one in fields
    ]


def shown_notes(notes: list[tuple[str, str, Said]], closed: frozenset[str]) -> list[tuple[str, str, Said]]:
    """The notes likewise."""
    return [] if "note" in closed else notes


def shown_history(history: list[Entry], closed: frozenset[str]) -> list[Entry]:
    """The history likewise."""
    return [
        replace(
            one,
            values=tuple(
                (path, words.CLOSED if value is not None and is_closed(path, closed) else value)
                for path, value in one.values
            ),
        )
        for one in history
    ]
