"""The docket form without a window: what is kept, what comes next, what is written down."""

from __future__ import annotations

from typing import Any

import pytest

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.answers import answers_of, reading_of
from fieldapp.records.schemas import problems_of
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import FIRST, SECOND, UNDO, Form
from fieldapp.ui.texts import word
from tests.ui.conftest import save_as_other


def new(desk: Desk) -> Form:
    """A form for a new docket in the open bag."""
    return Form.new(desk, desk.context or "", desk.bag)


def fill_tibia(form: Form) -> None:
    """The lower end of a sheep's right tibia, fused."""
    form.choose("material", "bone")
    form.answer_human("no_sign")
    form.choose("element", "tibia")
    form.choose("taxon", "sheep_goat")
    form.choose("side", "right")
    for key in ("distal_medial", "distal_lateral", "distal_metaphysis"):
        form.cycle_portion(key)
    form.fill_portions("absent")
    form.set_fusion("distal", "fused")


def test_a_form_leads_from_field_to_field(desk: Desk) -> None:
    form = new(desk)
    seen = [form.state.field]
    for act in (
        lambda: form.choose("material", "bone"),
        lambda: form.answer_human("no_sign"),
        lambda: form.choose("element", "tibia"),
        lambda: form.choose("taxon", "sheep"),
        lambda: form.choose("side", "left"),
        lambda: form.fill_portions("most"),
    ):
        act()
        seen.append(form.state.field)
    assert seen == ["material", "human", "element", "taxon", "side", "portions", "fusion"]


