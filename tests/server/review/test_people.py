"""People at the desk: each act by each role, what is shown once, and what cannot be done by anybody."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from server.ledger import people
from tests.server.conftest import Clock
from tests.server.review.scene import PEOPLE, Scene, Visitor
from tests.server.tablets import an_id

MANAGERS = {"director", "administrator"}
SHOWN = re.compile(r'<code id="password">([^<]*)</code>')


def person_of(scene: Scene, role: str) -> str:
    return scene.accounts[role][0].person


def key_of(scene: Scene, role: str, person: str = "") -> str:
    who = person or person_of(scene, role)
    return next(one.account.key for one in people.overview(scene.cabin.ledger, who) if one.account.role == role)


def add(visitor: Visitor, **fields: str) -> Any:
    return visitor.post("/review/people", {**visitor.form("/review/people", "/review/people"), **fields})


def act(scene: Scene, visitor: Visitor, role: str, what: str, **fields: str) -> Any:
    """Sends the form about an account as its page has it."""
    page = f"/review/person/{person_of(scene, role)}"
    action = f"{page}/{role}/{what}"
    return visitor.post(action, {**visitor.form(page, action), **fields})


def csrf(visitor: Visitor) -> str:
    return str(visitor.form("/review/today", "/review/sign-out")["csrf"])


def lines(scene: Scene, what: str) -> list[dict[str, Any]]:
    return [one.fields for one in scene.cabin.ledger.events(100, what)]


def signs_in(scene: Scene, account: str, password: str) -> bool:
    visitor = scene.visitor()
    form = visitor.form("/review/sign-in", "/review/sign-in")
    answer = visitor.post("/review/sign-in", {**form, "account": account, "password": password})
    return answer.status_code == 302


# -- who may


@pytest.mark.parametrize("role", PEOPLE)
def test_only_a_director_and_an_administrator_look_after_people(scene: Scene, role: str) -> None:
    visitor, target = scene.signed_in(role), person_of(scene, "recorder")
    allowed = role in MANAGERS
    before = scene.cabin.accounts.all()
    key = key_of(scene, "recorder")
    assert ('href="/review/people"' in visitor.get("/review/today").text) == allowed
    for page in ("/review/people", f"/review/person/{target}"):
        assert visitor.get(page).status_code == (200 if allowed else 403)
    form = {"csrf": csrf(visitor), "key": key, "sure": "yes", "role": "supervisor", "name": "Y", "once": an_id("y")}
    acts = {
        f"/review/person/{target}/recorder/wait": 302,
        "/review/people": 200,
        f"/review/person/{target}/role": 200,
        f"/review/person/{target}/recorder/off": 302,
        f"/review/person/{target}/recorder/revoke": 302,
        f"/review/person/{target}/recorder/password": 200,
    }
    for address, status in acts.items():
        assert visitor.post(address, form).status_code == (status if allowed else 403), address
    assert (scene.cabin.accounts.all() == before) == (not allowed)


@pytest.mark.parametrize("role", PEOPLE)
def test_only_a_director_says_who_may_assess(scene: Scene, role: str) -> None:
    visitor, tansy = scene.signed_in(role), person_of(scene, "zooarchaeologist")
    form = {"csrf": csrf(visitor), "named": "yes"}
    answer = visitor.post(f"/review/person/{tansy}/assess", form)
    assert answer.status_code == (302 if role == "director" else 403)
    named = scene.cabin.ledger.authority().policy.zooarchaeologists
    assert (tansy in named) == (role == "director")
    if role == "director":
        assert lines(scene, "may_assess")[0]["by"] == PEOPLE["director"]
        visitor.post(f"/review/person/{tansy}/assess", {**form, "named": "no"})
        assert tansy not in scene.cabin.ledger.authority().policy.zooarchaeologists


def test_nobody_but_a_zooarchaeologist_is_named_by_the_policy(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    address = f"/review/person/{person_of(scene, 'recorder')}/assess"
    assert visitor.post(address, {"csrf": csrf(visitor), "named": "yes"}).status_code == 400


@pytest.mark.parametrize("token", [None, "", "guessed"])
def test_no_form_counts_without_the_sessions_token(scene: Scene, token: str | None) -> None:
    visitor, target = scene.signed_in("administrator"), person_of(scene, "recorder")
    before = scene.cabin.accounts.all()
    form = {"key": key_of(scene, "recorder"), "sure": "yes", "role": "director", "name": "Y", "once": an_id("y")}
    form |= {} if token is None else {"csrf": token}
    tails = ("/role", "/recorder/wait", "/recorder/off", "/recorder/revoke", "/recorder/password", "/assess")
    for address in ("/review/people", *(f"/review/person/{target}{one}" for one in tails)):
        assert visitor.post(address, form).status_code == 400, address
    assert scene.cabin.accounts.all() == before


# -- passwords that are shown once


def test_a_new_person_gets_a_password_that_is_shown_once_and_works(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    answer = add(visitor, name="Yarrow", role="recorder")
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    [password] = SHOWN.findall(answer.text)
    [account] = [one for one in scene.cabin.accounts.all() if one.name == "Yarrow"]
    assert signs_in(scene, account.id, password)
    for page in ("/review/people", f"/review/person/{account.person}", "/review/log", "/review/today"):
        assert password not in visitor.get(page).text
    assert password not in str(scene.cabin.ledger.events(1000))
    [line] = [one for one in lines(scene, "person_added") if one["name"] == "Yarrow"]
    assert line["by"] == PEOPLE["administrator"]


def test_a_form_sent_twice_adds_one_person(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    form = {**visitor.form("/review/people", "/review/people"), "name": "Yarrow", "role": "recorder"}
    first, second = (visitor.post("/review/people", form) for _ in range(2))
    assert SHOWN.findall(first.text)
    assert second.status_code == 409
    assert not SHOWN.findall(second.text)
    assert "done already" in second.text
    # Nor with what was typed changed meanwhile, as after going back.
    assert visitor.post("/review/people", {**form, "name": "Yarrow Two"}).status_code == 409
    assert [one.name for one in scene.cabin.accounts.all()].count("Yarrow") == 1


def test_a_new_password_is_made_once_by_one_form(scene: Scene) -> None:
    visitor, account = scene.signed_in("director"), scene.accounts["supervisor"][0]
    page = f"/review/person/{account.person}"
    form = visitor.form(page, f"{page}/supervisor/password")
    [password] = SHOWN.findall(visitor.post(f"{page}/supervisor/password", form).text)
    second = visitor.post(f"{page}/supervisor/password", form)
    assert second.status_code == 409
    assert signs_in(scene, account.id, password)
    assert not signs_in(scene, account.id, scene.accounts["supervisor"][1])
    assert lines(scene, "password_reset")[0]["by"] == PEOPLE["director"]


def test_a_form_of_an_old_page_does_nothing_after_a_new_password(scene: Scene) -> None:
    visitor, account = scene.signed_in("director"), scene.accounts["supervisor"][0]
    page = f"/review/person/{account.person}"
    old = visitor.form(page, f"{page}/supervisor/off")
    act(scene, visitor, "supervisor", "password")
    assert visitor.post(f"{page}/supervisor/off", old).status_code == 409
    assert scene.cabin.accounts.get(account.id) is not None


def test_one_more_role_is_an_account_of_its_own_and_is_given_once(scene: Scene) -> None:
    visitor, wren = scene.signed_in("administrator"), person_of(scene, "recorder")
    page = f"/review/person/{wren}"
    form = {**visitor.form(page, f"{page}/role"), "role": "supervisor"}
    [password] = SHOWN.findall(visitor.post(f"{page}/role", form).text)
    [account] = [one for one in scene.cabin.accounts.all() if one.person == wren and one.role == "supervisor"]
    assert signs_in(scene, account.id, password)
    assert visitor.post(f"{page}/role", form).status_code == 409
    assert "Wren" in visitor.get(page).text


# -- names


@pytest.mark.parametrize("name", ['<b>Ash</b> & "Co"', "عظم الحقل", "Ash " + "long" * 19, "Zoë O'Dell-Müller"])
def test_a_name_is_shown_as_it_is_and_nothing_in_it_is_markup(scene: Scene, name: str) -> None:
    visitor = scene.signed_in("administrator")
    answer = add(visitor, name=name, role="recorder")
    assert answer.status_code == 200
    for text in (answer.text, visitor.get("/review/people").text, visitor.get("/review/log").text):
        assert "<b>Ash" not in text
        assert name in html.unescape(text)
    # Letters that run the other way do not turn the words around them.
    assert f"<bdi>{html.escape(name).replace('&quot;', '&#34;').replace('&#x27;', '&#39;')}</bdi>" in answer.text


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("", "letters that can be seen"),
        (" \t ", "letters that can be seen"),
        ("\u202e\u200b", "letters that can be seen"),
        ("123 -", "letters that can be seen"),
        ("long" * 30, "longer than 80"),
        ("Linnet", "is here already"),
        (" LINNET ", "is here already"),
        ("Lin\u200bnet", "is here already"),
        ("\u202eLinnet", "is here already"),
        ("cabin", "is here already"),
    ],
)
def test_a_name_nobody_could_tell_apart_is_refused_in_words(scene: Scene, name: str, why: str) -> None:
    before = scene.cabin.accounts.all()
    answer = add(scene.signed_in("administrator"), name=name, role="recorder")
    assert answer.status_code == 400
    assert why in answer.text
    assert scene.cabin.accounts.all() == before


def test_a_role_that_is_none_is_refused_and_what_was_typed_stays(scene: Scene) -> None:
    answer = add(scene.signed_in("administrator"), name="Yarrow", role="king")
    assert answer.status_code == 400
    assert 'value="Yarrow"' in answer.text


def test_a_mark_that_is_no_id_is_refused(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    for once in ("", "x", "../x", "{" + an_id("x") + "}"):
        assert add(visitor, name="Yarrow", role="recorder", once=once).status_code == 400


# -- ending


def test_the_last_administrator_cannot_be_switched_off_by_anybody(scene: Scene) -> None:
    for role in MANAGERS:
        visitor = scene.signed_in(role)
        page = f"/review/person/{person_of(scene, 'administrator')}"
        assert "last administrator" in visitor.get(page).text
        form = {"csrf": csrf(visitor), "key": key_of(scene, "administrator"), "sure": "yes"}
        for what in ("off", "revoke"):
            answer = visitor.post(f"{page}/administrator/{what}", form)
            assert answer.status_code == 409
            assert "last administrator" in answer.text
    assert scene.cabin.accounts.get(scene.accounts["administrator"][0].id) is not None


def test_one_of_two_administrators_can_and_is_out_at_once_also_by_their_own_hand(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    assert add(visitor, name="Yarrow", role="administrator").status_code == 200
    answer = act(scene, visitor, "administrator", "off")
    assert answer.location == "/review/sign-in"
    assert visitor.get("/review/people").status_code == 302
    assert scene.cabin.accounts.get(scene.accounts["administrator"][0].id) is None


def test_an_account_that_was_switched_off_is_let_in_again_with_a_new_password(scene: Scene) -> None:
    visitor, account = scene.signed_in("director"), scene.accounts["recorder"][0]
    act(scene, visitor, "recorder", "off")
    assert "switched off" in visitor.get("/review/people").text
    [password] = SHOWN.findall(act(scene, visitor, "recorder", "password").text)
    assert signs_in(scene, account.id, password)


def test_revoking_wants_the_tick_and_voids_what_was_signed(scene: Scene) -> None:
    osteologist, path = scene.signed_in("human_osteologist"), f"/review/hold/{an_id('query')}"
    form = osteologist.form(path, f"{path}/assess")
    form |= {"verdict": "non_human", "taxon": "sheep", "element": "humerus", "bone_seen": "bone", "reasons": "seen",
             "password": scene.accounts["human_osteologist"][1]}  # fmt: skip
    assert osteologist.post(f"{path}/assess", form).status_code == 302
    of = person_of(scene, "human_osteologist")
    assert people.signed(scene.cabin.ledger, of, "human_osteologist") == {"assessment": 1, "release": 0}

    def answer_of_query() -> str | None:
        return next(one.standing.answer for one in scene.cabin.ledger.holds() if one.docket == an_id("query"))

    cleared = answer_of_query()
    visitor = scene.signed_in("administrator")
    page = f"/review/person/{of}"
    assert "1 assessment, 0 releases" in visitor.get(page).text
    form = visitor.form(page, f"{page}/human_osteologist/revoke")
    assert visitor.post(f"{page}/human_osteologist/revoke", form).status_code == 400
    assert answer_of_query() == cleared
    assert visitor.post(f"{page}/human_osteologist/revoke", {**form, "sure": "yes"}).status_code == 302
    assert (cleared, answer_of_query()) == ("non_human", "query")
    assert lines(scene, "keys_revoked")[0]["by"] == PEOPLE["administrator"]


def test_a_wait_after_wrong_passwords_is_seen_and_can_be_ended(scene: Scene, clock: Clock) -> None:
    account, password = scene.accounts["recorder"]
    for _ in range(5):
        assert not signs_in(scene, account.id, "wrong")
    assert not signs_in(scene, account.id, password)
    visitor = scene.signed_in("administrator")
    assert "waits until" in visitor.get("/review/people").text
    assert act(scene, visitor, "recorder", "wait").status_code == 302
    assert "waits until" not in visitor.get("/review/people").text
    assert signs_in(scene, account.id, password)
    assert lines(scene, "wait_ended")[0]["by"] == PEOPLE["administrator"]


def test_nobody_gets_a_say_about_human_remains_unseen(scene: Scene, clock: Clock) -> None:
    clock.forward(days=10)
    assert "lately got a say" not in scene.signed_in("recorder").get("/review/today").text
    visitor, sorrel = scene.signed_in("administrator"), person_of(scene, "administrator")
    page = f"/review/person/{sorrel}"
    visitor.post(f"{page}/role", {**visitor.form(page, f"{page}/role"), "role": "director"})
    seen = scene.signed_in("recorder").get("/review/today").text
    assert "lately got a say" in seen
    assert "Sorrel added Sorrel as director" in seen
    act(scene, visitor, "human_osteologist", "password")
    assert (
        "Sorrel gave Oswin (human osteologist) a new password" in scene.signed_in("recorder").get("/review/today").text
    )
    clock.forward(days=8)
    assert "lately got a say" not in scene.signed_in("recorder").get("/review/today").text


def test_the_last_sign_in_is_that_of_the_role(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("director")
    clock.forward(hours=1)
    scene.signed_in("recorder")
    found = {one.account.role: one.last for one in people.overview(scene.cabin.ledger)}
    assert found["recorder"] == scene.cabin.ledger.now()
    assert found["supervisor"] == ""
    assert found["director"] < found["recorder"]
    assert visitor.get("/review/people").text.count("never") == len(PEOPLE) - 2


def test_nobody_and_no_such_role_are_not_here(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    form = {"csrf": csrf(visitor), "key": "x"}
    assert visitor.get(f"/review/person/{an_id('nobody')}").status_code == 404
    wren = person_of(scene, "recorder")
    assert visitor.post(f"/review/person/{wren}/director/off", form).status_code == 404
    assert visitor.post(f"/review/person/{wren}/recorder/off", {"csrf": form["csrf"]}).status_code == 400
