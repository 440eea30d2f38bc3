"""What is hidden from somebody who is to read a bone a second time: the first reading, until the draw is over.

For the pages of drawn dockets and the lists they stand in. The human question is never hidden: standing, answers,
assessments and holds are shown to everybody as always. Who wants to look all the same may (second_reading), and is
then known to have looked. Not here: draws and their figures; the printed sheet, which shows what was read first.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from flask import g

from fieldapp.assets import knowledge
from fieldapp.records import second
from fieldapp.records.fold import Record
from server.ledger import Found
from server.review import desk


def hidden(dockets: Iterable[str]) -> dict[str, Record]:
    """{docket: its second reading} of those whose first reading is hidden from who is signed in."""
    if desk.may("second_reading") != "yes":
        return {}
    mine = _mine()
    return {one: mine[one] for one in dockets if one in mine}


def is_hidden(docket: str) -> bool:
    """Whether that is so of one."""
    return docket in hidden([docket])


def shown(problems: list[Found]) -> list[Found]:
    """The problems without those that would tell of a first reading that is hidden; what raises the human question is
    shown to everybody."""
    mine = hidden({one.record for one in problems})
    rules = knowledge().rules
    return [one for one in problems if one.record not in mine or (one.rule in rules and rules[one.rule].raises)]


def is_asked(reading: Record) -> bool:
    """Whether who is signed in is the one, or one of those, to make a second reading."""
    return second.is_asked(reading, desk.me().person)


def _mine() -> dict[str, Record]:
    """All of them, worked out once a request."""
    if "second_readings" not in g:
        g.second_readings = second.hiding(desk.ledger().records(second.KIND), desk.me().person)
    return cast(dict[str, Record], g.second_readings)
