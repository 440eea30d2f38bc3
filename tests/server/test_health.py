"""`/health` tells whoever watches whether the cabin is well, and nothing else."""

from __future__ import annotations

import json
import shutil
import threading
import time
from collections import namedtuple
from importlib.metadata import version

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from server import health
from server.keeping.backing_up import FAILED, back_up
from tests.server.keeping.conftest import fill

KEYS = {"state", "version", "ledger", "rules", "backup", "disk", "troubles"}


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    """Nothing is remembered from one question to the next."""
    monkeypatch.setattr(health, "FRESH", 0.0)


def ask(client, **headers):
    answer = client.get("/health", headers=headers)
    return answer.status_code, answer.get_json()


def test_a_cabin_that_is_well_says_so_without_a_sign_in(client, cabin):
    while cabin.ledger.check_due():
        pass
    status, said = ask(client)
    assert status == 200
    assert said == {
        "state": "ok",
        "version": version("bonedocket"),
        "ledger": {"readable": True, "writable": True},
        "rules": {"due": False, "seconds": None},
        "backup": {"at": None, "hours": None, "failed": False},
        "disk": "ok",
        "troubles": [],
    }


def test_nothing_that_is_recorded_shows_in_it(client, cabin):
    tablet = fill(cabin)
    tablet.human("d2", "stop", "second")
    cabin.ledger.accept(tablet.entries(), tablet.id)
    for kind in ("application/json", "text/html"):
        body = client.get("/health", headers={"Accept": kind}).text
        for secret in (
            "TST26",
            "Test field",
            "B. Bone",
            "spade",
            tablet.id,
            cabin.ledger.names().epoch,
        ):
            assert secret not in body
    assert set(ask(client)[1]) == KEYS


def test_a_browser_gets_a_page_in_its_language_and_a_program_json(client):
    page = client.get("/health", headers={"Accept": "text/html,*/*;q=0.8"})
    assert page.mimetype == "text/html"
    assert "The cabin is well" in page.text
    assert "script" not in page.text
    assert client.get("/health").mimetype == "application/json"
    assert client.get("/health", headers={"Accept": "application/json"}).mimetype == "application/json"


def test_it_tells_that_rules_are_due_and_for_how_long(client, cabin, monkeypatch):
    with cabin.ledger.database.writing() as connection:
        connection.execute(text("update record set due = true"))
    assert ask(client)[1]["rules"] == {"due": True, "seconds": 0}
    monkeypatch.setattr(health, "LONG_DUE", -1.0)
    status, said = ask(client)
    assert (status, said["state"]) == (503, "troubled")
    assert "rules" in said["troubles"][0]
    while cabin.ledger.check_due():
        pass
    assert ask(client)[1]["rules"] == {"due": False, "seconds": None}


def test_it_tells_the_last_backup_s_age_and_that_one_failed(client, cabin, clock, tmp_path):
    back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    at = cabin.ledger.now()
    clock.forward(hours=30)
    assert ask(client)[1]["backup"] == {"at": at, "hours": 30, "failed": False}
    assert "30 hours" in client.get("/health", headers={"Accept": "text/html"}).text
    cabin.ledger.note(FAILED, "cabin", {"why": "OSError"})
    status, said = ask(client)
    assert status == 503
    assert said["backup"] == {"at": at, "hours": 30, "failed": True}


def test_a_disk_that_is_nearly_full_is_a_trouble(client, monkeypatch):
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**12, 10**12 - 10**8, 10**8))
    status, said = ask(client)
    assert (status, said["disk"]) == (503, "low")


def test_a_ledger_that_cannot_be_read_or_written_is_a_trouble(client, cabin, monkeypatch):
    def broken():
        raise OperationalError("select 1", {"secret": "walrus"}, Exception("secret walrus"))

    monkeypatch.setattr(cabin.ledger.database, "writing", broken)
    status, said = ask(client)
    assert (status, said["ledger"]) == (503, {"readable": True, "writable": False})
    monkeypatch.setattr(cabin.ledger.database, "reading", broken)
    status, said = ask(client)
    assert (status, said["ledger"]) == (503, {"readable": False, "writable": False})
    assert "walrus" not in json.dumps(said)


def test_a_ledger_that_is_busy_is_waited_for_and_one_that_stays_so_is_a_trouble(client, cabin, monkeypatch):
    monkeypatch.setattr(health, "PATIENCE", 0.05)
    held, free = threading.Event(), threading.Event()

    def hold() -> None:
        with cabin.ledger.database.writing():
            held.set()
            free.wait(30)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait()
    try:
        begun = time.monotonic()
        assert ask(client)[0] == 200
        assert time.monotonic() - begun < 5
        monkeypatch.setattr(health, "STUCK", 0.0)
        status, said = ask(client)
        assert (status, said["ledger"]["writable"]) == (503, False)
    finally:
        free.set()
        thread.join()
    monkeypatch.setattr(health, "PATIENCE", 10.0)
    assert ask(client)[0] == 200


def test_whoever_asks_often_does_not_make_it_look_often(client, cabin, monkeypatch):
    monkeypatch.setattr(health, "FRESH", 60.0)
    looked = []
    reading = cabin.ledger.database.reading
    monkeypatch.setattr(cabin.ledger.database, "reading", lambda: looked.append(1) or reading())
    for _ in range(50):
        assert ask(client)[0] == 200
    assert len(looked) == 1


def test_asking_writes_nothing(client, cabin):
    def state() -> tuple[object, ...]:
        file = cabin.config.ledger
        return file.exists() and file.stat().st_mtime_ns, cabin.ledger.names(), len(cabin.ledger.events())

    before = state()
    for _ in range(5):
        ask(client)
    assert state() == before
