"""Sessions, forms, cookies, addresses and headers of the desk, as somebody who means harm would try them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from server.ledger.accounts import LONGEST_SESSION
from server.review.desk import COOKIE, IDLE
from tests.attack.changes import STOP
from tests.attack.people import Rogue
from tests.attack.test_who_may import API, DESK
from tests.server.conftest import Clock
from tests.server.review.scene import BASE, Scene, Visitor
from tests.server.tablets import an_id

POSTS = [(where, form) for (_, method), (where, form, _, _) in DESK.items() if method != "GET"]
ELSEWHERE = "https://elsewhere.test"


def csrf(visitor: Visitor) -> str:
    found = re.search(r'name="csrf" value="([^"]*)"', visitor.get("/review/today", follow=True).text)
    assert found
    return found[1]


def cookie(visitor: Visitor) -> str:
    found = visitor.client.get_cookie(COOKIE, path="/")
    assert found is not None
    return str(found.value)


def with_cookie(scene: Scene, value: str) -> Visitor:
    """A browser into which somebody has put a cookie."""
    visitor = scene.visitor()
    visitor.client.set_cookie(COOKIE, value, path="/")
    return visitor


def signed_in(visitor: Visitor) -> bool:
    return visitor.get("/review/today").status_code == 200


# -- forms


def test_every_form_wants_the_token_of_its_own_session(scene: Scene) -> None:
    visitor, other = scene.signed_in("director"), scene.signed_in("human_osteologist")
    head = scene.cabin.ledger.names().head
    for where, form in POSTS:
        for token in (None, "", "x", "\ud800".encode("utf-8", "replace").decode(), csrf(other), csrf(visitor)[:-1]):
            data = {**form} if token is None else {**form, "csrf": token}
            answer = visitor.post(where, data)
            assert answer.status_code == 400, (where, token)
        # In the address it counts for nothing.
        assert visitor.post(f"{where}?csrf={csrf(visitor)}", form).status_code == 400, where
    assert scene.cabin.ledger.names().head == head
    assert signed_in(visitor)


FROM_ELSEWHERE = (
    {"Origin": ELSEWHERE}, {"Origin": "null"}, {"Origin": "http://localhost"}, {"Origin": "https://localhost:444"},
    {"Origin": "https://localhost.elsewhere.test"}, {"Origin": "https://["}, {"Referer": f"{ELSEWHERE}/review/today"},
    {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Sec-Fetch-Site": "cross-site", "Origin": BASE},
)  # fmt: skip


def test_a_form_that_the_browser_says_came_from_elsewhere_is_refused_even_with_the_token(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    token, head = csrf(visitor), scene.cabin.ledger.names().head
    for headers in FROM_ELSEWHERE:
        for where, form in POSTS[:: 1 if headers == FROM_ELSEWHERE[0] else 4]:
            answer = visitor.client.post(where, data={**form, "csrf": token}, headers=headers, base_url=BASE)
            assert answer.status_code == 400, (where, headers)
    assert scene.cabin.ledger.names().head == head
    assert signed_in(visitor)


@pytest.mark.parametrize(
    "headers", [{}, {"Origin": BASE}, {"Referer": f"{BASE}/review/today"}, {"Sec-Fetch-Site": "same-origin"}]
)
def test_a_form_of_ones_own_is_taken(headers: dict[str, str], scene: Scene) -> None:
    visitor = scene.signed_in("director")
    data = {"what": "told", "whom": "x", "csrf": csrf(visitor)}
    assert (
        visitor.client.post(f"/review/hold/{STOP}/step", data=data, headers=headers, base_url=BASE).status_code == 302
    )


# -- sessions


def test_a_session_that_was_there_before_the_sign_in_is_not_the_one_after(scene: Scene) -> None:
    visitor = scene.visitor()
    visitor.get("/review/sign-in")
    planted = cookie(visitor)
    assert visitor.sign_in("director").status_code == 302
    assert cookie(visitor) != planted
    assert not signed_in(with_cookie(scene, planted))


def test_a_cookie_kept_from_before_the_sign_out_opens_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    kept = cookie(visitor)
    assert signed_in(with_cookie(scene, kept)), "it is the session, whoever has it"
    visitor.post("/review/sign-out", {"csrf": csrf(visitor)})
    assert not signed_in(visitor)
    assert not signed_in(with_cookie(scene, kept))


def test_signing_in_again_ends_the_session_before(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    kept = cookie(visitor)
    account, password = scene.accounts["supervisor"]
    visitor.post("/review/sign-in", {"csrf": csrf(visitor), "account": account.id, "password": password})
    assert signed_in(visitor)
    assert not signed_in(with_cookie(scene, kept))


def test_what_ends_an_account_or_its_password_ends_every_session_at_the_next_request(scene: Scene) -> None:
    accounts = scene.cabin.accounts
    ended = {role: [scene.signed_in(role) for _ in range(2)] for role in ("director", "supervisor", "recorder")}
    kept = scene.signed_in("zooarchaeologist")
    (one, password), (two, _), (three, _) = (scene.accounts[role] for role in ended)
    accounts.change_password(one.person, one.role, password, "another long sentence")
    accounts.reset(two.person, two.role)
    # Another role is another account: the old one is withdrawn.
    accounts.withdraw(three.person, three.role, revoke_keys=False)
    accounts.add("ignored", "supervisor", person=three.person)
    for role, visitors in ended.items():
        for visitor in visitors:
            assert not signed_in(visitor), role
    assert signed_in(kept)


def test_nobody_stays_longer_than_the_longest_session_nor_idle_whatever_cookie_is_shown(
    scene: Scene, clock: Clock
) -> None:
    visitor = scene.signed_in("director")
    first = cookie(visitor)
    end = clock.now + LONGEST_SESSION
    while clock.now + IDLE / 2 < end:
        clock.now += IDLE / 2
        assert signed_in(visitor)
    assert not signed_in(with_cookie(scene, first)), "idle since then"
    clock.now = end + timedelta(seconds=1)
    assert not signed_in(visitor)


def test_a_cookie_signed_with_another_key_is_none(scene: Scene) -> None:
    kept = cookie(scene.signed_in("director"))
    scene.app.secret_key = b"x" * 32
    assert not signed_in(with_cookie(scene, kept))
    for altered in (kept[:-2], kept[:-2] + "xx", "", "x", "a.b.c", kept.replace(".", "..", 1)):
        assert not signed_in(with_cookie(scene, altered))


def test_the_ledger_holds_nothing_that_opens_a_session(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    with visitor.client.session_transaction(base_url=f"{BASE}/review/") as held:
        one = held["session"]
    with scene.cabin.ledger.database.reading() as connection:
        rows = connection.exec_driver_sql("SELECT * FROM session").all()
    assert rows
    assert one not in str(rows)


def test_every_cookie_is_bound_to_tls_and_to_this_host(scene: Scene) -> None:
    visitor = scene.visitor()
    set_here = [*visitor.get("/review/sign-in").headers.getlist("Set-Cookie")]
    set_here += visitor.sign_in("director").headers.getlist("Set-Cookie")
    assert len(set_here) == 2
    for one in set_here:
        name, _, rest = one.partition("=")
        parts = {each.strip() for each in rest.split(";")[1:]}
        # Browsers take a cookie of such a name from this host alone, for all of its paths (RFC 6265bis, from memory).
        assert name.startswith("__Host-")
        assert "Path=/" in parts
        assert {"Secure", "HttpOnly", "SameSite=Strict"} <= parts
        assert not any(each.startswith("Domain") for each in parts)
    for where, _, _ in API.values():
        assert "Set-Cookie" not in scene.app.test_client().get(where, base_url=BASE).headers


# -- addresses and headers


def everywhere(scene: Scene, rogue: Rogue, **more: str) -> Iterator[TestResponse]:
    """Every address by GET and by POST, signed in as director and with a tablet's token, with more headers."""
    visitor = scene.signed_in("director")
    token = csrf(visitor)
    known = {one[0] for one in (*DESK.values(), *API.values())} - {"/review/sign-out"}
    for where in sorted(known | {"/", "/x", "/api/x", "/review/x"}):
        for method in ("GET", "POST"):
            data = {"csrf": token} if method == "POST" else None
            yield visitor.client.open(
                where, method=method, data=data, headers={**rogue.headers, **more}, base_url=BASE, buffered=True
            )