def test_fields_that_have_no_answer_are_passed_over(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.answer_human("no_sign")
    form.choose("element", "atlas")
    assert form.answers["side"] == "midline"
    form.choose("taxon", "cattle")
    assert form.state.field == "portions"
    assert not form.applies("fusion")


def test_what_is_no_bone_is_asked_for_no_element(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    form.choose("material", "not_bone")
    assert "element" not in form.answers
    assert not [slot for slot in form.answers if slot.startswith(("portion.", "fusion."))]
    assert not any(form.applies(name) for name in ("element", "taxon", "side", "portions", "fusion"))


def test_a_saved_docket_says_what_was_entered(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    saved = form.save()
    record = desk.record(saved.docket)
    assert record is not None
    reading = record.value("reading")
    portions = {one.key: "absent" for one in desk.knowledge.portions_of("tibia")}
    portions.update(distal_medial="most", distal_lateral="most", distal_metaphysis="most")
    assert reading["portions"] == portions
    assert reading["fusion"] == {"proximal": "not_visible", "tuberosity": "not_visible", "distal": "fused"}
    assert (reading["element"], reading["taxon"], reading["side"]) == ("tibia", "sheep_goat", "right")
    assert (reading["certainty"], reading["stage"]) == ("certain", "trench")
    assert record.value("bag") == desk.bag
    assert record.value("label") == saved.label
    assert [one["answer"] for one in record.added("human").values()] == ["no_sign"]
    assert problems_of("docket", {path: record.value(path) for path in record.heads}) == {}


def test_every_portion_and_centre_is_written_out_even_if_not_examined(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", "femur")
    reading = desk.record(form.save().docket).value("reading")  # type: ignore[union-attr]
    assert set(reading["portions"]) == {one.key for one in desk.knowledge.portions_of("femur")}
    assert set(reading["portions"].values()) == {"not_examined"}
    assert set(reading["fusion"].values()) == {"not_examined"}
    assert reading["taxon"] is None
    assert reading["side"] is None


def test_an_open_shaft_end_can_be_seen_without_its_epiphysis(desk: Desk) -> None:
    form = new(desk)
    form.choose("element", "tibia")
    for key in ("distal_metaphysis",):
        form.cycle_portion(key)
    form.fill_portions("absent")
    assert [one.key for one in form.visible_centres()] == ["distal"]


def test_a_tap_on_a_portion_goes_round(desk: Desk) -> None:
    form = new(desk)
    form.choose("element", "tibia")
    found = []
    for _ in range(5):
        form.cycle_portion("upper_shaft")
        found.append(form.answers.get("portion.upper_shaft"))
    assert found == ["most", "part", "absent", None, "most"]


def test_rest_absent_leaves_what_was_touched(desk: Desk) -> None:
    form = new(desk)
    form.choose("element", "tibia")
    form.cycle_portion("upper_shaft")
    form.cycle_portion("lower_shaft")
    form.cycle_portion("lower_shaft")
    form.fill_portions("absent")
    assert form.answers["portion.upper_shaft"] == "most"
    assert form.answers["portion.lower_shaft"] == "part"
    assert form.answers["portion.tuberosity"] == "absent"


def test_another_element_takes_the_portions_of_the_first_away_and_undo_brings_them_back(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    before = dict(form.answers)
    form.choose("element", "femur")
    assert not [slot for slot in form.answers if slot.startswith(("portion.", "fusion."))]
    assert form.undo()
    assert form.answers == before


def test_every_one_of_the_last_taps_can_be_undone(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    assert UNDO >= 20
    states = [dict(form.answers)]
    for n in range(25):
        form.set_slot("count", n + 2)
        states.append(dict(form.answers))
    for wanted in states[-2::-1]:
        assert form.undo()
        assert form.answers == wanted


def test_each_tap_is_in_the_notebook_before_it_returns(desk: Desk) -> None:
    form = new(desk)
    for act in (
        lambda: form.choose("material", "bone"),
        lambda: form.answer_human("not_excluded"),
        lambda: form.choose("element", "tibia"),
        lambda: form.cycle_portion("upper_shaft"),
        lambda: form.open_field("note"),
        lambda: form.type_note("near the edge"),
        form.undo,
    ):
        act()
        again = Form.resumed(Desk(desk.notebook, desk.knowledge))
        assert again is not None
        assert again.state == form.state


def test_saving_takes_the_draft_away_in_the_same_line(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    form.save()
    assert Form.resumed(desk) is None


def test_nothing_but_material_and_a_place_is_compulsory(desk: Desk) -> None:
    form = new(desk)
    assert form.missing() == "material"
    form.choose("material", "unsure")
    assert form.missing() == ""
    record = desk.record(form.save().docket)
    assert record is not None
    assert "reading" not in record.heads


def test_a_bone_without_a_bag_lies_in_its_context(desk: Desk) -> None:
    form = Form.new(desk, desk.context or "", None)
    form.choose("material", "bone")
    record = desk.record(form.save().docket)
    assert record is not None
    assert record.value("context") == desk.context
    assert "bag" not in record.heads


def test_the_next_one_starts_with_the_material_and_same_again_takes_the_bone_but_no_answer_to_the_human_question(
    desk: Desk,
) -> None:
    form = new(desk)
    fill_tibia(form)
    carry = form.carry()
    form.save()
    again = Form.new(desk, desk.context or "", desk.bag, carry)
    assert again.answers == {"material": "bone"}
    assert again.state.field == "human"
    again.same_again()
    assert again.answers == {"material": "bone", "element": "tibia", "taxon": "sheep_goat"}
    again.undo()
    assert again.answers == {"material": "bone"}


def test_a_label_is_never_given_again_not_even_after_undo(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    first = form.save().label
    assert desk.take_back_last() == first
    left = new(desk)
    left.choose("material", "bone")
    left.leave()
    assert len({first, left.state.label, new(desk).state.label}) == 3


def test_undo_of_a_save_is_a_deletion_that_names_every_head(desk: Desk) -> None:
    form = new(desk)
    fill_tibia(form)
    docket = form.save().docket
    desk.take_back_last()
    record = desk.record(docket)
    assert record is not None
    assert record.life() == "deleted"
    assert docket not in [one.id for one in desk.dockets(desk.context or "")]


# -- an existing docket --


def saved(desk: Desk) -> str:
    """The id of a stored docket, the tibia."""
    form = new(desk)
    fill_tibia(form)
    return form.save().docket


def opened(desk: Desk, docket: str) -> Form:
    """A form over a stored docket."""
    record = desk.record(docket)
    assert record is not None
    return Form.of(desk, record)


def test_only_what_changed_is_written_over_the_heads_that_were_shown(desk: Desk) -> None:
    docket = saved(desk)
    form = opened(desk, docket)
    heads = desk.record(docket).head_ids()  # type: ignore[union-attr]
    form.set_slot("burning", "charred")
    form.save()
    change = desk.notebook.history(docket)[-1]
    assert set(change.set) == {"burning"}
    form = opened(desk, docket)
    form.choose("side", "left")
    form.save()
    change = desk.notebook.history(docket)[-1]
    assert set(change.set) == {"reading"}
    assert change.over == {"reading": heads["reading"]}
    assert change.set["reading"]["side"] == "left"
    assert change.set["reading"]["portions"]["distal_medial"] == "most"


def test_an_untouched_form_writes_nothing(desk: Desk) -> None:
    docket = saved(desk)
    before = len(desk.notebook.history(docket))
    form = opened(desk, docket)
    assert not form.is_changed()
    form.save()
    assert len(desk.notebook.history(docket)) == before
    assert Form.resumed(desk) is None


def test_an_answer_to_the_human_question_is_added_and_replaces_none(desk: Desk) -> None:
    docket = saved(desk)
    form = opened(desk, docket)
    form.answer_human("not_excluded")
    form.save()
    record = desk.record(docket)
    assert record is not None
    assert sorted(one["answer"] for one in record.added("human").values()) == ["no_sign", "not_excluded"]
    assert desk.standing(record) == "not_excluded"


def test_what_another_made_of_it_meanwhile_becomes_a_disagreement(desk: Desk) -> None:
    docket = saved(desk)
    form = opened(desk, docket)
    record = desk.record(docket)
    assert record is not None
    theirs = {**record.value("reading"), "taxon": "goat"}
    save_as_other(desk, "docket", docket, {"reading": theirs}, {"reading": record.head_ids()["reading"]})
    form.choose("side", "left")
    form.save()
    found = desk.record(docket)
    assert found is not None
    assert list(found.disagreements()) == ["reading"]


@pytest.fixture
def disputed(desk: Desk) -> str:
    """A docket with two readings, goat and sheep/goat."""
    docket = saved(desk)
    record = desk.record(docket)
    assert record is not None
    save_as_other(desk, "docket", docket, {"reading": {**record.value("reading"), "taxon": "goat"}}, {})
    return docket


def test_a_disagreement_shows_both_readings_with_their_people(desk: Desk, disputed: str) -> None:
    shown = form_fields.differing(opened(desk, disputed))
    assert len(shown) == 2
    assert {"Ana", "Ben"} == {who.partition(",")[0] for _, _, who in shown}
    assert any("goat tibia" in words and "sheep/goat" not in words for _, words, _ in shown)


def test_a_recorder_cannot_settle_a_disagreement(desk: Desk, disputed: str) -> None:
    form = opened(desk, disputed)
    change = form_fields.differing(form)[0][0]
    assert not form.take_reading(change)
    form.choose("side", "left")
    form.save()
    record = desk.record(disputed)
    assert record is not None
    assert list(record.disagreements()) == ["reading"]


def test_a_zooarchaeologist_settles_a_disagreement_by_taking_one_reading(desk: Desk, disputed: str) -> None:
    desk.go(person={"person": "z", "name": "Zoe", "role": "zooarchaeologist"})
    form = opened(desk, disputed)
    record = desk.record(disputed)
    assert record is not None
    theirs = next(one for one, value in record.heads["reading"].items() if value["taxon"] == "goat")
    assert form.take_reading(theirs)
    form.save()
    found = desk.record(disputed)
    assert found is not None
    assert found.disagreements() == {}
    assert found.value("reading")["taxon"] == "goat"


# -- rules --


def test_a_problem_stands_beside_the_field_it_is_about(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", "astragalus")
    form.choose("taxon", "fowl")
    marks = {tab.ident: tab.mark for tab in form_fields.tabs(form)}
    assert any(one.level == "impossible" for one in form.found())
    assert [ident for ident, mark in marks.items() if mark == word("mark", "impossible")] == ["field.element"]
    assert form_fields.strip(form)[0].source


def test_no_problem_stops_a_save(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", "astragalus")
    form.choose("taxon", "fowl")
    record = desk.record(form.save().docket)
    assert record is not None
    assert any(one.level == "impossible" for one in desk.problems(record))


def test_the_usual_record_shows_no_mark_on_its_way(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    for act in (
        lambda: form.answer_human("no_sign"),
        lambda: form.choose("element", "tibia"),
        lambda: form.choose("taxon", "sheep_goat"),
        lambda: form.choose("side", "right"),
        lambda: form.cycle_portion("distal_medial"),
        lambda: form.fill_portions("absent"),
    ):
        act()
        assert not form_fields.pressing(form)


def test_a_rule_that_raises_adds_its_answer_once_and_opens_a_hold(desk: Desk) -> None:
    grave = desk.make_context("1050", "grave", "yes")
    form = Form.new(desk, grave, None)
    form.choose("material", "bone")
    saved_docket = form.save()
    record = desk.record(saved_docket.docket)
    assert record is not None
    added = list(record.added("human").values())
    assert [one["by_rule"] for one in added] == ["grave_without_answer"]
    assert desk.standing(record) == human.QUERY
    assert saved_docket.hold == hold_id(record.id)
    assert desk.record(saved_docket.hold).value("tier") == "query"  # type: ignore[union-attr]
    again = opened(desk, record.id)
    again.set_slot("count", 3)
    again.save()
    assert len(desk.record(record.id).added("human")) == 1  # type: ignore[union-attr]


# -- readings --


@pytest.mark.parametrize("element", ["tibia", "femur", "skull", "rib", "long_bone", "atlas"])
def test_a_reading_survives_the_form_and_back(desk: Desk, element: str) -> None:
    knowledge = desk.knowledge
    answers: dict[str, Any] = {"element": element, "taxon": "cattle", "certainty": "cf"}
    for at, portion in enumerate(knowledge.portions_of(element)):
        state = ("most", "part", "absent", None)[at % 4]
        if state:
            answers[f"portion.{portion.key}"] = state
    for centre in knowledge.centres_of(element, "cattle")[:1]:
        answers[f"fusion.{centre.key}"] = "fused"
    reading = reading_of(answers, knowledge, "trench")
    assert answers_of(reading, knowledge) == answers
    assert reading_of(answers_of(reading, knowledge), knowledge, "trench", reading) == reading


def test_what_the_form_cannot_show_is_kept(desk: Desk) -> None:
    base = {"element": "tibia", "sex": "male", "compared": "reference collection", "from_a_newer_version": 7}
    reading = reading_of(answers_of(base, desk.knowledge), desk.knowledge, "trench", base)
    assert (reading["sex"], reading["compared"], reading["from_a_newer_version"]) == ("male", "reference collection", 7)


def test_no_reading_breaks_the_form(desk: Desk) -> None:
    for odd in (None, 3, [], {"portions": 7, "fusion": {"distal": 5}, "element": 9}):
        assert answers_of(odd, desk.knowledge) == {}


def test_a_bone_called_a_birds_keeps_only_the_portions_that_a_bird_has(desk: Desk) -> None:
    form = new(desk)
    form.choose("element", "tibia")
    form.choose("taxon", "cattle")
    form.cycle_portion("tuberosity")
    form.cycle_portion("upper_shaft")
    form.choose("taxon", "fowl")
    assert "portion.tuberosity" not in form.answers
    assert form.answers["portion.upper_shaft"] == "most"
    form.undo()
    assert form.answers["portion.tuberosity"] == "most"


def test_the_fields_have_tabs(desk: Desk) -> None:
    form = new(desk)
    assert [tab.ident for tab in form_fields.tabs(form)] == [f"field.{name}" for name in (*FIRST, "more")]
    form_fields.open_tab(form, "more")
    assert form.state.field == "note"
    assert [tab.ident for tab in form_fields.tabs(form)] == [f"field.{name}" for name in (*SECOND, "first")]
    form_fields.open_tab(form, "first")
    assert form.state.field == "material"


def test_a_stored_docket_s_earlier_answer_is_known_to_the_rules(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.answer_human("not_excluded")
    record = desk.record(form.save().docket)
    assert record is not None
    again = Form.of(desk, record)
    assert "question_not_asked" not in [one.problem.rule for one in again.found()]
