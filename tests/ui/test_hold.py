"""The hold: its steps, its place, who reads its log, and what is closed by it, without a window."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from fieldapp.records.schemas import problems_of
from fieldapp.records.sealing import unseal
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.hold import STOP_STEPS, Hold
from fieldapp.ui.presenters.licensed import stop_steps
from tests.ui.conftest import save_as_other


def docket(desk: Desk, answer: str = "", **answers: Any) -> str:
    """Saves a new docket in the open bag; its id."""
    form = Form.new(desk, desk.context or "", desk.bag, answers or {"material": "bone"})
    if answer:
        form.answer_human(answer)
    return form.save().docket


@pytest.fixture
def hold(desk: Desk) -> Hold:
    """The hold of a bone left in the ground."""
    form = Form.new(desk, desk.context or "", desk.bag)
    form.answer_human("stop")
    return Hold(desk, form.save().docket)


def test_the_stop_says_every_duty_in_order(desk: Desk) -> None:
    steps = stop_steps(desk)
    assert len(steps) == len(STOP_STEPS) == 9
    for at, words in enumerate(
        # The order and substance of the project's default cautions.
        (
            "stop digging",
            "people",
            "leave every piece",
            "cover",
            "supervisor",
            "who was told",
            "no phone pictures",
            "written word",
            "local law",
        )
    ):
        assert words in steps[at].lower()


def test_the_log_is_only_ever_added_to(hold: Hold) -> None:
    for what, whom in (("told", "supervisor"), ("covered", ""), ("authority_told", "authority")):
        hold.choose("what", what)
        if whom:
            hold.choose("whom", whom)
            hold.choose("how", "telephone")
        assert hold.add()
    assert [line.what for line in hold.log()] == ["authority told", "covered", "told"]
    record = hold.record
    assert record is not None
    assert len(record.added("step")) == 3
    assert problems_of("hold", {path: record.value(path) for path in record.heads}) == {}


def test_a_step_wants_what_and_whom(hold: Hold) -> None:
    assert hold.wanted() == "need_what"
    assert not hold.add()
    hold.choose("what", "told")
    assert hold.wanted() == "need_whom"
    hold.note = "M. Example"
    assert hold.wanted() == ""
    hold.clear()
    hold.choose("what", "note")
    assert hold.wanted() == "need_note"


def test_no_exact_place_is_kept_without_a_key(hold: Hold) -> None:
    hold.place = "E 412.33 N 208.91"
    assert not hold.keep_place()
    assert hold.place_error
    for file in hold.desk.notebook.folder.rglob("*"):
        assert not file.is_file() or b"412.33" not in file.read_bytes()


def test_a_key_that_is_none_keeps_nothing_either(hold: Hold) -> None:
    hold.desk.notebook.set_setting("cabin", {"seal_key": "not a key"})
    hold.place = "E 412.33"
    assert not hold.keep_place()
    assert hold.place_error
    assert not hold.place_kept()


def test_an_exact_place_is_sealed_before_it_reaches_the_disk(hold: Hold) -> None:
    private = X25519PrivateKey.generate()
    public = base64.b64encode(private.public_key().public_bytes_raw()).decode()
    hold.desk.notebook.set_setting("cabin", {"seal_key": public})
    hold.place = "E 412.33 N 208.91"
    assert hold.keep_place()
    assert hold.place == ""
    for file in hold.desk.notebook.folder.rglob("*"):
        assert not file.is_file() or b"412.33" not in file.read_bytes()
    record = hold.record
    assert record is not None
    assert unseal(record.value("place_sealed"), private, hold.id) == "E 412.33 N 208.91"


def test_a_hold_without_a_zone_closes_the_whole_trench(hold: Hold) -> None:
    assert "whole trench" in hold.zone()


def test_a_lab_query_has_no_zone_and_lets_other_work_go_on(desk: Desk) -> None:
    hold = Hold(desk, docket(desk, "query"))
    assert not hold.in_place
    assert any("other material goes on" in text for text in hold.reminders())


def test_what_is_closed_is_said_to_whoever_opens_the_site(desk: Desk, hold: Hold) -> None:
    contexts = Contexts(desk)
    assert "context 1042" in contexts.closed()
    record = hold.record
    assert record is not None
    save_as_other(desk, "hold", hold.id, {"zone": "trench A, the north half"}, {"zone": record.head_ids()["zone"]})
    assert "the north half" in contexts.closed()
    form = Form.new(desk, desk.context or "", desk.bag)
    form.choose("material", "bone")
    form.answer_human("query")
    form.save()
    assert contexts.closed().count("context") == 1, "a lab query closes nothing"


def test_nothing_closed_is_said_where_nothing_is(desk: Desk) -> None:
    assert Contexts(desk).closed() == ""


def test_a_recorder_reads_only_their_own_words_in_a_log_and_a_supervisor_all(desk: Desk, hold: Hold) -> None:
    hold.what, hold.note = "note", "mine, by the north wall"
    assert hold.add()
    step = {"what": "note", "whom": "", "how": "", "ref": "", "note": "theirs, by peg 7", "at": "2026-06-01T09:00:00Z"}
    save_as_other(desk, "hold", hold.id, {"step/other": step}, {})
    told = " ".join(line.words() for line in hold.log())
    assert "mine, by the north wall" in told
    assert "peg 7" not in told
    assert "closed to your role" in told
    desk.go(person={"person": "p-sup", "name": "Sven Example", "role": "supervisor"})
    assert "theirs, by peg 7" in " ".join(line.words() for line in hold.log())


def test_a_hand_over_says_who_received_it_and_under_which_seal(desk: Desk, hold: Hold) -> None:
    hold.choose("what", "handed_over")
    assert hold.wanted() == "need_receiver"
    hold.type("Eve Tarn, osteologist")
    hold.choose("part", "seal")
    hold.type("0042")
    hold.choose("part", "seal")
    hold.type("two bags")
    assert hold.add()
    record = hold.record
    assert record is not None
    step = next(value for value in record.added("step").values() if value["what"] == "handed_over")
    assert (step["received_by"], step["seal"], step["note"]) == ("Eve Tarn, osteologist", "0042", "two bags")
    told = hold.log()[0].words()
    assert "Eve Tarn" in told
    assert "0042" in told
    assert hold.custody == {}


def test_what_was_typed_of_a_hand_over_is_not_kept_with_another_step(hold: Hold) -> None:
    hold.choose("what", "handed_over")
    hold.type("Eve Tarn")
    hold.choose("what", "covered")
    assert hold.add()
    assert "Eve Tarn" not in hold.log()[0].words()


def test_a_rule_s_query_asks_whether_it_is_still_in_the_ground_and_one_tap_makes_it_a_stop(desk: Desk) -> None:
    form = Form.new(desk, desk.context or "", desk.bag)
    for name, key in (("material", "bone"), ("element", "femur"), ("taxon", "human")):
        form.choose(name, key)
    found = Hold(desk, form.save().docket)
    assert found.unsaid
    assert "Still in the ground" in found.reminders()[0]
    assert not any("work" in one.lower() and "goes on" in one for one in found.reminders())
    found.stop()
    assert found.in_place
    assert not found.unsaid
    record = desk.record(found.docket)
    assert record is not None
    assert desk.standing(record) == "stop"
    assert "context 1042" in Contexts(desk).closed()


def test_said_to_be_lifted_it_is_set_aside_and_nothing_is_asked(desk: Desk) -> None:
    form = Form.new(desk, desk.context or "", desk.bag)
    form.choose("material", "bone")
    form.answer_human("query")
    found = Hold(desk, form.save().docket)
    assert not found.unsaid
    assert "Set it aside" in found.reminders()[0]


def test_a_word_to_go_on_wants_whose_and_its_reference(hold: Hold) -> None:
    hold.choose("what", "word")
    hold.choose("how", "in_person")
    assert hold.wanted() == "need_word"
    hold.choose("whom", "authority")
    hold.note = "letter 12"
    assert hold.wanted() == ""
