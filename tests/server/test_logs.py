"""The log says what happened and how long it took, and nothing of what is recorded, by whom, where or from where."""

from __future__ import annotations

import errno
import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError

from fieldapp.records import enrolment
from server import logs
from server.ledger import checks
from tests.server.tablets import Tablet, an_id, reading

POISON = "poison-walrus-cedar"


@pytest.fixture
def file(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "logs" / "cabin.log"
    handler = logs.begin(str(path))
    yield path
    logs.end(handler)


def lines(file: Path) -> list[dict]:
    return [json.loads(line) for line in file.read_text("utf-8").splitlines()]


@pytest.fixture
def enrolled(cabin, client) -> tuple[Tablet, dict[str, str]]:
    """A tablet that is let in, and what goes with its requests."""
    tablet = Tablet()
    code = cabin.devices.open_code(POISON)
    secret, _ = enrolment.parse(code.text)
    shared = enrolment.key(secret, cabin.fingerprint)
    asked = {"proof": enrolment.tablets_proof(shared, tablet.id), "notebook": tablet.id, "name": POISON}
    token = client.post("/api/v1/enrol", json=asked).get_json()["token"]
    return tablet, {"Authorization": f"Bearer {token}", "X-Notebook": tablet.id}


def push(client, tablet: Tablet, headers: dict[str, str]):
    changes = [{"id": one, "body": body} for one, body in tablet.entries()]
    return client.post("/api/v1/push", json={"changes": changes}, headers=headers)


def test_a_request_is_a_line_with_its_route_s_pattern_and_no_address(file, client, enrolled):
    tablet, headers = enrolled
    tablet.docket("a", note=POISON)
    assert push(client, tablet, headers).status_code == 200
    client.get(f"/review/docket/{an_id('a')}?{POISON}=1", environ_base={"REMOTE_ADDR": "203.0.113.77"})
    client.get(f"/nowhere/{POISON}", headers={"User-Agent": POISON, "Referer": POISON})
    client.open("/health", method="POISON-" + POISON)
    found = [line for line in lines(file) if line["event"] == "request"]
    assert [(line["route"], line["method"], line["status"]) for line in found[-4:]] == [
        ("/api/v1/push", "POST", 200),
        ("/review/docket/<docket>", "GET", 302),
        ("", "GET", 404),
        ("", "?", 405),
    ]
    assert found[-4]["tablet"] == "A"
    assert "tablet" not in found[-3]
    assert all(
        set(line) <= {"time", "level", "event", "route", "method", "status", "ms", "bytes", "tablet"} for line in found
    )
    assert all(isinstance(line["ms"], int) and line["bytes"] > 0 for line in found[-4:-3])
    nowhere(file, POISON, an_id("a"), tablet.id, "203.0.113", headers["Authorization"].split()[1])


def nowhere(file: Path, *secrets: str) -> None:
    said = file.read_text("utf-8")
    assert said
    for one in secrets:
        assert one not in said


def test_a_fault_is_told_by_its_kind_and_place_without_what_it_says(file, client, cabin, enrolled, monkeypatch, app):
    tablet, headers = enrolled
    tablet.docket("a", note=POISON)

    def breaks(entries, source):
        try:
            {}[POISON]
        except KeyError as fault:
            raise IntegrityError(f"insert {POISON}", {"body": entries[0][1]}, Exception(POISON)) from fault

    monkeypatch.setattr(cabin.ledger, "accept", breaks)
    app.config.update(TESTING=False, PROPAGATE_EXCEPTIONS=False)
    assert push(client, tablet, headers).status_code == 500
    (line,) = [line for line in lines(file) if "fault" in line]
    assert [one["type"] for one in line["fault"]] == ["sqlalchemy.exc.IntegrityError", "builtins.KeyError"]
    assert any(step.endswith(" breaks") for step in line["fault"][0]["at"])
    assert line["route"] == "/api/v1/push"
    assert line["level"] == "error"
    nowhere(file, POISON, an_id("a"), tablet.id)


def test_rules_that_stop_at_a_record_leave_nothing_of_it_in_the_log_and_no_other_unlooked_at(file, cabin, monkeypatch):
    tablet = Tablet()
    tablet.docket("a", note=POISON)
    tablet.docket("b", reading=reading("femur", "human"), context=None)
    cabin.ledger.accept(tablet.entries(), tablet.id)
    labels, closed = checks._labels, []

    def stops(connection, records):
        for one in records:
            if one.id == an_id("a"):
                raise ValueError(f"cannot read {one.id} {one.value('note')}")
        return labels(connection, records)

    monkeypatch.setattr(checks, "_labels", stops)
    monkeypatch.setattr(cabin.photos, "close_what_is_closed", lambda: closed.append(1))
    stopped = []
    monkeypatch.setattr(cabin._wake, "wait", lambda: stopped.append(1) or (len(stopped) > 1 and cabin._closing.set()))
    cabin._work()
    told = [line for line in lines(file) if line["event"] == "rules_stopped"]
    assert {line["fault"][0]["type"] for line in told} == {"builtins.ValueError"}
    assert cabin.ledger.due() == 1
    assert [one.docket for one in cabin.ledger.holds() if one.raised] == [an_id("b")], "raised by a rule"
    assert closed, "pictures of holds are closed all the same"
    nowhere(file, POISON, an_id("a"))


def test_what_libraries_say_is_a_line_without_their_words(file):
    logging.getLogger("some.library").warning("could not send %s", POISON)
    logging.getLogger("server.serving").info(f"broken: {POISON}")
    try:
        raise ExceptionGroup(POISON, [ValueError(POISON)])
    except ExceptionGroup:
        logging.getLogger("some.library").exception(POISON, stack_info=True)
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("always")
        logging.captureWarnings(True)
        warnings.warn(POISON, stacklevel=1)
    found = lines(file)
    assert len(found) == 4
    assert found[0]["where"].startswith("some.library test_logs:")
    nowhere(file, POISON)


def test_a_file_begins_anew_at_a_size_and_the_old_ones_are_let_go_of(tmp_path, monkeypatch):
    monkeypatch.setattr(logs, "LARGEST", 2000)
    monkeypatch.setattr(logs, "KEPT", 2)
    handler = logs.begin(str(tmp_path / "cabin.log"))
    for _ in range(100):
        logging.getLogger("server.x").info("x", extra={"event": "x"})
    logs.end(handler)
    found = sorted(tmp_path.iterdir())
    assert [path.name for path in found] == ["cabin.log", "cabin.log.1", "cabin.log.2"]
    assert all(path.stat().st_size <= 2000 and path.stat().st_mode & 0o777 == 0o600 for path in found)
    assert all(json.loads(line)["event"] == "x" for path in found for line in path.read_text().splitlines())


def test_a_log_whose_disk_is_full_does_not_stop_the_cabin_nor_say_anything_aloud(file, capfd, client, monkeypatch):
    handler = next(one for one in logging.getLogger().handlers if isinstance(one, logging.FileHandler))

    def full(_: str) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(handler.stream, "write", full)
    assert client.get("/health").status_code == 200
    logging.getLogger("server.x").error(POISON)
    assert POISON not in "".join(capfd.readouterr())


def test_on_the_screen_it_is_standard_error(capfd, client):
    handler = logs.begin("-")
    client.get("/api/v1/hello")
    logs.end(handler)
    out, err = capfd.readouterr()
    assert out == ""
    assert json.loads(err.splitlines()[-1])["route"] == "/api/v1/hello"
