"""Contexts, and one context's merged dockets. Not here: the printed sheet's layout (fieldapp.sheets)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from flask import abort, request
from sqlalchemy import ColumnElement
from werkzeug.wrappers import Response

from fieldapp.domain.bodies import piece
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger import Hold, lines
from server.ledger.lines import LINE, Numbers
from server.review import blind, desk, drawings, fragments, locking, marking, photos, words
from server.review.desk import pages
from server.review.showing import Showing, label
from server.review.tables import Column, Table

NONE = "none"
"""Stands in an address for dockets whose context is not known yet."""
DONE = ("saved", "locked", "opened", "came_meanwhile", "locked_first")
_NOTHING = Numbers(0, 0, 0)


@dataclass(frozen=True, slots=True)
class Line:
    """A context in the list, with numbers of its dockets. `told`: its line, None where it has not come."""

    id: str
    told: dict[str, Any] | None
    dockets: int
    raised: int
    disagreements: int
    problems: int


@pages.get("/contexts")
@desk.needs_sign_in
def contexts() -> Response:
    """All contexts; those that dockets name and that have not come are listed too."""
    with desk.ledger().database.reading() as connection:
        found = {one["id"]: one for one in lines.contexts(connection)}
        numbers = lines.numbers(connection)
    # By the holds: a docket that was deleted is in no list, and its hold stands.
    raised = Counter(where for _, each in _raised() for where in each)
    # Those that have come stand by number; after them those that have not, last what lies in none.
    others = sorted({*numbers, *raised} - set(found), key=lambda one: (one == "", one))
    rows = [
        Line(one, found.get(one), *_told(found.get(one), numbers.get(one, _NOTHING), raised[one]))
        for one in (*found, *others)
    ]
    return desk.page("contexts", table=Table(rows, COLUMNS, text=_text, only=ONLY), nowhere=NONE, due=desk.due())


def _told(own: dict[str, Any] | None, numbers: Numbers, raised: int) -> tuple[int, int, int, int]:
    """A line's numbers, with what is disagreed about in the context's own record, and its problems."""
    disagreements, problems = ((own or {}).get(name) or 0 for name in ("disagreements", "problems"))
    return numbers.dockets, raised, numbers.disagreements + disagreements, numbers.problems + problems


def _said(path: str, how: Callable[[str, Any], str]) -> Callable[[Line], str]:
    """What the list says of a context's field; "" where that is nothing."""

    def said(line: Line) -> str:
        value = line.told[path] if line.told is not None else None
        return "" if value in (None, "") else how(path, value)

    return said


_NUMBER = _said("label", lambda path, value: words.plain(value))
_FIELDS = {
    "type": _said("type", words.value),
    "trench": _said("trench", lambda path, value: words.plain(value)),
    "phase": _said("phase", lambda path, value: words.plain(value)),
    "grave_like": _said("grave_like", words.value),
    "state": _said("state", lambda path, value: words.word("context_state", value)),
}


def _by(path: str, said: Callable[[Line], str]) -> Column[Line]:
    return Column(path, lambda one: lines.sort_key(said(one)) if said(one) else None)


COLUMNS: tuple[Column[Line], ...] = (
    Column("number", lambda one: one.told["sort"] if one.told is not None and one.told["label"] else None),
    *(_by(path, said) for path, said in _FIELDS.items()),
    Column("dockets", lambda one: one.dockets, many_first=True),
    Column("raised", lambda one: one.raised, many_first=True),
    Column("disagreements", lambda one: one.disagreements, many_first=True),
    Column("problems", lambda one: one.problems, many_first=True),
)
ONLY: dict[str, Callable[[Line], bool]] = {
    "raised": lambda one: one.raised > 0,
    "disagreements": lambda one: one.disagreements > 0,
    "problems": lambda one: one.problems > 0,
    "open": lambda one: one.told is not None and one.told["state"] != "closed",
    "not_come": lambda one: one.told is None,
}


def _text(line: Line) -> str:
    return " ".join([_NUMBER(line), *(said(line) for said in _FIELDS.values())])


@pages.get("/context/<context>")
@desk.needs_sign_in
def context(context: str) -> Response:
    """A context and its dockets, merged."""
    ledger, here = desk.ledger(), inside(context)
    record = None if context == NONE else ledger.record(context)
    if record is not None and record.kind != "context":
        abort(404)
    with ledger.database.reading() as connection:
        table = fragments.listed(connection, here)
        pieces = [piece(*one) for one in lines.pieces(connection, here, blind.told(connection, LINE.record))]
        checked_n = lines.checked_in(connection, here)
        begin, disputed_n = lines.first_unmarked(connection, here), lines.disputed_in(connection, here)
    holds = [one for one, where in _raised() if context in where]
    if record is None and not table.total and not holds:
        abort(404)
    showing = Showing(ledger)
    rows = fragments.rows([one.record for one in table.rows])
    mark_n, mark_shown = marking.offered(one.record for one in rows)
    done, marked = request.args.get("done", ""), request.args.get("marked", None, int)
    skeletons, elsewhere = drawings.bodies(pieces)
    shown = [one.record.id for one in rows]
    return desk.page(
        "context",
        skeletons=skeletons,
        elsewhere=elsewhere,
        context=record,
        id=context,
        fields=showing.fields(record) if record else [],
        notes=showing.notes(record) if record else [],
        rows=rows,
        table=table,
        due=desk.due(),
        checked_n=checked_n,
        begin=begin,
        number=label(record),
        disputed_n=disputed_n,
        mark_n=mark_n,
        mark_shown=mark_shown,
        lock=locking.lock_of(record) if record else None,
        heads=canonical({locking.PATH: sorted(record.heads.get(locking.PATH, ()))}) if record else "",
        done=done if done in DONE else "",
        marked=marked,
        label=label,
        sheet=record is not None,
        photos=photos.strip([context, *shown] if record else shown),
        holds=holds,
    )


def inside(context: str) -> ColumnElement[bool]:
    """What holds of the lines of a context's dockets."""
    return LINE.context.is_(None) if context == NONE else LINE.context == context


def _raised() -> list[tuple[Hold, set[str]]]:
    """What is raised, each with every context that somebody says it is in: where it lies, and where it was raised."""
    raised = [one for one in desk.holds() if one.raised]
    bags = desk.ledger().get(bag for one in raised for bag in _said_of(_records_of(one), "bag"))
    found = []
    for one in raised:
        records = _records_of(one)
        lies_in = [bags[bag] for bag in _said_of(records, "bag") if bag in bags]
        said = _said_of([*records, *lies_in], "context")
        found.append((one, {one.context, *said} if one.context or not said else said))
    return found


def _records_of(hold: Hold) -> list[Record]:
    return [one for one in (hold.docket_record, hold.hold_record) if one is not None]


def _said_of(records: Iterable[Record], path: str) -> set[str]:
    """Every text that stands at a path of these."""
    return {value for one in records for value in one.heads.get(path, {}).values() if isinstance(value, str)}
