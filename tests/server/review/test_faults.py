"""Errors under /review are pages in words; under /api they stay JSON."""

from __future__ import annotations

import pytest

from tests.server.review.scene import BASE, Scene
from tests.server.tablets import SITE, an_id, context_id


@pytest.mark.parametrize(
    "path",
    [
        "/review/nowhere",
        "/review/docket/none-such",
        "/review/context/none-such",
        f"/review/docket/{context_id(SITE, '1042')}",
        f"/review/context/{an_id('disputed')}",
        f"/review/hold/{an_id('disputed')}",
        f"/review/disagreement/{an_id('disputed')}/nothing",
        f"/review/disagreement/{SITE}/name",
    ],
)
def test_what_is_not_there_is_said_in_words(scene: Scene, path: str) -> None:
    answer = scene.signed_in("director").get(path)
    assert answer.status_code == 404
    assert answer.mimetype == "text/html"
    assert "There is no such page or record" in answer.get_data(as_text=True)
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'self'")


def test_human_readings_and_holds_have_no_disagreement_to_settle(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    path = next(one for one in scene.record("stop").heads if one.startswith("human/"))
    assert visitor.get(f"/review/disagreement/{an_id('stop')}/{path}").status_code == 404
    hold = next(one for one in scene.cabin.ledger.records("hold") if one.value("docket") == an_id("stop"))
    assert visitor.get(f"/review/disagreement/{hold.id}/zone").status_code == 404


def test_a_page_that_is_only_read_takes_no_form(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    token = visitor.form("/review/today", "/review/sign-out")
    answer = visitor.post("/review/today", token)
    assert answer.status_code in (404, 405)
    assert "Nothing was changed" in answer.get_data(as_text=True)


def test_a_fault_of_the_program_is_a_page_too(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    visitor = scene.signed_in("director")
    monkeypatch.setitem(scene.app.config, "TESTING", False)
    monkeypatch.setitem(scene.app.config, "PROPAGATE_EXCEPTIONS", False)
    monkeypatch.setattr(type(scene.cabin.ledger), "counts", lambda self: 1 / 0)
    answer = visitor.get("/review/today")
    assert answer.status_code == 500
    assert answer.mimetype == "text/html"
    assert "What was saved before is kept" in answer.get_data(as_text=True)
    monkeypatch.setattr(type(scene.cabin.ledger), "site", lambda self: 1 / 0)
    answer = visitor.get("/review/today")
    assert answer.status_code == 500
    assert "What was saved before is kept" in answer.get_data(as_text=True)


def test_the_api_still_answers_in_json(scene: Scene) -> None:
    answer = scene.app.test_client().get("/api/v1/nowhere", base_url=BASE)
    assert answer.status_code == 404
    assert answer.mimetype == "application/json"
