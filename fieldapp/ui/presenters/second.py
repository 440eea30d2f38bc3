"""Reading bones a second time, blind: the list of those that who records was asked for, and the form over one. Pure.

The form is the docket's own, without the docket: blank, and saved as a record of its own. The human question is not the
second reading's: its answers go to the docket in the same save, and its hold with them. Not here: drawing, figures, and
opening the first reading all the same, which are the desk's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records import second
from fieldapp.records.checking import seen_again, values_of
from fieldapp.records.fold import Record
from fieldapp.records.schemas import OBSERVED
from fieldapp.ui.presenters import writing
from fieldapp.ui.presenters.choices import Row
from fieldapp.ui.presenters.closing import Closed, close
from fieldapp.ui.presenters.context import short_label
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.form_state import Saved, State
from fieldapp.ui.presenters.problems import Found
from fieldapp.ui.texts import say

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form


class Seconds:
    """The list."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def rows(self) -> list[Row]:
        """The bones to be read again, those still to do first, by label."""
        found = []
        for draw in second.draws(self.desk.notebook.records(second.KIND)):
            for one in () if draw.over else draw.readings:
                docket = self.desk.record(second.docket_of(one))
                if docket is not None and second.is_asked(one, self.desk.by["person"]):
                    found.append((second.is_done(one), _label(docket), self._row(draw, one, docket)))
        return [row for _, _, row in sorted(found, key=lambda one: one[:2])]

    def left(self) -> int:
        """How many are still to be read."""
        return sum(not row.signs for row in self.rows())

    def _row(self, draw: second.Draw, one: Record, docket: Record) -> Row:
        bag = self.desk.record(str(docket.value("bag") or "")) if "bag" in draw.shown else None
        context = self.desk.record(self.desk.context_of(docket) or "") if "context" in draw.shown else None
        words = [str(context.value("number") or "")] if context is not None else []
        words += [_label(bag)] if bag is not None else []
        signs = (("tick", say("second.read")),) if second.is_done(one) else ()
        return Row(f"second.{one.id}", _label(docket), ", ".join([*words, draw.name]), signs=signs)


def state(desk: Desk, reading: Record) -> State:
    """What a form over a second reading begins with."""
    docket = desk.record(second.docket_of(reading))
    answers = writing.opened(reading, desk.knowledge)
    return State(
        docket=second.docket_of(reading),
        label=str(docket.value("label") or "") if docket is not None else "",
        context=(desk.context_of(docket) or "") if docket is not None else "",
        bag=docket.value("bag") if docket is not None else None,
        new=False,
        field="element" if answers.get("material") else "material",
        answers=answers,
        opening=dict(answers),
        heads={path: ids for path, ids in reading.head_ids().items() if _is_observed(path) or path == "done"},
        base=reading.value("reading"),
        second=reading.id,
    )


def found(form: Form) -> list[Found]:
    """What the rules find in what is said here; what is wrong with the docket itself is not shown."""
    docket, now = form.desk.record(form.state.docket), writing.values(form)
    first = values_of(docket) if docket is not None else {}
    values = {**seen_again(first, [now["reading"]], form.desk.knowledge), **now}
    all_found = form.desk.check(form.state.docket, values, form.state.context)
    return [one for one in all_found if one.raises or _is_observed(one.problem.path)]


def save(form: Form, draft: str) -> Saved:
    """Writes the second reading, and what is said of the human question to the docket, as one save."""
    state, desk = form.state, form.desk
    now = {path: value for path, value in writing.values(form).items() if _is_observed(path)}
    values: dict[str, Any] = {path: value for path, value in now.items() if value is not None or path in state.heads}
    values["done"] = True
    if form.answers.get("note"):
        values[f"note/{desk.new_id()}"] = {"text": form.answers["note"], "stage": form.stage}
    over = {path: state.heads[path] for path in values if path in state.heads}
    reading, seen = desk.record(state.second), f"{second.SEEN}/{desk.by['person']}"
    if reading is not None and seen in reading.heads:
        values[seen], over[seen] = True, reading.head_ids()[seen]  # whoever has looked mends it no longer blind
    writes = [Write(state.second, second.KIND, values, over)]
    answers, record = writing.human_readings(form), desk.record(state.docket)
    raised = {human.answer_of(one) for one in answers.values()} & human.RAISED
    put: dict[str, Any] = dict(answers)
    over_docket: dict[str, list[str]] = {}
    closed = close(desk, state.docket, record, put, over_docket, []) if raised else Closed()
    if put:
        writes.append(Write(state.docket, "docket", put, over_docket))
    if raised:
        tier = human.STOP if human.STOP in raised else human.QUERY
        lifted = any(one.get("in_place") is False for one in answers.values())
        writes += [*desk.hold_writes(state.docket, state.context, tier, lifted), *closed.writes]
    desk.save(writes, drop=draft)
    if raised:
        desk.close_off(closed.pictures)
    ruled = [one for one in answers.values() if one["by_rule"]]
    gravest = max(ruled, key=lambda one: human.CAUTION[one["answer"]], default=None)
    return Saved(
        state.docket,
        state.label,
        False,
        hold_id(state.docket) if raised else "",
        human.STOP in raised,
        str(gravest["by_rule"]) if gravest else "",
    )


def _label(record: Record) -> str:
    return short_label(record.value("label"))


def _is_observed(path: str) -> bool:
    return path.partition("/")[0] in OBSERVED
