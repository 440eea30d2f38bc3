"""Every route asked by everybody: what each is answered. A route that is not in the table fails.

What of a page's contents each role is shown is test_who_sees'; which words a role may write is test_recorder's.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from fieldapp.records import enrolment
from tests.attack.changes import STOP
from tests.attack.people import Rogue
from tests.server.review.scene import BASE, PEOPLE, Scene
from tests.server.tablets import SITE, an_id, context_id

TABLETS = ("tablet", "withdrawn", "foreign", "no token")
"""A tablet with its token; with one that was withdrawn; with another notebook's; and a stranger."""

DISPUTED, PIT = an_id("disputed"), context_id(SITE, "1057")
ASSESSING, RELEASING = ("zooarchaeologist", "human_osteologist"), ("director",)
MANAGING, LETTING_IN = ("director", "administrator"), ("supervisor", "director", "administrator")
CARRYING = ("supervisor", "director", "administrator")
PICTURE = "a" * 64
NOBODY = an_id("nobody")
BAG = an_id("bag")
ADDING = ("supervisor", "zooarchaeologist", "director")
SETTLING = READING_AGAIN = ("zooarchaeologist", "human_osteologist")
EDITING = ("recorder", "supervisor", *SETTLING)
EDITING_CONTEXTS, LOCKING = ("supervisor", "zooarchaeologist", "director"), ("zooarchaeologist", "director")


def only(roles: tuple[str, ...], status: int) -> dict[str, int]:
    """That status for these roles, 403 for the rest."""
    return {role: status if role in roles else 403 for role in PEOPLE}


def all_of(status: int) -> dict[str, int]:
    return dict.fromkeys(PEOPLE, status)


