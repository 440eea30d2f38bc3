"""The form at a possible human bone: the stop, the query, and what they save."""

from __future__ import annotations

from fieldapp.domain import human
from fieldapp.records.schemas import problems_of
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.hold import Hold
from tests.ui.test_form import new

# -- the stop --


def test_a_stop_is_pending_until_it_is_confirmed(desk: Desk) -> None:
    form = new(desk)
    form.answer_human("stop")
    assert form.state.stop
    assert desk.record(form.state.docket) is None
    again = Form.resumed(desk)
    assert again is not None
    assert again.state.stop


def test_a_stop_taken_back_leaves_the_form_as_it_was(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    before = dict(form.answers)
    form.answer_human("stop")
    form.take_back_stop()
    assert not form.state.stop
    assert form.answers == before
    assert form.state.field == "human"


def test_a_confirmed_stop_saves_docket_and_hold_as_one(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.answer_human("stop")
    saved_docket = form.save()
    hold = desk.record(saved_docket.hold)
    record = desk.record(saved_docket.docket)
    assert hold is not None
    assert record is not None
    assert (hold.value("tier"), hold.value("in_place"), hold.value("docket")) == ("stop", True, record.id)
    assert problems_of("hold", hold.values()) == {}
    assert record.value("context") == desk.context
    assert "bag" not in record.heads
    lines = (desk.notebook.folder / "journal").read_bytes().splitlines()
    last = [line for line in lines if record.id.encode() in line][-1]
    assert saved_docket.hold.encode() in last


def test_a_stop_can_be_confirmed_before_anything_else_is_known(desk: Desk) -> None:
    form = new(desk)
    form.answer_human("stop")
    saved_docket = form.save()
    assert desk.standing(desk.record(saved_docket.docket)) == human.STOP  # type: ignore[arg-type]


def test_what_was_raised_cannot_be_taken_back_as_a_last_save(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.answer_human("query")
    form.save()
    assert desk.last is None
    assert desk.take_back_last() == ""


# -- an authorised emergency lift --


def stopped(desk: Desk, role: str) -> Hold:
    form = new(desk)
    form.choose("material", "bone")
    form.answer_human("stop")
    docket = form.save().docket
    desk.go(person={"person": "p", "name": "Cleo Example", "role": role})
    return Hold(desk, docket)


def test_an_emergency_lift_wants_leave_and_a_reason_and_clears_nothing(desk: Desk) -> None:
    hold = stopped(desk, "supervisor")
    assert "step.what.lifted" in [one.ident for one in hold.choices("what")]
    hold.choose("what", "lifted")
    assert hold.wanted() == "need_leave"
    hold.choose("whom", "director")
    assert not hold.add()
    hold.note = "the trench floods tonight"
    assert hold.add()
    record, docket = hold.record, desk.record(hold.docket)
    assert record is not None
    assert docket is not None
    assert record.value("in_place") is False
    assert record.disagreements() == {}
    assert not hold.in_place
    assert desk.standing(docket) == human.STOP
    assert "step.what.lifted" not in [one.ident for one in hold.choices("what")]


def test_a_recorder_is_offered_no_emergency_lift(desk: Desk) -> None:
    hold = stopped(desk, "recorder")
    assert "step.what.lifted" not in [one.ident for one in hold.choices("what")]
