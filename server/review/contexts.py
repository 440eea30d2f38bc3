"""Contexts, and one context's merged dockets. Not here: the printed sheet's layout (fieldapp.sheets)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from flask import abort, request
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.domain.bodies import Piece, piece
from fieldapp.records import standing
from fieldapp.records.fold import Record
from server.ledger import Hold
from server.review import blind, desk, drawings, photos, words
from server.review.desk import pages
from server.review.showing import Showing, coarser, label
from server.review.tables import ON_A_PAGE, Column, Table

NONE = "none"
"""Stands in an address for dockets whose context is not known yet."""


@dataclass(frozen=True, slots=True)
class Row:
    """A docket in a list. `reading` is what counts until a disagreement is settled; `answer` is the whole bone's;
    `hidden`: who is signed in is to read it a second time, and is not shown the first."""

    record: Record
    reading: Any
    answer: str
    conflicts: int
    precision: int
    problems: Counter[str]
    hidden: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A context in the list, with numbers of its dockets."""

    id: str
    record: Record | None
    dockets: int
    raised: int
    disagreements: int
    problems: int


@pages.get("/contexts")
@desk.needs_sign_in
def contexts() -> Response:
    """All contexts; those that dockets name and that have not come are listed too."""
    ledger = desk.ledger()
    found = {one.id: one for one in ledger.records("context")}
    lines = [*ledger.listing("docket"), *ledger.listing("context")]
    numbers: dict[str, Counter[str]] = {one: Counter() for one in found}
    for one in lines:
        where = one.id if one.kind == "context" else one.context
        count = numbers.setdefault(where, Counter())
        count["dockets"] += one.kind == "docket"
        count["disagreements"] += one.disagreements
        count["problems"] += one.problems
    # By the holds: a docket that was deleted is in no list, and its hold stands.
    for hold in desk.holds():
        for where in _contexts_of(hold) if hold.raised else ():
            numbers.setdefault(where, Counter())["raised"] += 1
    names = ("dockets", "raised", "disagreements", "problems")
    rows = [Line(one, found.get(one), *(count[name] for name in names)) for one, count in numbers.items()]
    rows.sort(key=lambda one: (one.record is None, one.id == "", _natural(label(one.record)), one.id))
    return desk.page("contexts", table=Table(rows, COLUMNS, text=_text, only=ONLY), nowhere=NONE)


def _said(path: str, how: Callable[[str, Any], str]) -> Callable[[Line], str]:
    """What the list says of a context's field; "" where that is nothing."""

    def said(line: Line) -> str:
        value = line.record.value(path) if line.record is not None else None
        return "" if value in (None, "") else how(path, value)

    return said


_NUMBER = _said("number", lambda path, value: words.plain(value))
_FIELDS = {
    "type": _said("type", words.value),
    "trench": _said("trench", lambda path, value: words.plain(value)),
    "phase": _said("phase", lambda path, value: words.plain(value)),
    "grave_like": _said("grave_like", words.value),
    "state": _said("state", lambda path, value: words.word("context_state", value)),
}


def _by(path: str, said: Callable[[Line], str]) -> Column[Line]:
    return Column(path, lambda one: _natural(said(one).casefold()) or None)


COLUMNS: tuple[Column[Line], ...] = (
    *(_by(path, said) for path, said in {"number": _NUMBER, **_FIELDS}.items()),
    Column("dockets", lambda one: one.dockets, many_first=True),
    Column("raised", lambda one: one.raised, many_first=True),
    Column("disagreements", lambda one: one.disagreements, many_first=True),
    Column("problems", lambda one: one.problems, many_first=True),
)
ONLY: dict[str, Callable[[Line], bool]] = {
    "raised": lambda one: one.raised > 0,
    "disagreements": lambda one: one.disagreements > 0,
    "problems": lambda one: one.problems > 0,
    "open": lambda one: one.record is not None and one.record.value("state") != "closed",
    "not_come": lambda one: one.record is None,
}