@pytest.mark.parametrize("host", ["elsewhere.test:8443", 'evil"><x'])
def test_a_host_that_somebody_makes_up_is_never_given_back(host: str, scene: Scene, rogue: Rogue) -> None:
    """Tablets and browsers reach a cabin by address, by name or by mDNS name: any host is served and none believed."""
    told = {"Host": host, "X-Forwarded-Host": "forwarded.test", "X-Forwarded-Proto": "http", "X-Original-URL": "/x",
            "X-Forwarded-For": "203.0.113.9", "Forwarded": "host=forwarded.test"}  # fmt: skip
    for answer in everywhere(scene, rogue, **told):
        said = f"{answer.headers}{answer.get_data().decode('utf-8', 'replace')}"
        assert answer.status_code < 500
        for one in ("elsewhere.test", "forwarded.test", 'evil">', "203.0.113.9"):
            assert one not in said, answer.request.path
        if answer.location:
            assert answer.location.startswith("/review/"), answer.request.path


def test_every_answer_carries_the_headers_that_keep_browsers_careful(scene: Scene, rogue: Rogue) -> None:
    seen = set()
    for answer in everywhere(scene, rogue):
        where = f"{answer.request.method} {answer.request.path} {answer.status_code}"
        seen.add(answer.status_code)
        policy = answer.headers["Content-Security-Policy"]
        for part in ("default-src '", "base-uri 'none'", "frame-ancestors 'none'"):
            assert part in policy, where
        assert "unsafe" not in policy
        assert "form-action 'none'" in policy or "form-action 'self'" in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff", where
        assert answer.headers["Referrer-Policy"] in ("no-referrer", "same-origin"), where
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin", where
        assert "Access-Control-Allow-Origin" not in answer.headers
        if not answer.request.path.startswith(("/review/static", "/review/font")):
            assert answer.headers["Cache-Control"] == "no-store", where
    assert {200, 302, 400, 401, 404, 405} <= seen