# (endpoint, method): its address, a form, what the signed out are answered, and what each role is.
DESK: dict[tuple[str, str], tuple[str, dict[str, str], int, dict[str, int]]] = {
    ("way_in", "GET"): ("/", {}, 302, all_of(302)),
    ("api_docs.docs", "GET"): ("/api/docs", {}, 200, all_of(200)),
    ("api_docs.style", "GET"): ("/api/docs.css", {}, 200, all_of(200)),
    ("api-docs.openapi_json", "GET"): ("/api/openapi.json", {}, 200, all_of(200)),
    ("review.static", "GET"): ("/review/static/review.css", {}, 200, all_of(200)),
    ("review.font", "GET"): ("/review/font/bold.ttf", {}, 200, all_of(200)),
    ("review.front", "GET"): ("/review/", {}, 302, all_of(302)),
    ("review.sign_in", "GET"): ("/review/sign-in", {}, 200, all_of(302)),
    ("review.signed_in", "POST"): ("/review/sign-in", {"account": "x", "password": "x"}, 401, all_of(401)),
    ("review.sign_out", "POST"): ("/review/sign-out", {}, 302, all_of(302)),
    ("review.language", "POST"): ("/review/language", {"to": "de"}, 302, all_of(302)),
    ("review.today", "GET"): ("/review/today", {}, 302, all_of(200)),
    ("review.problems", "GET"): ("/review/problems", {}, 302, all_of(200)),
    ("review.contexts", "GET"): ("/review/contexts", {}, 302, all_of(200)),
    ("review.dockets", "GET"): ("/review/dockets", {}, 302, all_of(200)),
    ("review.changes", "GET"): ("/review/changes", {}, 302, all_of(200)),
    ("review.looked", "POST"): ("/review/changes", {"seq": "1"}, 302, all_of(302)),
    ("review.context", "GET"): (f"/review/context/{PIT}", {}, 302, all_of(200)),
    ("review.sheet", "GET"): (f"/review/context/{PIT}/sheet.pdf?photos=colour", {}, 302, all_of(200)),
    ("review.printing", "GET"): (f"/review/context/{PIT}/print", {}, 302, all_of(200)),
    ("review.compact", "GET"): (f"/review/context/{PIT}/compact.pdf", {}, 302, all_of(200)),
    ("review.labels", "GET"): (f"/review/context/{context_id(SITE, '1042')}/labels.pdf", {}, 302, all_of(200)),
    ("review.blank", "GET"): (f"/review/blank.pdf?context={PIT}", {}, 302, all_of(200)),
    ("review.trench_summary", "GET"): ("/review/trench.pdf", {}, 302, all_of(200)),
    ("review.trench_sheets", "GET"): ("/review/trench/sheets.pdf?photos=grey", {}, 302, all_of(200)),
    ("review.docket", "GET"): (f"/review/docket/{STOP}", {}, 302, all_of(200)),
    ("review.edit_docket", "GET"): (f"/review/docket/{DISPUTED}/edit", {}, 302, only(EDITING, 200)),
    ("review.save_docket", "POST"): (
        f"/review/docket/{DISPUTED}/edit", {"heads": "{}", "once": "x", "do": "save"}, 302, only(EDITING, 400),
    ),
    ("review.raise_docket", "POST"): (
        f"/review/docket/{DISPUTED}/raise", {"once": "x", "answer": "stop", "why": "x"}, 302,
        {**all_of(400), "administrator": 403},
    ),
    ("review.check", "POST"): (f"/review/docket/{DISPUTED}/check", {"heads": "x"}, 302, only(SETTLING, 400)),
    ("review.check_many", "POST"): (f"/review/context/{PIT}/check", {"shown": "{}"}, 302, only(SETTLING, 400)),
    ("review.edit_context", "GET"): (f"/review/context/{PIT}/edit", {}, 302, only(EDITING_CONTEXTS, 200)),
    ("review.save_context", "POST"): (
        f"/review/context/{PIT}/edit", {"heads": "{}", "once": "x", "do": "save"}, 302, only(EDITING_CONTEXTS, 400),
    ),
    ("review.new_docket", "GET"): (f"/review/context/{PIT}/docket", {}, 302, only(EDITING, 200)),
    ("review.make_docket", "POST"): (
        f"/review/context/{PIT}/docket", {"once": "x", "do": "save"}, 302, only(EDITING, 400),
    ),
    ("review.entry", "GET"): (f"/review/context/{PIT}/entry", {}, 302, only(EDITING, 200)),
    ("review.enter", "POST"): (f"/review/context/{PIT}/entry", {"once": "x", "line": "rib"}, 302, only(EDITING, 400)),
    ("review.take_back", "POST"): (f"/review/docket/{DISPUTED}/take-back", {"heads": "x"}, 302, only(EDITING, 400)),
    ("review.entry_many", "GET"): (f"/review/context/{PIT}/entry/many", {}, 302, only(EDITING, 200)),
    ("review.enter_many", "POST"): (
        f"/review/context/{PIT}/entry/many", {"once": "x", "lines": "rib", "do": "save"}, 302, only(EDITING, 400),
    ),
    ("review.bulk", "GET"): (f"/review/bulk?docket={DISPUTED}", {}, 302, only(EDITING, 200)),
    ("review.set_bulk", "POST"): (
        "/review/bulk", {"once": "x", "dockets": DISPUTED, "burning": "burnt"}, 302, only(EDITING, 400),
    ),
    ("review.bulk_list", "GET"): ("/review/bulk-list", {}, 302, only(EDITING, 200)),
    ("review.bulk_page", "GET"): (f"/review/bulk/{NOBODY}", {}, 302, only(EDITING, 404)),
    ("review.put_back", "POST"): (f"/review/bulk/{NOBODY}", {"seen": "{}"}, 302, only(EDITING, 404)),
    ("review.keys", "GET"): ("/review/keys", {}, 302, all_of(200)),
    ("review.lock", "POST"): (f"/review/context/{PIT}/lock", {"heads": "x"}, 302, only(LOCKING, 400)),
    ("review.open_context", "POST"): (f"/review/context/{PIT}/open", {"heads": "x"}, 302, only(LOCKING, 400)),
    ("review.disagreements", "GET"): ("/review/disagreements", {}, 302, all_of(200)),
    ("review.disagreement", "GET"): (f"/review/disagreement/{DISPUTED}/reading", {}, 302, all_of(200)),
    # Forms that are refused for what is not in them, once the role is let in.
    ("review.settle", "POST"): (
        f"/review/disagreement/{DISPUTED}/reading", {"heads": "HEADS", "choice": "", "reason": ""}, 302,
        only(SETTLING, 400),
    ),
    ("review.open_again", "POST"): (
        f"/review/disagreement/{DISPUTED}/reading/open", {"heads": "HEADS", "reason": ""}, 302, only(SETTLING, 400),
    ),
    ("review.third", "POST"): (
        f"/review/disagreement/{an_id('rib')}/count/third", {"heads": "COUNT", "value": "", "reason": ""}, 302,
        only(SETTLING, 400),
    ),
    ("review.combine", "GET"): (f"/review/combine/{DISPUTED}", {}, 302, all_of(200)),
    ("review.combined", "POST"): (f"/review/combine/{DISPUTED}", {"heads": "HEADS"}, 302, only(SETTLING, 400)),
    ("review.third_reading", "GET"): (f"/review/third-reading/{DISPUTED}", {}, 302, all_of(200)),
    ("review.write_reading", "POST"): (
        f"/review/third-reading/{DISPUTED}", {"heads": "HEADS", "element": "x"}, 302, only(SETTLING, 400),
    ),
    ("review.causes", "GET"): ("/review/disagreements/causes", {}, 302, all_of(200)),
    ("review.cause", "GET"): ("/review/disagreements/cause/x", {}, 302, all_of(404)),
    ("review.settle_many", "POST"): ("/review/disagreements/cause/x", {"once": NOBODY}, 302, all_of(404)),
    ("review.lots_settled", "GET"): ("/review/disagreements/lots", {}, 302, all_of(200)),
    ("review.lot", "GET"): (f"/review/disagreements/lot/{NOBODY}", {}, 302, all_of(404)),
    ("review.open_lot", "POST"): (f"/review/disagreements/lot/{NOBODY}/open", {}, 302, all_of(404)),
    ("review.doubles", "GET"): ("/review/doubles", {}, 302, all_of(200)),
    ("review.refits", "GET"): (f"/review/refits/{PIT}", {}, 302, all_of(200)),
    ("review.pair", "GET"): (f"/review/pair/{DISPUTED}/{STOP}", {}, 302, all_of(200)),
    ("review.say_of_pair", "POST"): (f"/review/pair/{DISPUTED}/{STOP}", {"heads": ""}, 302, only(SETTLING, 400)),
    ("review.groups", "GET"): ("/review/groups", {}, 302, all_of(200)),
    ("review.group_form", "GET"): (f"/review/groups/new?context={PIT}", {}, 302, all_of(200)),
    ("review.group_add", "POST"): ("/review/groups/new", {"once": "x"}, 302, only(EDITING, 400)),
    ("review.group", "GET"): (f"/review/group/{NOBODY}", {}, 302, all_of(404)),
    ("review.group_change", "POST"): (f"/review/group/{NOBODY}", {}, 302, all_of(404)),
    ("review.holds", "GET"): ("/review/holds", {}, 302, all_of(200)),
    ("review.hold", "GET"): (f"/review/hold/{STOP}", {}, 302, all_of(200)),
    ("review.hold_log", "GET"): (f"/review/hold/{STOP}/log.pdf", {}, 302, all_of(200)),
    ("review.step", "POST"): (
        f"/review/hold/{STOP}/step", {"what": "told", "whom": "x"}, 302, {**all_of(302), "administrator": 403},
    ),
    ("review.assess", "POST"): (
        f"/review/hold/{STOP}/assess",
        {"seen": "SEEN", "verdict": "human", "bone_seen": "bone", "reasons": "x", "password": "wrong"}, 302,
        only(ASSESSING, 401),
    ),
    ("review.release", "POST"): (
        f"/review/hold/{STOP}/release", {"seen": "SEEN", "word_of": "x", "reference": "x", "password": "wrong"}, 302,
        only(RELEASING, 401),
    ),
    ("review.bags", "GET"): ("/review/bags", {}, 302, all_of(200)),
    ("review.bag", "GET"): (f"/review/bag/{BAG}", {}, 302, all_of(200)),
    ("review.bag_keep", "POST"): (f"/review/bag/{BAG}", {"heads": "x"}, 302, {**all_of(400), "administrator": 403}),
    ("review.boxes", "GET"): ("/review/boxes", {}, 302, all_of(200)),
    ("review.box_fill", "POST"): ("/review/boxes", {"labels": ""}, 302, {**all_of(400), "administrator": 403}),
    ("review.box", "GET"): (f"/review/box/{NOBODY}", {}, 302, all_of(404)),
    ("review.box_place", "POST"): (f"/review/box/{NOBODY}", {}, 302, {**all_of(404), "administrator": 403}),
    ("review.transfers", "GET"): ("/review/transfers", {}, 302, all_of(200)),
    ("review.transfer_make", "POST"): ("/review/transfers", {"once": "x"}, 302, {**all_of(400), "administrator": 403}),
    ("review.transfer", "GET"): (f"/review/transfer/{NOBODY}", {}, 302, all_of(404)),
    ("review.transfer_keep", "POST"): (f"/review/transfer/{NOBODY}", {}, 302, {**all_of(404), "administrator": 403}),
    ("review.site_setup", "GET"): ("/review/site", {}, 302, all_of(200)),
    ("review.site_keep", "POST"): ("/review/site/place", {"heads": "x"}, 302, only(("director",), 400)),
    ("review.contexts_new", "GET"): ("/review/contexts/add", {}, 302, only(ADDING, 200)),
    ("review.contexts_add", "POST"): ("/review/contexts/add", {"text": ""}, 302, only(ADDING, 400)),
    ("review.my_account", "GET"): ("/review/account", {}, 302, all_of(200)),
    ("review.my_password", "POST"): ("/review/account/password", {"old": "wrong", "new": "x"}, 302, all_of(400)),
    ("review.my_sessions", "POST"): ("/review/account/elsewhere", {}, 302, all_of(302)),
    ("review.people", "GET"): ("/review/people", {}, 302, only(MANAGING, 200)),
    ("review.person_add", "POST"): ("/review/people", {"once": "x", "name": "x"}, 302, only(MANAGING, 400)),
    ("review.person", "GET"): (f"/review/person/{NOBODY}", {}, 302, only(MANAGING, 404)),
    ("review.person_role", "POST"): (f"/review/person/{NOBODY}/role", {"role": "x"}, 302, only(MANAGING, 404)),
    ("review.person_assess", "POST"): (
        f"/review/person/{NOBODY}/assess", {"named": "yes"}, 302, only(("director",), 400),
    ),
    **{
        (f"review.person_{what}", "POST"): (
            f"/review/person/{NOBODY}/director/{what}", {"key": "x"}, 302, only(MANAGING, 404)
        )
        for what in ("password", "off", "revoke", "wait")
    },
    ("review.tablets", "GET"): ("/review/tablets", {}, 302, only(LETTING_IN, 200)),
    ("review.tablet_code", "POST"): ("/review/tablets/code", {"once": "x"}, 302, only(LETTING_IN, 400)),
    ("review.tablet", "GET"): ("/review/tablet/QQ", {}, 302, only(LETTING_IN, 404)),
    ("review.tablet_rename", "POST"): ("/review/tablet/QQ/name", {"name": "x"}, 302, only(MANAGING, 404)),
    ("review.tablet_withdraw", "POST"): ("/review/tablet/QQ/withdraw", {"reason": "x"}, 302, only(MANAGING, 404)),
    ("health.health", "GET"): ("/health", {}, 200, all_of(200)),
    # The picture has not come.
    ("review.photo", "GET"): (f"/review/photo/{NOBODY}/0/small", {}, 302, all_of(404)),
    ("review.carrying", "GET"): ("/review/carry", {}, 302, only(CARRYING, 200)),
    ("review.carried", "POST"): ("/review/carry", {}, 302, only(CARRYING, 422)),
    ("review.carry_answer", "GET"): (f"/review/carry/{NOBODY}", {}, 302, only(CARRYING, 404)),
    ("review.log", "GET"): ("/review/log", {}, 302, {**all_of(200), "recorder": 403}),
    ("review.analysis", "GET"): ("/review/analysis", {}, 302, all_of(200)),
    ("review.analysis_table", "GET"): ("/review/analysis/counts/pieces", {}, 302, all_of(200)),
    ("review.analysis_file", "GET"): ("/review/analysis/counts/pieces/file.json", {}, 302, all_of(200)),
    ("review.analysis_chart", "GET"): (
        "/review/analysis/counts/shares/0/chart-0.svg?ways=together", {}, 302, all_of(200),
    ),
    ("review.analysis_records", "GET"): (
        "/review/analysis/counts/pieces/0/records?row=0&ways=together", {}, 302, all_of(200),
    ),
    ("review.analysis_report", "GET"): ("/review/analysis/report/docx?context=none&file=1", {}, 302, all_of(200)),
    ("review.second_readings", "GET"): ("/review/second", {}, 302, all_of(200)),
    ("review.second_draw", "GET"): ("/review/second/draw", {}, 302, only(READING_AGAIN, 200)),
    ("review.second_drawn", "POST"): ("/review/second/draw", {"once": "x"}, 302, only(READING_AGAIN, 400)),
    ("review.second_of_draw", "GET"): (f"/review/second/draw/{NOBODY}", {}, 302, all_of(404)),
    ("review.second_table", "GET"): (f"/review/second/draw/{NOBODY}/agreement.csv", {}, 302, all_of(404)),
    ("review.second_end", "POST"): (f"/review/second/draw/{NOBODY}/end", {}, 302, only(READING_AGAIN, 404)),
    ("review.second_reading", "GET"): (f"/review/second/{NOBODY}", {}, 302, only(READING_AGAIN, 404)),
    ("review.second_saved", "POST"): (f"/review/second/{NOBODY}", {}, 302, only(READING_AGAIN, 404)),
    ("review.second_raise", "POST"): (f"/review/second/{NOBODY}/raise", {}, 302, only(READING_AGAIN, 404)),
    ("review.second_look", "POST"): (f"/review/second/{NOBODY}/look", {}, 302, only(READING_AGAIN, 404)),
    ("review.bones", "GET"): ("/review/beside", {}, 302, all_of(200)),
    ("review.beside", "GET"): ("/review/beside/femur", {}, 302, all_of(200)),
    **{
        ("review.nowhere", method): ("/review/nowhere", {}, 404, all_of(404))
        for method in ("GET", "POST", "PUT", "PATCH", "DELETE")
    },
}  # fmt: skip

