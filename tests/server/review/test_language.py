"""The pages in another language: by the browser's wish, or as chosen; and nothing of it for the next reader."""

from __future__ import annotations

import re

import pytest

from fieldapp import assets
from fieldapp.records.schemas import SHAPES
from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.scene import Scene
from tests.server.tablets import an_id


def test_the_browser_s_language_is_spoken_where_it_is_known(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    german = visitor.get("/review/contexts", language="de-AT,de;q=0.9,en;q=0.5")
    assert '<html lang="de">' in german.text
    assert assets.texts_in("de")["review.nav.contexts"] in german.text
    other = visitor.get("/review/contexts", language="ja")
    assert '<html lang="en">' in other.text
    assert assets.spoken() == "en"


def test_a_chosen_language_stays_for_the_session(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    page = visitor.get("/review/contexts").text
    csrf = re.search(r'name="csrf" value="([^"]+)"', page)
    assert csrf is not None
    sent = visitor.post("/review/language", data={"csrf": csrf[1], "to": "de", "next": "/review/contexts"})
    assert sent.status_code == 302
    assert sent.headers["Location"].endswith("/review/contexts")
    assert '<html lang="de">' in visitor.get("/review/today").text


def test_a_language_that_is_not_there_changes_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    csrf = re.search(r'name="csrf" value="([^"]+)"', visitor.get("/review/contexts").text)
    assert csrf is not None
    visitor.post("/review/language", data={"csrf": csrf[1], "to": "xx", "next": "https://elsewhere.example/"})
    assert '<html lang="en">' in visitor.get("/review/today").text


def test_every_page_answers_in_german(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    for path in EVERY_PAGE:
        answer = visitor.get(path, language="de")
        wanted = 404 if path.endswith("nowhere") else 400 if path.endswith("moon") else 200
        assert answer.status_code == wanted, path
        assert '<html lang="de">' in answer.text, path


def test_why_a_change_could_not_be_read_is_said_in_the_page_s_language(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    own, english = (assets.texts_in(lang)["cabin.aside.damaged"] for lang in ("de", "en"))
    assert own in visitor.get("/review/today", language="de").text
    assert english in visitor.get("/review/today").text


def test_what_an_older_ledger_says_in_words_stays_as_it_was_written(scene: Scene) -> None:
    old = {"notebook": None, "why": "its text was of no sort (an older word)"}
    scene.cabin.ledger.note("kept_unread", "somebody", old)
    assert old["why"] in scene.signed_in("supervisor").get("/review/today", language="de").text


def test_german_does_not_decline_what_a_sentence_is_given(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    assert "von unbekannte" not in visitor.get("/review/today", language="de").text
    assert assets.texts_in("de")["review.notebook.none"] in visitor.get("/review/today", language="de").text


def test_a_reading_has_the_word_order_of_its_language(scene: Scene) -> None:
    page = f"/review/docket/{an_id('heavy')}"
    visitor = scene.signed_in("supervisor")
    english, german = assets.texts_in("en"), assets.texts_in("de")
    side, bone, bird = ("side.right", "element.femur", "taxon.fowl")
    assert f"{english[side]} {english[bone]}, {english[bird]}" in visitor.get(page).text
    told = visitor.get(page, language="de").text
    assert f"{german[side]} {german[bone]}" not in told
    assert f"{german[bone]}, {german[side]}, {german[bird]}" in told


def test_the_page_s_words_for_a_path_are_there_for_every_path_that_is_known() -> None:
    for kind, paths in SHAPES.items():
        for path in paths:
            found = [assets.texts_in("en").get(f"{of}.field.{path}", "{") for of in ("review", "sheets")]
            assert any("{" not in one for one in found), f"{kind}: {path}"


@pytest.mark.parametrize("why", ["restored", "cursor", "carried"])
def test_why_an_epoch_began_is_said_in_the_page_s_language(scene: Scene, why: str) -> None:
    scene.cabin.ledger.renew(f"cabin.epoch.{why}")
    assert assets.texts_in("de")[f"cabin.epoch.{why}"] in scene.signed_in("supervisor").get(
        "/review/today", language="de"
    ).text.replace("&#39;", "'")
