"""Who gets in, how long, and what every form carries."""

from __future__ import annotations

import re

import pytest

from tests.server.conftest import Clock
from tests.server.review.scene import BASE, PEOPLE, Scene
from tests.server.tablets import SITE, an_id, context_id

PAGES = (
    "/review/today",
    "/review/contexts",
    f"/review/context/{context_id(SITE, '1042')}",
    f"/review/context/{context_id(SITE, '1042')}/sheet.pdf",
    f"/review/docket/{an_id('disputed')}",
    "/review/disagreements",
    f"/review/disagreement/{an_id('disputed')}/reading",
    "/review/holds",
    f"/review/hold/{an_id('stop')}",
    "/review/problems",
    "/review/account",
)
FORMS = (
    f"/review/disagreement/{an_id('disputed')}/reading",
    f"/review/disagreement/{an_id('disputed')}/reading/open",
    f"/review/hold/{an_id('stop')}/step",
    f"/review/hold/{an_id('stop')}/assess",
    f"/review/hold/{an_id('stop')}/release",
    "/review/account/password",
    "/review/account/elsewhere",
    "/review/sign-out",
)


def test_every_page_sends_who_is_not_signed_in_to_the_sign_in_and_back(scene: Scene) -> None:
    visitor = scene.visitor()
    for page in PAGES:
        answer = visitor.get(page)
        assert answer.status_code == 302
        assert answer.location == f"/review/sign-in?next={page}"


@pytest.mark.parametrize("role", PEOPLE)
def test_every_role_opens_every_page(scene: Scene, role: str) -> None:
    visitor = scene.signed_in(role)
    for page in PAGES:
        answer = visitor.get(page)
        assert answer.status_code == 200, page
        if not page.endswith(".pdf"):
            assert answer.mimetype == "text/html"


def test_a_form_without_the_sessions_token_is_refused_and_changes_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    head = scene.cabin.ledger.names().head
    for form in FORMS:
        for token in (None, "", "guessed"):
            answer = visitor.post(form, {} if token is None else {"csrf": token})
            assert answer.status_code == 400
            assert "Nothing was changed" in answer.get_data(as_text=True)
    assert scene.cabin.ledger.names().head == head
    assert visitor.get("/review/today").status_code == 200, "still signed in"


def test_another_sessions_token_is_refused(scene: Scene) -> None:
    one, other = scene.signed_in("human_osteologist"), scene.signed_in("zooarchaeologist")
    page = f"/review/disagreement/{an_id('disputed')}/reading"
    form = {**one.form(page, page), "choice": "coarser", "reason": "x"}
    assert other.post(page, form).status_code == 400


def test_signing_in_itself_needs_the_token_and_begins_a_session_of_its_own(scene: Scene) -> None:
    account, password = scene.accounts["director"]
    visitor = scene.visitor()
    assert visitor.post("/review/sign-in", {"account": account.id, "password": password}).status_code == 400
    before = visitor.form("/review/sign-in", "/review/sign-in")["csrf"]
    assert visitor.sign_in("director").status_code == 302
    after = visitor.form("/review/today", "/review/sign-out")["csrf"]
    assert before != after


def test_a_wrong_password_is_refused_in_words_and_many_of_them_make_the_account_wait(scene: Scene) -> None:
    account, password = scene.accounts["director"]
    visitor = scene.visitor()

    def sign_in(with_password: str) -> tuple[int, str]:
        form = visitor.form("/review/sign-in", "/review/sign-in")
        answer = visitor.post("/review/sign-in", {**form, "account": account.id, "password": with_password})
        return answer.status_code, answer.get_data(as_text=True)

    for _ in range(5):
        status, page = sign_in("wrong")
        assert status == 401
        assert "do not fit together" in page
    assert sign_in(password)[0] == 429


def test_a_name_nobody_has_is_refused_like_a_wrong_password(scene: Scene) -> None:
    visitor = scene.visitor()
    form = visitor.form("/review/sign-in", "/review/sign-in")
    answer = visitor.post("/review/sign-in", {**form, "account": an_id("nobody"), "password": "x"})
    assert answer.status_code == 401


def test_the_way_back_never_leaves_the_pages(scene: Scene) -> None:
    account, password = scene.accounts["director"]
    for back in ("//elsewhere.test/", "https://elsewhere.test/", "/reviewx", "/review/\\x", "/", "/review/\nx"):
        visitor = scene.visitor()
        form = {**visitor.form("/review/sign-in", "/review/sign-in"), "next": back}
        answer = visitor.post("/review/sign-in", {**form, "account": account.id, "password": password})
        assert answer.location == "/review/today", back


def test_the_cookie_is_secure_hidden_from_scripts_and_stays_on_the_site(scene: Scene) -> None:
    answer = scene.visitor().sign_in("director")
    cookie = answer.headers["Set-Cookie"]
    for part in ("Secure", "HttpOnly", "SameSite=Strict", "Path=/;"):
        assert part in cookie


def test_signing_out_ends_the_session(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    form = visitor.form("/review/today", "/review/sign-out")
    assert visitor.post("/review/sign-out", form).location == "/review/sign-in"
    assert visitor.get("/review/today").status_code == 302


def test_a_session_ends_after_two_hours_without_a_page(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("director")
    clock.forward(hours=1, minutes=59)
    assert visitor.get("/review/today").status_code == 200
    clock.forward(hours=1, minutes=59)
    assert visitor.get("/review/today").status_code == 200
    clock.forward(hours=2, minutes=1)
    assert visitor.get("/review/today").status_code == 302


def test_a_session_ends_after_twelve_hours_whatever_is_done(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("director")
    for _ in range(11):
        clock.forward(hours=1)
        assert visitor.get("/review/today").status_code == 200
    clock.forward(hours=1, minutes=1)
    assert visitor.get("/review/today").status_code == 302


def test_an_account_that_is_withdrawn_or_reset_is_out_at_once(scene: Scene) -> None:
    accounts = scene.cabin.accounts
    gone, reset = scene.signed_in("director"), scene.signed_in("supervisor")
    accounts.withdraw(scene.accounts["director"][0].person, "director", revoke_keys=False)
    accounts.reset(scene.accounts["supervisor"][0].person, "supervisor")
    assert gone.get("/review/today").status_code == 302
    assert reset.get("/review/today").status_code == 302


def test_pages_load_nothing_from_elsewhere_and_are_not_kept(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    for page in PAGES:
        answer = visitor.get(page)
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'self'")
        assert answer.headers["Cache-Control"] == "no-store"
        if answer.mimetype == "text/html":
            text = answer.get_data(as_text=True)
            links = re.findall(r'(?:href|src|action)="([^"]*)"', text)
            assert links
            assert all(one.startswith(("/review/", "#", "?")) for one in links), links
            assert "<script" not in text
            assert " style=" not in text


def test_the_styles_and_the_font_are_served_from_what_is_shipped(scene: Scene) -> None:
    client = scene.app.test_client()
    assert client.get("/review/static/review.css", base_url=BASE, buffered=True).mimetype == "text/css"
    for weight in ("regular", "bold"):
        assert client.get(f"/review/font/{weight}.ttf", base_url=BASE, buffered=True).data[:4] == b"\0\1\0\0"