# (endpoint, method): its address, a body, what each of TABLETS is answered.
API: dict[tuple[str, str], tuple[str, dict[str, Any] | None, tuple[int, int, int, int]]] = {
    ("sync.hello", "GET"): ("/api/v1/hello", None, (200, 200, 200, 200)),
    ("sync.enrol", "POST"): ("/api/v1/enrol", {"proof": "x", "notebook": "x"}, (403, 403, 403, 403)),
    ("sync.push", "POST"): ("/api/v1/push", {"changes": []}, (200, 401, 401, 401)),
    ("sync.pull", "GET"): ("/api/v1/pull", None, (200, 401, 401, 401)),
    ("sync.news", "GET"): ("/api/v1/news", None, (200, 401, 401, 401)),
    # With a token: what is asked for is none, and nothing is given.
    ("sync.life", "POST"): ("/api/v1/life", {"notebook": "x"}, (422, 401, 401, 401)),
    ("sync.carry_keys", "POST"): ("/api/v1/carry-keys", {"sign": "x", "seal": "x"}, (422, 401, 401, 401)),
    ("photos.wanted", "POST"): ("/api/v1/photos/wanted", {"photos": []}, (200, 401, 401, 401)),
    ("photos.have", "GET"): (f"/api/v1/photo/{PICTURE}", None, (200, 401, 401, 401)),
    ("photos.send", "PUT"): (f"/api/v1/photo/{PICTURE}?offset=0&size=1", None, (200, 401, 401, 401)),
    # With a token: the password is wrong.
    ("sync.key", "POST"): ("/api/v1/key", {"person": "x", "role": "x", "password": "x"}, (401, 401, 401, 401)),
}


