"""The pages in another language: by the browser's wish, or as chosen; and nothing of it for the next reader."""

from __future__ import annotations

import re

from fieldapp import assets
from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.scene import Scene


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
    visitor = scene.signed_in("director")
    for path in EVERY_PAGE:
        answer = visitor.get(path, language="de")
        assert answer.status_code == (404 if path.endswith("nowhere") else 200), path
        assert '<html lang="de">' in answer.text, path
