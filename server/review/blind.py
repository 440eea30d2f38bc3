"""What is hidden from somebody who is to read a bone a second time: the first reading, until the draw is over.

For the pages of drawn dockets and the lists they stand in. The human question is never hidden: standing, answers,
assessments and holds are shown to everybody as always. Who wants to look all the same may (second_reading), and is
then known to have looked. A page of a docket that is hidden leads to the page that says so (`stay_blind`); lists pass
over what they would tell, and nothing is printed that would. Not here: draws and their figures.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from flask import g, redirect, request, url_for
from sqlalchemy import ColumnElement, Connection, true
from werkzeug.wrappers import Response

from fieldapp.records import second
from fieldapp.records.fold import Record
from server.ledger.database import among
from server.review import desk, words
from server.review.desk import pages

OPEN = ("docket", "second_", "hold", "raise_docket", "photo")
"""Beginnings of the pages of a docket that are for whoever is to read it a second time, too."""


def hidden(dockets: Iterable[str]) -> dict[str, Record]:
    """{docket: its second reading} of those whose first reading is hidden from who is signed in."""
    own = mine()
    return {one: own[one] for one in dockets if one in own}


def is_hidden(docket: str) -> bool:
    """Whether that is so of one."""
    return docket in hidden([docket])


def told(connection: Connection, column: ColumnElement[str]) -> ColumnElement[bool]:
    """Whether nothing is hidden of the docket that a column names: what a list is narrowed down by, sorted by and
    counted by tells of it as well as a word would."""
    hidden = mine()
    return ~among(connection, column, hidden) if hidden else true()


def title(record: Record) -> str:
    """What a docket was read as, in words, or that it is hidden."""
    return words.say("second.hidden") if is_hidden(record.id) else words.title(record.value("reading"))


def looked(reading: Record) -> None:
    """Writes down that who is signed in was shown the first reading that this second one is of."""
    docket = second.docket_of(reading)
    early = not second.is_done(reading)
    desk.write(second.KIND, reading.id, {f"{second.SEEN}/{desk.me().person}": early}, {})
    desk.acted("first_seen", docket)


def apart(ids: Iterable[str]) -> set[str]:
    """Those of these dockets that are not hidden."""
    wanted = set(ids)
    return wanted.difference(hidden(wanted))


@pages.before_request
def stay_blind() -> Response | None:
    """Leads from what would tell of a first reading that is hidden to the docket's page, which says that it is."""
    asked = [one for one in (request.view_args or {}).values() if isinstance(one, str)]
    name = (request.endpoint or "").removeprefix("review.")
    if not asked or name.startswith(OPEN) or desk.account() is None:
        return None
    mine = hidden(asked)
    return redirect(url_for("review.docket", docket=next(iter(mine)))) if mine else None


def is_asked(reading: Record) -> bool:
    """Whether who is signed in is the one, or one of those, to make a second reading."""
    return second.is_asked(reading, desk.me().person)


def mine() -> dict[str, Record]:
    """All of them: {docket: its second reading}, worked out once a request."""
    if desk.may("second_reading") != "yes":
        return {}
    if "second_readings" not in g:
        g.second_readings = second.hiding(desk.ledger().records(second.KIND), desk.me().person)
    return cast(dict[str, Record], g.second_readings)