def methods(scene: Scene) -> set[tuple[str, str]]:
    return {
        (rule.endpoint, method)
        for rule in scene.app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }


def test_every_route_and_method_is_in_the_table(scene: Scene) -> None:
    assert methods(scene) == {*DESK, *API}


def test_what_the_table_says_of_roles_is_what_the_roles_table_says() -> None:
    from fieldapp.assets import knowledge

    for roles, act in (
        (ASSESSING, "propose_assessment"), (RELEASING, "release"), (SETTLING, "settle_docket"),
        (READING_AGAIN, "second_reading"), (CARRYING, "carry"),
        (MANAGING, "manage_people"), (MANAGING, "manage_tablets"), (LETTING_IN, "see_tablets"),
        (LETTING_IN, "enrol_tablet"), (("director",), "name_assessor"), (EDITING, "edit_docket"),
        (SETTLING, "check_docket"), (EDITING_CONTEXTS, "edit_context"), (LOCKING, "lock_context"),
    ):  # fmt: skip
        assert {one for one in PEOPLE if knowledge().allowed(act, one) != "no"} == set(roles), act


class Somebody:
    """A browser, signed in or not, and, or, a tablet's headers."""

    def __init__(self, who: str, scene: Scene, rogue: Rogue) -> None:
        self.scene, self.headers = scene, {}
        if who == "foreign":
            self.headers = {**rogue.headers, "X-Notebook": an_id("another notebook")}
        elif who in ("tablet", "withdrawn"):
            self.headers = dict(rogue.headers)
        if who == "withdrawn":
            scene.cabin.devices.withdraw(next(one.letter for one in scene.cabin.devices.all() if one.name == "rogue"))
        self.visitor = scene.signed_in(who) if who in PEOPLE else scene.visitor()
        self.client: FlaskClient = self.visitor.client
        self.seen = rogue.seen()
        found = re.search(r'name="csrf" value="([^"]*)"', self.visitor.get("/review/today", follow=True).text)
        assert found
        self.csrf = found[1]

    def ask(self, endpoint: str, method: str) -> int:
        if (endpoint, method) in API:
            where, body, _ = API[endpoint, method]
            asked: dict[str, Any] = {"json": body} if body is not None else {}
        else:
            where, form, _, _ = DESK[endpoint, method]
            heads = f'{{"reading": {list(self.scene.record("disputed").heads["reading"])}}}'.replace("'", '"')
            count = f'{{"count": {list(self.scene.record("rib").heads["count"])}}}'.replace("'", '"')
            known = {"HEADS": heads, "COUNT": count, "SEEN": self.seen}
            asked = (
                {}
                if method == "GET"
                else {"data": {**{k: known.get(v, v) for k, v in form.items()}, "csrf": self.csrf}}
            )
        answer = self.client.open(where, method=method, base_url=BASE, headers=self.headers, buffered=True, **asked)
        if method == "GET" and answer.status_code == 302 and endpoint not in ("way_in", "review.front"):
            assert answer.location.startswith(("/review/sign-in", "/review/today"))
        return answer.status_code


