"""One's own password and sign-ins."""

from __future__ import annotations

import pytest

from tests.server.conftest import Clock
from tests.server.review.scene import PEOPLE, Scene, Visitor

NEW = "the third spoil heap leans"
FORM = "/review/account/password"


def change(visitor: Visitor, old: str, new: str = NEW, again: str | None = None) -> tuple[int, str]:
    form = visitor.form("/review/account", FORM)
    answer = visitor.post(FORM, {**form, "old": old, "new": new, "again": new if again is None else again})
    return answer.status_code, answer.text


@pytest.mark.parametrize("role", PEOPLE)
def test_everybody_changes_their_own_password(scene: Scene, role: str) -> None:
    visitor, (account, old) = scene.signed_in(role), scene.accounts[role]
    assert 'href="/review/account"' in visitor.get("/review/today").text
    assert change(visitor, old)[0] == 302
    assert visitor.get("/review/account?done=password").status_code == 200, "still signed in"
    scene.cabin.accounts.sign_in(account.person, role, NEW)
    assert scene.visitor().sign_in(role).status_code == 401, "the old one opens nothing"


@pytest.mark.parametrize(
    ("new", "again", "why"),
    [
        ("x9-tiny", None, "takes 10 characters or more"),
        ("Bryony Bryony", None, "is your name"),
        ("password123", None, "everybody tries first"),
        (NEW, NEW + "x", "the same twice"),
    ],
)
def test_a_password_that_will_not_do_is_refused_in_words(scene: Scene, new: str, again: str | None, why: str) -> None:
    visitor, (account, old) = scene.signed_in("supervisor"), scene.accounts["supervisor"]
    status, text = change(visitor, old, new, again)
    assert status == 400
    assert why in text
    assert new not in text
    scene.cabin.accounts.sign_in(account.person, "supervisor", old)


def test_the_one_there_is_is_no_new_one(scene: Scene) -> None:
    old = scene.accounts["supervisor"][1]
    assert "is the one you have" in change(scene.signed_in("supervisor"), old, old)[1]


def test_the_old_password_is_asked_for_and_cannot_be_guessed_there(scene: Scene) -> None:
    visitor, old = scene.signed_in("supervisor"), scene.accounts["supervisor"][1]
    for _ in range(5):
        status, text = change(visitor, "wrong")
        assert status == 401
        assert "does not fit" in text
    status, text = change(visitor, old)
    assert status == 429
    assert "Too many wrong passwords" in text


def test_a_form_without_the_sessions_token_changes_nothing(scene: Scene) -> None:
    visitor, (account, old) = scene.signed_in("supervisor"), scene.accounts["supervisor"]
    for form in (FORM, "/review/account/elsewhere"):
        for token in ({}, {"csrf": ""}, {"csrf": "guessed"}):
            assert visitor.post(form, {**token, "old": old, "new": NEW, "again": NEW}).status_code == 400
    scene.cabin.accounts.sign_in(account.person, "supervisor", old)


def test_a_changed_password_ends_every_other_sign_in(scene: Scene, clock: Clock) -> None:
    here, elsewhere, other = (scene.signed_in(one) for one in ("supervisor", "supervisor", "director"))
    clock.forward(seconds=1)
    assert change(here, scene.accounts["supervisor"][1])[0] == 302
    assert here.get("/review/today").status_code == 200
    assert elsewhere.get("/review/today").status_code == 302
    assert other.get("/review/today").status_code == 200


def test_signing_out_everywhere_ends_every_sign_in_but_this_one_and_no_later_one(scene: Scene, clock: Clock) -> None:
    here, elsewhere = scene.signed_in("supervisor"), scene.signed_in("supervisor")
    clock.forward(seconds=1)
    form = here.form("/review/account", "/review/account/elsewhere")
    assert here.post("/review/account/elsewhere", form).status_code == 302
    assert here.get("/review/today").status_code == 200
    assert elsewhere.get("/review/today").status_code == 302
    clock.forward(seconds=1)
    assert scene.signed_in("supervisor").get("/review/today").status_code == 200
    [line] = scene.cabin.ledger.events(5, "sessions_ended")
    assert line.fields["name"] == PEOPLE["supervisor"]


def test_another_page_that_is_open_in_the_same_browser_goes_on_with_its_forms(scene: Scene, clock: Clock) -> None:
    here = scene.signed_in("supervisor")
    open_page = here.form("/review/today", "/review/sign-out")
    clock.forward(seconds=1)
    here.post("/review/account/elsewhere", here.form("/review/account", "/review/account/elsewhere"))
    assert here.post("/review/sign-out", open_page).location == "/review/sign-in"
    assert here.get("/review/today").status_code == 302


def test_who_is_not_signed_in_is_asked_to(scene: Scene) -> None:
    assert scene.visitor().get("/review/account").location == "/review/sign-in?next=/review/account"