@pytest.mark.parametrize(
    "back",
    [
        "//elsewhere.test", "///elsewhere.test", "/\\elsewhere.test", "\\\\elsewhere.test", ELSEWHERE, "javascript:x",
        "/review/../../elsewhere", "/review//elsewhere.test", "/review/\r\nSet-Cookie: x=y", "/review/\t", "review/",
        "/review@elsewhere.test", "/reviewx", "%2f%2felsewhere.test", "/review/\u2028", "",
    ],
)  # fmt: skip
def test_no_way_back_leads_out_of_the_pages(back: str, scene: Scene) -> None:
    account, password = scene.accounts["director"]
    visitor = scene.visitor()
    data = {"csrf": csrf(visitor), "account": account.id, "password": password, "next": back}
    gone = [visitor.post("/review/sign-in", data)]
    gone.append(visitor.post("/review/language", {"csrf": csrf(visitor), "to": "en", "next": back}))
    for answer in gone:
        assert answer.status_code == 302
        assert re.fullmatch(r"/review/[!-~]*", answer.location), answer.location
        assert "x=y" not in str(answer.headers.getlist("Set-Cookie"))


TRICKS = (
    "..", "../..", "..%2f..%2fetc%2fpasswd", "%2e%2e%2f", "..%5c", "%00", "x%00y", "%0d%0aSet-Cookie:%20x=y",
    "x" * 20_000, "%ff%fe", "%ed%a0%80", "'%20OR%201=1--", "%27;DROP%20TABLE%20change;--",
    "{{7*7}}", "${7*7}", "<script>x</script>",
    "none%00", f"{an_id('stop')}%00", f"{an_id('stop')}/", "%252e%252e%252f", "\u202e", "*", "?", "#", ";x=y", "",
)  # fmt: skip


def test_no_trick_in_an_address_gets_anywhere(scene: Scene, rogue: Rogue) -> None:
    visitor = scene.signed_in("director")
    token, head = csrf(visitor), scene.cabin.ledger.names().head
    tried = 0
    for rule in scene.app.url_map.iter_rules():
        for argument in rule.arguments:
            for nr, trick in enumerate(TRICKS):
                parts = {one: an_id("stop") if one in ("docket", "record") else "reading" for one in rule.arguments}
                where = re.sub(r"<(?:[^:>]*:)?(\w+)>", lambda one, p={**parts, argument: trick}: p[one[1]], rule.rule)
                for method in sorted((rule.methods or set()) & ({"GET", "POST"} if nr % 3 == 0 else {"GET"})):
                    answer = visitor.client.open(
                        where,
                        method=method,
                        data={"csrf": token} if method == "POST" else None,
                        base_url=BASE,
                        buffered=True,
                    )
                    tried += 1
                    # 401: of a tablet's address, where a browser has no token.
                    known = (200, 302, 308, 400, 401, 403, 404, 405)
                    assert answer.status_code in known, (method, where[:100])
                    assert b"root:" not in answer.data
                    for bad in ("<script>x", "49</"):
                        assert bad.encode() not in answer.data, where
                    assert "x=y" not in str(answer.headers.getlist("Set-Cookie")), where
                    assert (answer.location or "/review/").removeprefix(BASE).startswith("/review/"), where
    assert tried > 200
    assert scene.cabin.ledger.names().head == head


def test_a_form_too_large_is_refused_before_it_is_read(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    for where, form in POSTS:
        answer = visitor.post(where, {**form, "csrf": csrf(visitor), "note": "x" * 2**21})
        assert answer.status_code in (400, 413), where
    assert signed_in(visitor)
