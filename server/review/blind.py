"""What is hidden from somebody who is to read a bone a second time: the first reading, until the draw is over.

For the pages of drawn dockets and the lists they stand in. The human question is never hidden: standing, answers,
assessments and holds are shown to everybody as always. Who wants to look all the same may (second_reading), and is
then known to have looked. A page of a docket that is hidden leads to the page that says so (`stay_blind`); lists pass
over what they would tell. Not here: draws and their figures; the printed sheet, which shows what was read first.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from flask import g, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.records import second
from fieldapp.records.fold import Record
from server.ledger import Found
from server.review import desk
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


def shown(problems: list[Found]) -> list[Found]:
    """The problems without those that would tell of a first reading that is hidden; what raises the human question is
    shown to everybody."""
    mine = hidden({one.record for one in problems})
    rules = knowledge().rules
    return [one for one in problems if one.record not in mine or (one.rule in rules and rules[one.rule].raises)]


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
