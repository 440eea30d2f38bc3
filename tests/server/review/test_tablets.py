"""Tablets at the desk: letting in, renaming, withdrawing, what is said of one that is lost, and who may."""

from __future__ import annotations

import re
from typing import Any

import pytest

from fieldapp.records import enrolment
from server.errors import CodeRefused, TooManyCodes
from server.review import tablets
from tests.server.conftest import Clock
from tests.server.review.letting_in import asks, fetches_key, let_in
from tests.server.review.scene import PEOPLE, Scene, Visitor
from tests.server.tablets import Tablet, an_id

LOOK = {"supervisor", "director", "administrator"}
MANAGE = {"director", "administrator"}
CODE = re.compile(r'<code id="code">([^<]*)</code>')


def letter_of(scene: Scene, name: str) -> str:
    return next(one.letter for one in scene.cabin.devices.all() if one.notebook == an_id(name))


def make_code(visitor: Visitor, **fields: str) -> Any:
    form = visitor.form("/review/tablets", "/review/tablets/code")
    return visitor.post("/review/tablets/code", {**form, **fields})


def act(scene: Scene, visitor: Visitor, tablet: str, what: str, **fields: str) -> Any:
    page = f"/review/tablet/{letter_of(scene, tablet)}"
    return visitor.post(f"{page}/{what}", {**visitor.form(page, f"{page}/{what}"), **fields})


def csrf(visitor: Visitor) -> str:
    return str(visitor.form("/review/today", "/review/sign-out")["csrf"])


# -- who may


@pytest.mark.parametrize("role", PEOPLE)
def test_who_looks_lets_in_and_withdraws_is_in_the_table_of_roles(scene: Scene, role: str) -> None:
    let_in(scene, "Grey case")
    visitor, page = scene.signed_in(role), f"/review/tablet/{letter_of(scene, 'Grey case')}"
    looks, manages = role in LOOK, role in MANAGE
    assert ('href="/review/tablets"' in visitor.get("/review/today").text) == looks
    for one in ("/review/tablets", page):
        assert visitor.get(one).status_code == (200 if looks else 403)
    form = {"csrf": csrf(visitor), "once": an_id("once"), "name": "Green case", "reason": "broken"}
    assert visitor.post("/review/tablets/code", form).status_code == (200 if looks else 403)
    assert len(scene.cabin.devices.open_codes()) == looks
    for what in ("name", "withdraw"):
        assert visitor.post(f"{page}/{what}", form).status_code == (302 if manages else 403)
    if looks:
        assert (f'action="{page}/name"' in visitor.get(page).text) == manages
    [device] = [one for one in scene.cabin.devices.all() if one.notebook == an_id("Grey case")]
    assert (device.name, device.withdrawn_at is not None) == ("Green case" if manages else "Grey case", manages)


@pytest.mark.parametrize("token", [None, "", "guessed"])
def test_no_form_counts_without_the_sessions_token(scene: Scene, token: str | None) -> None:
    let_in(scene, "Grey case")
    visitor, page = scene.signed_in("administrator"), f"/review/tablet/{letter_of(scene, 'Grey case')}"
    before = (scene.cabin.devices.all(), scene.cabin.devices.open_codes())
    form = {"once": an_id("once"), "name": "x", "reason": "lost"} | ({} if token is None else {"csrf": token})
    for address in ("/review/tablets/code", f"{page}/name", f"{page}/withdraw"):
        assert visitor.post(address, form).status_code == 400
    assert (scene.cabin.devices.all(), scene.cabin.devices.open_codes()) == before


# -- letting in