def ordered(scene: Scene) -> list[tuple[str, str]]:
    """Signing out last."""
    return sorted(methods(scene), key=lambda one: (one[0] in ("review.sign_out", "review.language"), one))


@pytest.mark.parametrize("who", [*PEOPLE, *TABLETS])
def test_everybody_is_answered_as_the_table_says(who: str, scene: Scene, rogue: Rogue) -> None:
    somebody = Somebody(who, scene, rogue)
    for endpoint, method in ordered(scene):
        if (endpoint, method) in API:
            # Who is signed in at the desk has no token.
            expected = API[endpoint, method][2][TABLETS.index(who if who in TABLETS else "no token")]
        else:
            _, _, signed_out, roles = DESK[endpoint, method]
            expected = roles.get(who, signed_out)
        assert somebody.ask(endpoint, method) == expected, (who, method, endpoint)


@pytest.mark.parametrize("who", ["director", "no token"])
def test_no_other_method_is_taken_anywhere(who: str, scene: Scene, rogue: Rogue) -> None:
    somebody = Somebody(who, scene, rogue)
    head, data = scene.cabin.ledger.names().head, {"csrf": somebody.csrf}

    def ask(method: str, where: str, **more: Any) -> Any:
        return somebody.client.open(where, method=method, base_url=BASE, buffered=True, **more)

    for where in {one[0] for one in (*DESK.values(), *API.values())} - {"/review/nowhere"}:
        path = where.partition("?")[0]
        taken = {method for (_, method), one in (*DESK.items(), *API.items()) if one[0].partition("?")[0] == path}
        for method in {"POST", "PUT", "DELETE", "TRACE"} - taken:
            assert ask(method, where, data=data).status_code in (404, 405), (method, where)
        assert not ask("HEAD", where).data
        assert ask("OPTIONS", where).status_code in (200, 401, 405), where
    assert scene.cabin.ledger.names().head == head


