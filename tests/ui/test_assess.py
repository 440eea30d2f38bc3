"""Assessing on the tablet: signed with the person's own key, over what was seen, never more than the site allows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fieldapp.domain import human
from fieldapp.records.signing import public_text
from fieldapp.sync import personal_key
from fieldapp.sync.personal_key import PersonalKey
from fieldapp.ui.presenters.assess import Assess
from fieldapp.ui.presenters.context import Context
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.fields import Room
from tests.ui.conftest import Tablet, save_as_other
from tests.ui.test_form import new

PRIVATE = Ed25519PrivateKey.from_private_bytes(b"o" * 32)
PASSWORD = "an invented password"


def let_in(desk: Desk, role: str = "human_osteologist", person: str = "p-ost", policy: Any = None) -> PersonalKey:
    """Makes a specialist of the one who records: named by the cabin, with a key on this tablet."""
    grant = {"public": public_text(PRIVATE), "role": role, "revoked": False}
    save_as_other(desk, "person", person, {"name": "Olga Example", "role": role, "key/k1": grant}, {})
    if policy is not None:
        save_as_other(desk, "site", desk.site, {"policy": policy}, {})
    locked = PRIVATE.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(PASSWORD.encode()),
    ).decode()
    told = {"person": person, "name": "Olga Example", "role": role, "key": "k1", "private": locked}
    desk.notebook.set_setting(f"key/{person}/{role}", told)
    desk.go(person={"person": person, "name": "Olga Example", "role": role})
    (found,) = personal_key.kept(desk.notebook)
    return found


def raised(desk: Desk, answer: str = human.QUERY, **choices: str) -> str:
    """A docket on hold that somebody else answered for."""
    form = new(desk)
    for name, key in {"material": "bone", **choices}.items():
        form.choose(name, key)
    form.answer_human(answer)
    return form.save().docket


def filled(desk: Desk, docket: str, **values: str) -> Assess:
    found = Assess(desk, docket)
    found.values = {
        "verdict": "non_human", "bone_seen": "bone", "taxon": "cattle", "element": "tibia",
        "reasons": "whole distal end with its two grooves", **values,
    }  # fmt: skip
    return found


def standing(desk: Desk, docket: str) -> str:
    record = desk.record(docket)
    assert record is not None
    return desk.standing(record)


def test_an_osteologist_signs_without_the_cabin_and_the_question_is_settled(desk: Desk) -> None:
    docket = raised(desk)
    key = let_in(desk)
    found = filled(desk, docket)
    found.answer("an09", "no")
    assert "counts" in found.would()
    assert found.sign(PASSWORD, key) == ""
    assert standing(desk, docket) == human.NON_HUMAN
    record = desk.record(docket)
    assert record is not None
    ((_, value),) = record.added("assessment").items()
    assert value["seen"] == sorted(record.added("human"))
    assert value["criteria"] == {"an09": "no"}
    assert "password" not in str(value)


def test_a_wrong_password_and_no_key_sign_nothing_and_keep_what_was_entered(desk: Desk) -> None:
    docket = raised(desk)
    key = let_in(desk)
    found = filled(desk, docket)
    assert "not right" in found.sign("wrong", key)
    assert "not on this tablet" in found.sign(PASSWORD, None)
    assert found.values["taxon"] == "cattle"
    assert standing(desk, docket) == human.QUERY


def test_what_came_while_it_was_made_stands(desk: Desk) -> None:
    docket = raised(desk)
    key = let_in(desk)
    found = filled(desk, docket)
    save_as_other(desk, "docket", docket, {"human/late": {"answer": "stop", "why": "", "in_place": True}}, {})
    assert found.sign(PASSWORD, key) == ""
    assert standing(desk, docket) == human.STOP


@pytest.mark.parametrize(
    ("values", "wanted"),
    [
        ({"verdict": ""}, "need_verdict"),
        ({"bone_seen": ""}, "need_bone_seen"),
        ({"taxon": "large_mammal"}, "need_name"),
        ({"taxon": "mammal_or_human"}, "need_name"),
        ({"element": "long_bone"}, "need_name"),
        ({"reasons": "  "}, "need_reasons"),
    ],
)
def test_what_is_wanting_is_said_and_nothing_is_signed(desk: Desk, values: Mapping[str, str], wanted: str) -> None:
    docket = raised(desk)
    key = let_in(desk)
    found = filled(desk, docket, **values)
    found.values = {name: value for name, value in found.values.items() if value}
    assert found.wanted() == wanted
    assert found.sign(PASSWORD, key)
    assert standing(desk, docket) == human.QUERY


def test_pictures_and_an_unnamed_zooarchaeologist_are_told_beforehand_that_it_would_not_count(desk: Desk) -> None:
    docket = raised(desk)
    let_in(desk)
    assert "would be kept and would not count" in filled(desk, docket, bone_seen="pictures").would()
    desk.go(person={"person": "p-zoo", "name": "Zoe Example", "role": "zooarchaeologist"})
    found = filled(desk, docket)
    assert found.proposes
    assert "not named this person" in found.would()


def test_cannot_tell_leaves_the_hold_as_it_is(desk: Desk) -> None:
    docket = raised(desk)
    key = let_in(desk)
    found = filled(desk, docket, verdict="cannot_tell")
    assert "stays open" in found.would()
    assert found.sign(PASSWORD, key) == ""
    assert standing(desk, docket) == human.QUERY


def test_a_group_wants_a_sign_seen_and_the_sites_leave(desk: Desk) -> None:
    docket = raised(desk)
    let_in(desk)
    found = filled(desk, docket, taxon="large_ungulate", element="rib")
    assert found.wanted() == "need_name"
    found.answer(sorted(desk.knowledge.names.signs)[0], "yes")
    assert "a group is enough" in found.would()
    policy = {"zooarchaeologists_may_assess": [], "second_reader": True, "groups": True}
    save_as_other(desk, "site", desk.site, {"policy": policy}, {})
    assert "second reader" in found.would()


def test_no_name_is_offered_that_could_be_a_human_and_typing_finds_one(desk: Desk) -> None:
    docket = raised(desk)
    let_in(desk)
    found = Assess(desk, docket)
    found.search = "catt"
    idents = [pad.ident for row in found.names(Room(4, 2)) for pad in row]
    assert idents[0] == "assess.taxon.cattle"
    found.search = "mammal"
    assert "assess.taxon.large_mammal" not in str(found.names(Room(4, 20)))
    assert "human" not in [one.ident.rpartition(".")[2] for row in found.names(Room(9, 99)) for one in row]


def test_as_recorded_takes_only_names_that_name(desk: Desk) -> None:
    docket = raised(desk, element="tibia", taxon="large_mammal")
    let_in(desk)
    found = Assess(desk, docket)
    found.as_recorded()
    assert found.values == {"element": "tibia"}


def test_the_finder_is_told_that_clearing_wants_somebody_else(desk: Desk) -> None:
    let_in(desk)
    docket = raised(desk)
    assert Assess(desk, docket).own()


# -- by touch


def to_the_assessment(tablet: Tablet) -> str:
    tablet.begin()
    docket = raised(tablet.app.desk)
    let_in(tablet.app.desk)
    tablet.shell.open_hold(docket)
    tablet.hand.frames(2)
    tablet.press("hold.more", "hold.assess")
    assert tablet.screen == "assess"
    return docket


def test_by_touch_from_the_hold_to_the_signature(tablet: Tablet) -> None:
    docket = to_the_assessment(tablet)
    tablet.press("assess.part.verdict", "assess.verdict.non_human", "assess.bone_seen.bone", "assess.part.names")
    tablet.press("assess.text")
    tablet.hand.type("catt")
    tablet.press("assess.taxon.cattle", "assess.slot.element", "assess.text")
    tablet.hand.type("tibia")
    tablet.press("assess.element.tibia", "assess.part.words", "assess.text")
    tablet.hand.type("both condyles")
    tablet.press("assess.part.sign", "assess.text")
    assert tablet.app.views["assess"].ids.text.password
    tablet.hand.type(PASSWORD)
    tablet.press("assess.do")
    assert tablet.screen == "hold"
    assert standing(tablet.app.desk, docket) == human.NON_HUMAN


def test_every_page_of_answers_has_to_be_looked_at(tablet: Tablet) -> None:
    tablet.begin()
    desk = tablet.app.desk
    docket = raised(desk)
    for at in range(6):
        save_as_other(desk, "docket", docket, {f"human/o{at}": {"answer": "query", "why": "", "in_place": False}}, {})
    let_in(desk)
    tablet.shell.open_hold(docket)
    tablet.shell.assess_hold()
    tablet.shell.assess.values = filled(desk, docket).values
    tablet.hand.frames(2)
    tablet.press("assess.part.sign")
    assert "Look through every answer" in str(tablet.app.views["assess"].ids.lines.texts)
    tablet.press("assess.part.seen", "assess.page", "assess.part.sign")
    assert "counts" in str(tablet.app.views["assess"].ids.lines.texts)


def test_a_recorder_is_offered_no_assessment(tablet: Tablet) -> None:
    tablet.begin()
    tablet.shell.open_hold(raised(tablet.app.desk))
    tablet.hand.frames(2)
    tablet.press("hold.more")
    assert not tablet.hand.sees("hold.assess")


def test_the_key_is_fetched_beside_the_cabin_and_the_password_is_not_kept(tablet: Tablet) -> None:
    tablet.begin()
    desk = tablet.app.desk
    person = {"name": "Olga Example", "role": "human_osteologist"}
    save_as_other(desk, "person", "p-ost", person, {})
    desk.go(person={"person": "p-ost", **person})
    desk.notebook.set_setting("cabin", {"address": "192.168.1.5", "fingerprint": "f"})
    tablet.press("go.more", "go.sync", "sync.key", "key.fetch")
    assert "Type your password" in str(tablet.app.views["key"].ids.lines.texts)
    tablet.press("key.text")
    tablet.hand.type("secret")
    tablet.press("key.fetch")
    tablet.hand.until(lambda: not tablet.shell.key.running)
    tablet.hand.frames(2)
    assert tablet.shell.cabin.keys == [("p-ost", "human_osteologist", "secret")]
    assert tablet.app.views["key"].ids.text.text == ""
    assert not any(b"secret" in one.read_bytes() for one in tablet.folder.rglob("*") if one.is_file())
    tablet.press("key.leave")
    assert tablet.screen == "sync"


def test_assessed_as_not_human_the_ground_stays_closed_until_the_written_word(desk: Desk) -> None:
    docket = raised(desk, human.STOP)
    key = let_in(desk)
    assert filled(desk, docket).sign(PASSWORD, key) == ""
    assert standing(desk, docket) == human.NON_HUMAN
    told = Contexts(desk).closed()
    assert "waits for the written word" in told
    assert "context 1042" in told
    shown = Context(desk)
    assert shown.held() == []
    assert len(shown.waits()) == 1
