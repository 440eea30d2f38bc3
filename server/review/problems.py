"""What the rules found, over all records: searched, narrowed down and paged. Not here: the rules, nor when they run."""

from __future__ import annotations

from collections.abc import Container

from flask import request
from sqlalchemy import ColumnElement, case, or_
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from server.ledger import checks, lines, tables
from server.ledger.lines import GRAVITY, LINE
from server.review import blind, desk, fragments, words
from server.review.desk import pages
from server.review.tables import Paged, Sort

_ROW, _RECORD = tables.problem.c, tables.record.c
_LEVEL = case(GRAVITY, value=_ROW.level, else_=0)
SORTS = {
    "level": Sort(_LEVEL, many_first=True),
    "record": Sort(_ROW.sort),
    "context": Sort(LINE.place),
    "problem": Sort(_ROW.rule, order=lambda rules: words.in_order(rules, lambda one: texts().get(f"rule.{one}", one))),
}
LEVELS = tuple(reversed(GRAVITY))
"""The gravest first."""


@pages.get("/problems")
@desk.needs_sign_in
def problems() -> Response:
    """What the rules say, the gravest first; `level` and `rule`: of one alone."""
    level, rule = _one_of("level", LEVELS), _one_of("rule", knowledge().rules)
    query = lines.PROBLEMS
    if level:
        query = query.where(_ROW.level == level)
    if rule:
        query = query.where(_ROW.rule == rule)
    only = {one: _RECORD.kind == one for one in ("docket", "context", "bag")}
    with desk.ledger().database.reading() as connection:
        # What raises the human question is shown to everybody.
        raising = [key for key, rule_ in knowledge().rules.items() if rule_.raises]
        query = query.where(or_(blind.told(connection, _ROW.record), _ROW.rule.in_(raising)))
        table = Paged(
            connection, query, SORTS, find=_has, only=only, usual=(_LEVEL.desc(), _ROW.sort, _ROW.nr),
            also={"level": level, "rule": rule},
        )  # fmt: skip
        found = checks.numbered(connection, [row.nr for row in table.rows])
    return desk.page("problems", table=table, problems=found, level=level, levels=LEVELS, due=desk.due())


def _one_of(name: str, known: Container[str]) -> str:
    """What the address says there, if it is one of these."""
    asked = request.args.get(name, "")
    return asked if asked in known else ""


def _has(word: str) -> ColumnElement[bool]:
    """Whether the word is in the record's label, in what it was read as, or in the rule's sentence."""
    rules = [key for key in knowledge().rules if word in texts().get(f"rule.{key}", "").casefold()]
    return or_(_RECORD.label.icontains(word, autoescape=True), fragments.has(word), _ROW.rule.in_(rules))