def _text(line: Line) -> str:
    return " ".join([_NUMBER(line), *(said(line) for said in _FIELDS.values())])


@pages.get("/context/<context>")
@desk.needs_sign_in
def context(context: str) -> Response:
    """A context and its dockets, merged."""
    ledger = desk.ledger()
    record = None if context == NONE else ledger.record(context)
    if record is not None and record.kind != "context":
        abort(404)
    if context == NONE:
        known = [one.id for one in ledger.listing("docket") if not one.context]
        dockets = list(ledger.get(known).values())
    else:
        dockets = ledger.records("docket", context)
    if record is None and not dockets:
        abort(404)
    dockets.sort(key=lambda one: (_natural(label(one)), one.id))
    last = max(1, -(-len(dockets) // ON_A_PAGE))
    number = min(max(1, request.args.get("page", 1, int)), last)
    here = dockets[(number - 1) * ON_A_PAGE : number * ON_A_PAGE]
    showing = Showing(ledger)
    skeletons, elsewhere = drawings.bodies(_pieces(dockets))
    return desk.page(
        "context",
        skeletons=skeletons,
        elsewhere=elsewhere,
        context=record,
        id=context,
        fields=showing.fields(record) if record else [],
        notes=showing.notes(record) if record else [],
        rows=rows(showing, here),
        number=number,
        last=last,
        total=len(dockets),
        label=label,
        sheet=record is not None,
        photos=photos.strip([context, *(one.id for one in here)] if record else [one.id for one in here]),
        holds=[one for one in desk.holds() if one.raised and context in _contexts_of(one)],
    )


def rows(showing: Showing, dockets: list[Record]) -> list[Row]:
    """Dockets as rows of a list."""
    answers = {one.docket: one.answer for one in desk.holds()}
    problems: dict[str, Counter[str]] = {}
    for problem in showing.ledger.problems():
        problems.setdefault(problem.record, Counter())[problem.level] += 1
    found = []
    hidden = blind.hidden([one.id for one in dockets])
    for one in dockets:
        own = standing.standing_of(one, desk.authority()).answer
        answer = max(own, answers.get(one.id, own), key=human.CAUTION.__getitem__)
        if one.id in hidden:
            found.append(Row(one, None, answer, 0, 0, Counter(), hidden=True))
            continue
        differing = [field for field in showing.fields(one) if field.nature]
        reading = next((field for field in differing if field.path == "reading"), None)
        found.append(
            Row(
                one,
                coarser(reading.versions) if reading else one.value("reading"),
                answer,
                sum(field.nature == "conflict" for field in differing),
                sum(field.nature == "precision" for field in differing),
                problems.get(one.id, Counter()),
            )
        )
    return found


def _contexts_of(hold: Hold) -> set[str]:
    """Every context that somebody says a hold is in: where it lies now, and where it was raised."""
    records = [one for one in (hold.docket_record, hold.hold_record) if one is not None]
    said = {one for record in records for one in record.heads.get("context", {}).values() if isinstance(one, str)}
    return {hold.context, *said} if hold.context or not said else said


def _pieces(dockets: list[Record]) -> list[Piece]:
    """What each docket that is not deleted brings to the skeletons: where readings differ, the one shown first."""
    found: list[Piece] = []
    for one in dockets:
        reading, count = one.value("reading"), one.value("count")
        if one.life() == "deleted" or not isinstance(reading, Mapping):
            continue
        found.append(piece(reading.get("element"), reading.get("taxon"), count))
    return found


def _natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts 99 before 100, whatever letters stand between."""
    found: list[tuple[int, int, str]] = []
    for letter in text:
        if letter.isascii() and letter.isdigit():
            if found and found[-1][0] == 0:
                found[-1] = (0, found[-1][1] * 10 + int(letter), "")
            else:
                found.append((0, int(letter), ""))
        else:
            found.append((1, 0, letter))
    return tuple(found)
