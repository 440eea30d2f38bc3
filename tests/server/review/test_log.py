"""The log at the desk: who reads it, by kind and day, in pages, and what is never in it."""

from __future__ import annotations

import json
import re

import pytest

from fieldapp.assets import texts
from server.ledger import events
from server.review.log import KINDS, LINES
from tests.server.conftest import Clock
from tests.server.review.scene import PEOPLE, PLACE, Scene
from tests.server.tablets import an_id

ROWS = re.compile(r"<tbody>(.*?)</tbody>", re.S)
READERS = {"supervisor", "zooarchaeologist", "human_osteologist", "director", "administrator"}


def rows(text: str) -> list[str]:
    found = ROWS.search(text)
    return re.findall(r"<tr>.*?</tr>", found[1], re.S) if found else []


@pytest.mark.parametrize("role", PEOPLE)
def test_a_supervisor_and_up_read_the_log(scene: Scene, role: str) -> None:
    visitor = scene.signed_in(role)
    assert visitor.get("/review/log").status_code == (200 if role in READERS else 403)
    assert ('href="/review/log"' in visitor.get("/review/today").text) == (role in READERS)


def test_the_newest_line_comes_first_with_who_did_it(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    account = scene.accounts["recorder"][0]
    scene.cabin.accounts.withdraw(account.person, "recorder", revoke_keys=False, by=scene.accounts["director"][0].by)
    first = rows(visitor.get("/review/log").text)[0]
    assert "<bdi>Linnet</bdi>" in first
    assert "Linnet switched off the account of Wren (recorder)." in first


def test_lines_can_be_had_by_kind_and_by_day(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("director")
    begun = scene.cabin.ledger.clock().date()
    clock.forward(days=1)
    scene.cabin.ledger.note("new_epoch", "cabin", {"why": "a free word"})
    visitor = scene.signed_in("director")
    all_lines = rows(visitor.get("/review/log").text)
    by_kind = {kind: rows(visitor.get(f"/review/log?kind={kind}").text) for kind in (*KINDS, "other")}
    assert sorted(one for lines in by_kind.values() for one in lines) == sorted(all_lines)
    assert all("signed in" in one or "sign-in" in one for one in by_kind["sign_in"])
    assert len(by_kind["other"]) == 1
    for day in (begun, scene.cabin.ledger.clock().date()):
        found = rows(visitor.get(f"/review/log?day={day}").text)
        assert found == [one for one in all_lines if f'datetime="{day}' in one]
        assert found
    assert rows(visitor.get(f"/review/log?day={begun}&kind=other").text) == []


@pytest.mark.parametrize(
    "query",
    [
        "day=yesterday",
        "day=2026-02-30",
        "day=9999-12-31",
        "day=0001-01-01",
        "kind=%3Cb%3E",
        "below=x",
        "below=-1",
        "below=" + "9" * 30,
    ],
)
def test_what_is_no_day_no_kind_and_no_number_breaks_nothing(scene: Scene, query: str) -> None:
    answer = scene.signed_in("director").get(f"/review/log?{query}")
    assert answer.status_code == 200
    assert "<b>" not in answer.text.partition("<main")[2]
    assert ("That is no day" in answer.text) == (query in ("day=yesterday", "day=2026-02-30"))


def test_every_line_is_on_one_page_and_on_one_only(scene: Scene) -> None:
    with scene.cabin.ledger.database.writing() as connection:
        for n in range(2 * LINES + 5):
            fields = {"letter": f"Q{n}", "name": ""}
            events.note(connection, "code_opened", "cabin", scene.cabin.ledger.now(), fields)
    visitor = scene.signed_in("director")
    page, found, pages = "/review/log?kind=tablets", [], 0
    while page:
        text = visitor.get(page).text
        found += re.findall(r"the letter (Q\d+)\.", text)
        assert len(rows(text)) <= LINES
        pages += 1
        older = re.search(r'href="([^"]*below=\d+)"', text)
        page = older[1].replace("&amp;", "&") if older else ""
        assert pages < 10
    assert found == [f"Q{n}" for n in reversed(range(2 * LINES + 5))]
    assert pages == 3


def test_neither_free_words_nor_places_nor_passwords_are_in_it(scene: Scene) -> None:
    secret = "walrus-quoin-lantern"
    ledger = scene.cabin.ledger
    for what in (*(one for kinds in KINDS.values() for one in kinds), "new_epoch", "something_new"):
        free = ("why", "note", "ref", "place", "password", "address", "id", "answer")
        ledger.note(what, an_id("x"), {**dict.fromkeys(free, secret), "n": 1, "after": 1, "before": 2})
    for what in ("code_refused", "sign_in_refused"):
        ledger.note(what, secret, {"name": secret, "person": secret, "role": "director"})
    visitor = scene.signed_in("director")
    text = visitor.get("/review/log").text
    assert secret not in text
    assert PLACE not in text
    assert len(rows(text)) > sum(map(len, KINDS.values()))


def test_every_kind_of_line_has_a_sentence(scene: Scene) -> None:
    known = texts()
    kinds = [one for kinds in KINDS.values() for one in kinds]
    assert [one for one in kinds if f"cabin.event.{one}" not in known] == []


def test_a_damaged_line_is_shown_by_its_name(scene: Scene) -> None:
    with scene.cabin.ledger.database.writing() as connection:
        connection.exec_driver_sql(
            "INSERT INTO event (at, what, who, fields) VALUES (?, ?, ?, ?)",
            (scene.cabin.ledger.now(), "person_added", "", json.dumps({"name": ["x"], "role": {"a": 1}})),
        )
    assert scene.signed_in("director").get("/review/log").status_code == 200