def test_a_captured_push_said_again_changes_nothing(scene: Scene, rogue: Rogue) -> None:
    rogue.tablet.docket("captured")
    assert rogue.push() == ["taken"]
    before = (scene.cabin.ledger.names().head, scene.record("captured").head_ids())
    for _ in range(3):
        assert rogue.push() == ["known"]
    assert (scene.cabin.ledger.names().head, scene.record("captured").head_ids()) == before


def test_a_captured_enrolment_said_again_lets_nobody_in(scene: Scene) -> None:
    secret, _ = enrolment.parse(scene.cabin.devices.open_code().text)
    shared = enrolment.key(secret, scene.cabin.fingerprint)
    client = scene.app.test_client()
    said = {"proof": enrolment.tablets_proof(shared, an_id("n")), "notebook": an_id("n"), "name": "n"}
    first = client.post("/api/v1/enrol", json=said, base_url=BASE)
    assert first.status_code == 200
    head = {"Authorization": f"Bearer {first.json['token']}", "X-Notebook": an_id("n")}  # type: ignore[index]
    other = {**said, "notebook": an_id("m")}
    assert client.post("/api/v1/enrol", json=other, base_url=BASE).status_code == 403
    # Until then the answer might have been lost on the way, and the same tablet may ask again.
    assert client.get("/api/v1/pull", headers=head, base_url=BASE).status_code == 200
    for again in (said, other):
        assert client.post("/api/v1/enrol", json=again, base_url=BASE).status_code == 403
    assert client.get("/api/v1/pull", headers=head, base_url=BASE).status_code == 200, "the first still works"
