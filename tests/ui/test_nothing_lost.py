"""What a hurried hand leaves behind: figures typed and not entered, forms left half done, notes written before."""

from __future__ import annotations

import pytest

from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.cards import Card
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from tests.ui.conftest import Tablet
from tests.ui.test_by_touch import newest
from tests.ui.test_form import new

# -- figures on a keypad --


@pytest.mark.ui
def test_a_figure_on_the_keypad_is_saved_though_nobody_entered_it(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.astragalus", "taxon.cattle", "side.left")
    tablet.press("portion.rest_most", "field.more", "field.measures", "measures.code.GLl")
    tablet.press("key.2", "key.8", "key..", "key.5", "action.save")
    (found,) = newest(tablet).items("measure").values()
    assert (found["code"], found["mm"]) == ("GLl", 28.5)


@pytest.mark.ui
def test_a_figure_on_the_keypad_is_taken_by_going_to_another_field(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "field.more", "field.find", "find.keys.weight_g", "key.1", "key.2")
    tablet.press("field.note")
    assert tablet.shell.form.answers["weight_g"] == 12.0


def test_undo_first_takes_back_what_was_typed_and_not_entered(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.open_field("find")
    form_fields.FURTHER["find"].tap(form, "keys.weight_g")
    form_fields.FURTHER["find"].tap(form, "key.7")
    assert form.undo()
    assert (form.state.typed, form.answers["material"]) == ("", "bone")


def test_a_card_takes_the_figure_on_its_keypad_when_it_is_saved(desk: Desk) -> None:
    new(desk)
    card = Card.new(desk, "tally", desk.context or "")
    card.open_slot("count")
    for key in "14":
        card.tap(f"key.{key}")
    card.open_slot("weight_g")
    for key in "120":
        card.tap(f"key.{key}")
    card.save()
    record = desk.record(card.state.record)
    assert record is not None
    assert (record.value("count"), record.value("weight_g")) == (14, 120.0)


def test_many_alike_are_counted_by_keypad(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.open_field("note")
    for key in ("keys.count", "key.1", "key.4", "key.="):
        form_fields.FURTHER["find"].tap(form, key)
    assert form.answers["count"] == 14


# -- leaving --


@pytest.mark.ui
def test_leaving_asks_before_anything_is_lost(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.not_asked", "element.humerus", "action.leave")
    assert tablet.screen == "leave"
    tablet.press("leave.stay")
    assert tablet.screen == "form"
    assert tablet.shell.form.answers["element"] == "humerus"
    tablet.press("action.leave", "leave.save")
    assert newest(tablet).value("reading")["element"] == "humerus"


@pytest.mark.ui
def test_the_question_is_still_there_after_back_and_what_is_thrown_away_is_gone(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "action.leave")
    tablet.hand.key("back")
    assert tablet.screen == "form"
    tablet.press("action.leave", "leave.drop")
    assert tablet.screen == "context"
    assert tablet.app.notebook.records("docket") == []


def test_a_label_under_which_nothing_was_entered_is_given_to_the_next(desk: Desk) -> None:
    first = new(desk)
    first.leave()
    second = new(desk)
    assert second.state.label == first.state.label
    second.choose("material", "bone")
    second.leave()
    assert new(desk).state.label != first.state.label


def test_the_label_of_a_saved_docket_is_never_given_again(desk: Desk) -> None:
    labels = []
    for at in range(6):
        form = new(desk)
        if at % 2:
            form.leave()
            continue
        form.choose("material", "bone")
        form.save()
        labels.append(form.state.label)
    assert len(set(labels)) == len(labels)


@pytest.mark.ui
def test_a_docket_found_in_a_list_goes_back_to_the_list(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "action.save", "go.more", "go.find")
    row = next(one for one in tablet.hand.idents() if one.startswith("docket."))
    tablet.press(row, "field.side", "side.left", "action.save")
    assert tablet.screen == "find"
    tablet.press(row, "action.leave")
    assert tablet.screen == "find"


# -- what was said before --


def test_earlier_notes_are_shown_where_a_new_one_is_written(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.type_note("upper jaw")
    form.save()
    record = desk.record(form.state.docket)
    assert record is not None
    again = Form.of(desk, record)
    assert form_fields.earlier_notes(again) == ["upper jaw"]
    assert form_fields.value(again, "note") == "upper jaw"


def test_a_rule_that_answers_beside_the_recorder_is_named_when_saved(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", "rib")
    form.answer_human("no_sign")
    assert form.save().rule == "no_sign_without_portion"
    record = desk.record(form.state.docket)
    assert record is not None
    again = Form.of(desk, record)
    assert again.earlier_answers() == (["no_sign"], ["no_sign_without_portion"])
    again.open_field("human")
    assert "too little, or no end" in form_fields.intro(again)


def test_a_loose_tooth_is_named_by_what_it_is_of(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "tooth")
    assert form.answers["element"] == "loose_tooth"
    form.undo()
    assert "element" not in form.answers


@pytest.mark.ui
def test_a_number_is_asked_for_by_the_big_keys(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "action.save_again", "action.save")
    tablet.press("go.more", "go.find", "chip.text", "key.B", "key.3", "find.show")
    rows = [one for one in tablet.hand.idents() if one.startswith("docket.")]
    assert len(rows) == 1
    assert tablet.app.desk.record(rows[0].removeprefix("docket.")).value("label").startswith("HLG B3")


def test_mine_of_today_is_one_tap_further_than_mine(desk: Desk) -> None:
    from fieldapp.ui.presenters.finding import Finding

    form = new(desk)
    form.choose("material", "bone")
    form.save()
    finding = Finding(desk)
    for marks, count in (({"mine"}, 1), ({"today"}, 1), (set(), 1)):
        finding.toggle("mine")
        assert finding.marks == marks
        assert len(finding.found()) == count
