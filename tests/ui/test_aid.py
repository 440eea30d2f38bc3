"""The aid on the tablet: what it asks whom, what it keeps, and that nothing milder than it goes unnoticed."""

from __future__ import annotations

from typing import Any

import pytest

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.ui.presenters import aid
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from tests.ui.conftest import Tablet
from tests.ui.test_by_touch import newest
from tests.ui.test_form import new

SIGN = "cv02"


def form_of(desk: Desk, element: str = "") -> Form:
    form = new(desk)
    form.choose("material", "bone")
    if element:
        form.choose("element", element)
    return form


def answers(desk: Desk, form: Form) -> list[Any]:
    """The answers to the human question that a save wrote."""
    record = desk.record(form.save().docket)
    assert record is not None
    return list(record.added("human").values())


def test_a_recorder_is_asked_what_can_be_looked_at_and_a_specialist_more(desk: Desk) -> None:
    form = form_of(desk, "skull")
    asked = aid.asked(form)
    assert {desk.knowledge.criteria[key].judge for key in asked} == {"digger"}
    desk.go(person={"person": "p", "name": "Dora Example", "role": "human_osteologist"})
    assert set(asked) < set(aid.asked(form))


def test_every_answer_and_the_version_are_kept_with_the_reading(desk: Desk) -> None:
    form = form_of(desk, "skull")
    aid.answer(form, SIGN, "yes")
    aid.answer(form, "an09", "no")
    form.answer_human(human.QUERY)
    (found,) = answers(desk, form)
    assert found["answer"] == human.QUERY
    assert found["aid"] == {
        "criteria": assets.criteria_version(),
        "answers": {"an09": "no", SIGN: "yes"},
        "outcome": "stop",
    }


def test_who_asks_and_then_says_nothing_has_said_what_the_answers_come_to(desk: Desk) -> None:
    form = form_of(desk, "skull")
    aid.answer(form, SIGN, "yes")
    (found,) = answers(desk, form)
    assert (found["answer"], found["in_place"]) == (human.QUERY, None), "nobody was asked whether it is lifted"
    assert desk.standing(desk.record(form.state.docket)) == human.QUERY  # type: ignore[arg-type]


def test_a_milder_answer_than_the_aid_s_is_raised_by_rule_and_both_are_kept(desk: Desk) -> None:
    form = form_of(desk, "skull")
    aid.answer(form, SIGN, "yes")
    form.answer_human(human.NO_SIGN)
    saved = form.save()
    assert saved.rule == "aid_possible_human"
    record = desk.record(saved.docket)
    assert record is not None
    assert {one["answer"] for one in record.added("human").values()} == {human.NO_SIGN, human.QUERY, human.NOT_EXCLUDED}
    assert desk.standing(record) == human.QUERY
    assert saved.hold


def test_what_is_recorded_of_the_piece_raises_without_being_asked(desk: Desk) -> None:
    form = form_of(desk, "metacarpal")
    aid.answer(form, "ha09", "yes")
    assert aid.verdict(form).outcome == "confirm"
    for slot, value in (("burning", "calcined"), ("age", "newborn"), ("preservation", "lost"), ("longest_mm", 20)):
        form.put("surface", {slot: value})
        assert aid.verdict(form).outcome == "cannot_tell", slot
        form.put("surface", {slot: None})
    assert aid.verdict(form).outcome == "confirm"


def test_only_answers_as_cautious_as_the_outcome_are_offered(desk: Desk) -> None:
    form = form_of(desk, "metacarpal")
    assert "human.no_sign" not in [one.ident for one in aid.offered(form)]
    aid.answer(form, "ha09", "yes")
    assert "human.no_sign" in [one.ident for one in aid.offered(form)]
    aid.answer(form, "an09", "yes")
    assert [one.ident for one in aid.offered(form)] == ["human.stop", "human.query"]


def test_answers_survive_a_flat_battery_and_are_taken_back_one_by_one(desk: Desk) -> None:
    form = form_of(desk, "skull")
    aid.answer(form, SIGN, "yes")
    aid.answer(form, "an09", "no")
    again = Form.resumed(desk)
    assert again is not None
    assert aid.said(again) == {SIGN: "yes", "an09": "no"}
    again.undo()
    assert aid.said(again) == {SIGN: "yes"}


@pytest.mark.ui
def test_a_yes_that_stops_is_told_at_once_and_leads_to_the_stop(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "go.aid", "aid.say.yes")
    assert tablet.hand.sees("human.stop")
    assert not tablet.hand.sees("human.not_excluded")
    tablet.press("human.stop")
    assert tablet.screen == "stop"
    tablet.press("stop.confirm")
    (found,) = [one for one in newest(tablet).added("human").values() if not one["by_rule"]]
    assert (found["answer"], found["aid"]["outcome"]) == (human.STOP, "stop")


@pytest.mark.ui
def test_the_questions_go_on_one_after_the_other_and_back(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.not_asked", "element.astragalus", "field.human", "go.aid")
    first = tablet.app.views["aid"].ids.question.text
    tablet.press("aid.say.no")
    assert tablet.app.views["aid"].ids.question.text != first
    tablet.press("aid.before")
    assert tablet.app.views["aid"].ids.question.text == first
    tablet.hand.key("back")
    assert tablet.screen == "form"