def test_a_code_is_shown_once_with_what_a_tablet_needs_and_lets_one_tablet_in(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    answer = make_code(visitor, name="Trench B")
    [code] = CODE.findall(answer.text)
    assert enrolment.in_pairs(scene.cabin.fingerprint) in answer.text
    assert "08:15" in answer.text, "it says until when"
    assert "127.0.0.1:443" in answer.text
    assert "Trench B" in answer.text
    for page in ("/review/tablets", "/review/log"):
        assert code not in visitor.get(page).text
    assert code not in str(scene.cabin.ledger.events(100))
    assert asks(scene, let_in(scene, "Trench B", code)).status_code == 200
    with pytest.raises(CodeRefused):
        let_in(scene, "another", code)
    [line] = scene.cabin.ledger.events(1, "code_opened")
    assert line.fields["by"] == PEOPLE["supervisor"]


def test_a_form_sent_twice_makes_one_code(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    form = visitor.form("/review/tablets", "/review/tablets/code")
    first, second = (visitor.post("/review/tablets/code", form) for _ in range(2))
    assert CODE.findall(first.text)
    assert (second.status_code, CODE.findall(second.text)) == (409, [])
    assert len(scene.cabin.devices.open_codes()) == 1
    assert make_code(visitor, once="x").status_code == 400


def test_a_code_is_over_after_a_quarter_of_an_hour_and_is_no_longer_listed(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("administrator")
    [code] = CODE.findall(make_code(visitor).text)
    assert "until 08:15" in visitor.get("/review/tablets").text
    clock.forward(minutes=16)
    assert "until 08:15" not in visitor.get("/review/tablets").text
    with pytest.raises(CodeRefused):
        let_in(scene, "late", code)


def test_the_address_of_a_site_on_a_server_of_many_has_its_path(scene: Scene) -> None:
    with scene.app.test_request_context("/review/tablets/code", base_url="https://localhost:8443/TST26"):
        assert tablets.addresses() == ["127.0.0.1:8443/TST26"]


def test_the_text_of_the_picture_names_every_address_and_the_code() -> None:
    said = enrolment.qr_text(["10.0.0.2:8443/HLG26", "[fd00::1]:8443"], "ABCD-EFGH-JKMNPQ")
    assert said == "bonedocket:enrol?at=10.0.0.2:8443/HLG26&at=[fd00::1]:8443&code=ABCD-EFGH-JKMNPQ"


def test_wrong_codes_and_too_many_of_them_are_told_in_words(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("supervisor")
    assert "wrong code" not in visitor.get("/review/tablets").text
    right = scene.cabin.devices.open_code()
    wrong = enrolment.code("00000000", scene.cabin.fingerprint)
    for n in range(10):
        with pytest.raises(CodeRefused):
            let_in(scene, f"guess {n}", wrong)
        if n == 0:
            assert "1 wrong code was typed" in visitor.get("/review/tablets").text
    assert "no tablet is let in until" in visitor.get("/review/tablets").text
    with pytest.raises(TooManyCodes):
        let_in(scene, "honest", right.text)
    clock.forward(minutes=6)
    assert "wrong code" not in visitor.get("/review/tablets").text


# -- withdrawing


@pytest.mark.parametrize("reason", ["lost", "broken", "replaced", "other"])
def test_a_withdrawn_tablet_is_refused_at_once_and_what_it_brought_stays(scene: Scene, reason: str) -> None:
    headers, tablet = let_in(scene, "Grey case"), Tablet("Grey case")
    tablet.docket("of the grey case")
    scene.cabin.ledger.accept(tablet.entries(), tablet.id)
    visitor = scene.signed_in("administrator")
    assert asks(scene, headers).status_code == 200
    assert act(scene, visitor, "Grey case", "withdraw", reason=reason).status_code == 302
    assert asks(scene, headers).status_code == 401
    assert scene.cabin.ledger.record(an_id("of the grey case")) is not None
    [line] = scene.cabin.ledger.events(5, "withdrawn")
    assert (line.fields["by"], line.fields["reason"]) == (PEOPLE["administrator"], reason)
    # Sent again from a page that was gone back to: nothing more happens, and the first reason stands.
    page = f"/review/tablet/{letter_of(scene, 'Grey case')}"
    assert visitor.post(f"{page}/withdraw", {"csrf": csrf(visitor), "reason": "other"}).status_code == 302
    assert len(scene.cabin.ledger.events(5, "withdrawn")) == 1


def test_a_reason_has_to_be_chosen(scene: Scene) -> None:
    headers = let_in(scene, "Grey case")
    answer = act(scene, scene.signed_in("director"), "Grey case", "withdraw", reason="eaten")
    assert answer.status_code == 400
    assert "still let in" in answer.text
    assert asks(scene, headers).status_code == 200


def test_of_a_lost_tablet_is_said_what_was_on_it_and_whose_keys(scene: Scene) -> None:
    headers = let_in(scene, "Grey case")
    for role in ("human_osteologist", "director"):
        assert fetches_key(scene, headers, role).status_code == 200
    visitor, page = scene.signed_in("administrator"), f"/review/tablet/{letter_of(scene, 'Grey case')}"
    assert "when it was lost" not in visitor.get(page).text
    act(scene, visitor, "Grey case", "withdraw", reason="lost")
    text = visitor.get(page).text
    for said in ("when it was lost", "sealed to the cabin", "Make a new password for everybody", "Oswin", "Linnet"):
        assert said in text
    assert "Tansy" not in text
    assert text.count("still the person") == 2
    scene.cabin.accounts.reset(scene.accounts["director"][0].person, "director")
    text = visitor.get(page).text
    assert text.count("still the person") == 1
    assert "has another key since" in text


def test_a_key_is_noted_with_the_tablet_that_fetched_it_and_nothing_of_the_key(scene: Scene) -> None:
    headers = let_in(scene, "Grey case")
    answer = fetches_key(scene, headers, "human_osteologist")
    [line] = scene.cabin.ledger.events(5, "key_handed_out")
    assert line.fields["letter"] == letter_of(scene, "Grey case")
    assert line.fields["notebook"] == an_id("Grey case")
    assert answer.json is not None
    assert answer.json["private"] not in str(line.fields)


def test_another_tablets_keys_are_not_said_to_be_on_it(scene: Scene) -> None:
    let_in(scene, "Grey case")
    fetches_key(scene, let_in(scene, "Green case"), "human_osteologist")
    text = scene.signed_in("administrator").get(f"/review/tablet/{letter_of(scene, 'Grey case')}").text
    assert "Oswin" not in text


def test_a_withdrawn_tablet_that_knocks_is_told_on_the_first_page_and_noted_once_an_hour(
    scene: Scene, clock: Clock
) -> None:
    headers = let_in(scene, "Grey case")
    scene.cabin.devices.withdraw(letter_of(scene, "Grey case"), reason="lost")
    visitor = scene.signed_in("recorder")
    assert "asked to be let in" not in visitor.get("/review/today").text
    for _ in range(20):
        assert asks(scene, headers).status_code == 401
    assert len(scene.cabin.ledger.events(50, "token_refused")) == 1
    assert "asked to be let in: Grey case" in visitor.get("/review/today").text
    clock.forward(minutes=61)
    asks(scene, headers)
    assert len(scene.cabin.ledger.events(50, "token_refused")) == 2


def test_an_unknown_token_or_anothers_notebook_knocks_at_nothing(scene: Scene) -> None:
    headers = let_in(scene, "Grey case")
    scene.cabin.devices.withdraw(letter_of(scene, "Grey case"), reason="lost")
    asks(scene, {**headers, "Authorization": "Bearer guessed"})
    asks(scene, {**headers, "X-Notebook": an_id("another")})
    assert scene.cabin.ledger.events(5, "token_refused") == []


# -- names, and tablets that are not seen


@pytest.mark.parametrize("name", ["<script>x</script>", "خندق", "Trench B & C"])
def test_a_tablet_is_renamed_and_its_name_is_never_markup(scene: Scene, name: str) -> None:
    let_in(scene, "Grey case")
    visitor = scene.signed_in("administrator")
    assert act(scene, visitor, "Grey case", "name", name=name).status_code == 302
    [device] = [one for one in scene.cabin.devices.all() if one.notebook == an_id("Grey case")]
    assert device.name == name
    for page in ("/review/tablets", f"/review/tablet/{device.letter}", "/review/log", "/review/today"):
        assert "<script" not in visitor.get(page).text
    [line] = scene.cabin.ledger.events(5, "renamed")
    assert (line.fields["before"], line.fields["name"], line.fields["by"]) == ("Grey case", name, "Sorrel")


@pytest.mark.parametrize("name", ["", "   ", "\u200b\u202e", "x" * 81])
def test_a_tablets_name_that_cannot_be_seen_or_is_too_long_is_refused(scene: Scene, name: str) -> None:
    let_in(scene, "Grey case")
    answer = act(scene, scene.signed_in("director"), "Grey case", "name", name=name)
    assert answer.status_code == 400
    assert "1 to 80 characters" in answer.text
    assert letter_of(scene, "Grey case")


def test_a_tablet_not_seen_for_two_days_is_asked_for_on_the_first_page(scene: Scene, clock: Clock) -> None:
    headers = let_in(scene, "Grey case")
    clock.forward(days=1, hours=23)
    assert "not been seen" not in scene.signed_in("recorder").get("/review/today").text
    clock.forward(hours=2)
    text = scene.signed_in("supervisor").get("/review/today").text
    assert "A tablet has not been seen for 2 days" in text
    assert f'href="/review/tablet/{letter_of(scene, "Grey case")}"' in text
    assert "/review/tablet/" not in scene.signed_in("recorder").get("/review/today").text
    # It has nothing to send and only asks what is new: that is being seen too.
    assert asks(scene, headers).status_code == 200
    assert "not been seen" not in scene.signed_in("supervisor").get("/review/today").text
    clock.forward(days=3)
    scene.cabin.devices.withdraw(letter_of(scene, "Grey case"))
    assert "not been seen" not in scene.signed_in("supervisor").get("/review/today").text


def test_that_a_tablet_was_here_is_not_written_at_every_question(scene: Scene, clock: Clock) -> None:
    headers = let_in(scene, "Grey case")
    asks(scene, headers)
    first = scene.cabin.devices.get(letter_of(scene, "Grey case")).seen_at
    clock.forward(minutes=4)
    asks(scene, headers)
    assert scene.cabin.devices.get(letter_of(scene, "Grey case")).seen_at == first
    clock.forward(minutes=2)
    asks(scene, headers)
    assert scene.cabin.devices.get(letter_of(scene, "Grey case")).seen_at == scene.cabin.ledger.now()


def test_a_gap_in_what_a_tablet_sent_is_shown_with_it(scene: Scene) -> None:
    let_in(scene, "tablet three")
    text = scene.signed_in("supervisor").get("/review/tablets").text
    assert "some between are missing" in text


def test_a_letter_nobody_has_is_not_here(scene: Scene) -> None:
    visitor = scene.signed_in("administrator")
    assert visitor.get("/review/tablet/QQ").status_code == 404
    assert visitor.post("/review/tablet/QQ/withdraw", {"csrf": csrf(visitor), "reason": "lost"}).status_code == 404
