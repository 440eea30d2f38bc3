"""Lists of dockets: all of the site, or those of one context; sorted, narrowed down and paged by the ledger's lines.

Not here: one docket (dockets), what a context says besides (contexts).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

from flask import request
from sqlalchemy import ColumnElement, Connection, case, or_, select, true
from werkzeug.wrappers import Response

from fieldapp import assets
from fieldapp.assets import knowledge, texts
from fieldapp.domain import human
from fieldapp.records import checked, standing
from fieldapp.records.fold import Record
from server.ledger import folding, lines, tables
from server.ledger.database import among
from server.ledger.lines import LINE
from server.review import blind, desk, words
from server.review.desk import pages
from server.review.showing import coarser_of, label
from server.review.tables import Asked, Paged, Sort

LATE, RAISED = "late", "raised"
OPEN = ("label", "context", "raised", "asked", "not_checked", "changed_since")
"""Columns and choices that tell nothing of a first reading."""


@dataclass(frozen=True, slots=True)
class Row:
    """A docket in a list. `reading` is what counts until a disagreement is settled; `answer` is the whole bone's;
    `hidden`: who is signed in is to read it a second time, and is not shown the first."""

    record: Record
    context: str
    reading: Any
    answer: str
    conflicts: int
    precision: int
    problems: Counter[str]
    checked: str
    hidden: bool = False


SORTS = {
    "label": Sort(LINE.sort),
    "context": Sort(LINE.place),
    "element": Sort(LINE.element, order=partial(words.named, "element")),
    "side": Sort(LINE.side, order=partial(words.listed, "side")),
    "taxon": Sort(LINE.taxon, order=partial(words.named, "taxon")),
    "signs": Sort(LINE.gravest * 1000 + LINE.conflicts * 100 + LINE.precisions, many_first=True),
}


@pages.get("/dockets")
@desk.needs_sign_in
def dockets() -> Response:
    """All dockets of the site."""
    unlisted = {LATE: _late, RAISED: _raised}.get(request.args.get("only", ""), listed)
    with desk.ledger().database.reading() as connection:
        table = unlisted(connection)
    found = rows([one.record for one in table.rows])
    return desk.page("dockets", table=table, rows=found, numbers=_numbers(found), label=label, due=desk.due())


def listed(connection: Connection, *where: ColumnElement[bool]) -> Paged:
    """The list that the address asks for, of the dockets for which all of this holds."""
    query = lines.DOCKETS.where(*where)
    return Paged(connection, query, _sorts(connection), find=has, only=_only(connection), usual=lines.BY_LABEL)


def _sorts(connection: Connection) -> dict[str, Sort]:
    """SORTS, by which no first reading that is hidden can be told."""
    told = blind.told(connection, LINE.record)
    return {name: one if name in OPEN else replace(one, by=case((told, one.by))) for name, one in SORTS.items()}


def _raised(connection: Connection) -> Paged:
    """Those that are raised, asked of the holds: neither a deletion nor rules that are late hide one."""
    column = tables.record.c
    both = tables.record.outerjoin(tables.docket_line, LINE.record == column.id)
    raised = among(connection, column.id, [one.docket for one in desk.holds() if one.raised])
    return Paged(
        connection,
        select(column.id.label("record")).select_from(both).where(raised),
        _sorts(connection),
        find=lambda word: or_(column.label.icontains(word, autoescape=True), has(word)),
        only={**_only(connection), RAISED: true()},
        usual=(column.label.nulls_first(), column.id),
    )


def every(connection: Connection, limit: int, *where: ColumnElement[bool]) -> list[str]:
    """Ids of all that the list of the address holds on all of its pages, by label, at most so many."""
    only = _only(connection)
    asked = Asked({}, tuple(only), {})
    narrowed = [*where, *([only[asked.only]] if asked.only else []), *(has(word) for word in asked.words)]
    return list(connection.scalars(lines.DOCKETS.where(*narrowed).order_by(*lines.BY_LABEL).limit(limit)))


def _late(connection: Connection) -> Paged:
    """Those that the rules have not looked at yet, asked of the records themselves: nothing stays hidden."""
    column = tables.record.c
    found = Paged(
        connection,
        lines.LATE,
        {},
        find=lambda word: column.label.icontains(word, autoescape=True),
        only={LATE: true()},
        usual=(column.label.nulls_first(), column.id),
    )
    return found


def _only(connection: Connection) -> dict[str, ColumnElement[bool]]:
    raised = [one.docket for one in desk.holds() if one.raised]
    told = blind.told(connection, LINE.record)
    found = {
        RAISED: among(connection, LINE.record, raised),
        "conflicts": LINE.conflicts > 0,
        "precisions": LINE.precisions > 0,
        "impossible": LINE.gravest == lines.GRAVITY["impossible"],
        "problems": LINE.gravest >= lines.GRAVITY["check"],
        "asked": LINE.asks,
        "unfinished": lines.UNFINISHED,
        "not_analysis": lines.NOT_ANALYSIS,
        "not_checked": LINE.mark != "checked",
        "changed_since": LINE.mark == "changed_since",
    }
    return {name: one if name in OPEN else one & told for name, one in found.items()}


def has(word: str) -> ColumnElement[bool]:
    """Whether a docket's label, find number or finder has the word, or what it is: as the page's language says it; or
    its context has it for its number."""
    meant, hidden = lines.has(_meant(word, assets.spoken()), word), list(blind.mine())
    # What is to be read a second time is not found by what it was read as the first.
    said = or_(lines.has({}, word), meant & LINE.record.not_in(hidden)) if hidden else meant
    return or_(said, LINE.place == lines.sort_key(word))


@lru_cache(maxsize=256)
def _meant(word: str, language: str) -> dict[str, Collection[str]]:
    """{column: keys of the vocabulary whose name has the word}."""
    known = knowledge()
    keys = {"element": known.elements, "taxon": known.taxa, "side": known.words["side"], "stage": known.words["stage"]}
    return {
        column: [key for key in every if word in texts().get(f"{column}.{key}", key).casefold()]
        for column, every in keys.items()
    }


def rows(ids: list[str]) -> list[Row]:
    """Dockets as rows of a list, in this order; one that has gone meanwhile is left out."""
    ledger = desk.ledger()
    records = ledger.get(ids)
    contexts = ledger.contexts_of(records.values())
    answers = {one.docket: one.answer for one in desk.holds()}
    problems: dict[str, Counter[str]] = {}
    for problem in ledger.problems_of(ids):
        problems.setdefault(problem.record, Counter())[problem.level] += 1
    there, hidden = [one for one in map(records.get, ids) if one is not None], blind.hidden(ids)
    return [
        _row(one, contexts.get(one.id, ""), answers, problems.get(one.id, Counter()), one.id in hidden) for one in there
    ]


def _row(one: Record, context: str, answers: dict[str, str], problems: Counter[str], hidden: bool) -> Row:
    own = standing.standing_of(one, desk.authority()).answer
    answer = max(own, answers.get(one.id, own), key=human.CAUTION.__getitem__)
    if hidden:
        return Row(one, context, None, answer, 0, 0, Counter(), "", hidden=True)
    disputed = checked.disagreements(one)
    natures = Counter(folding.nature(path, list(heads.values())) for path, heads in disputed.items())
    return Row(
        one,
        context,
        coarser_of(disputed["reading"].values()) if "reading" in disputed else one.value("reading"),
        answer,
        natures["conflict"],
        natures["precision"],
        problems,
        checked.state_of(one),
    )


def _numbers(found: list[Row]) -> dict[str, str]:
    contexts = desk.ledger().get({one.context for one in found if one.context})
    return {one: label(record) for one, record in contexts.items()}
