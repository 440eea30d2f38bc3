"""Whatever is sent, the cabin goes on: no fault of its own in the answer, no thread lost, the next tablet is served.

`make proof` sends a hundred thousand; the usual run a few. How requests may end is HTTP's (RFC 9112, from memory); a
version nobody speaks is answered 505 there, which is no fault of the cabin.
"""

from __future__ import annotations

import contextlib
import os
import random
import re
import socket
import ssl
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fieldapp.store.notebook import Notebook
from fieldapp.sync import enrol as enrolling
from fieldapp.sync.exchange import exchange
from fieldapp.sync.transport import HttpsTransport
from server import create_app
from server.cabin import Cabin, set_up
from server.config import Config
from server.door import MOST
from server.serving import Serving
from tests.attack.malformed import TLS_SAID, Maker
from tests.server.apps import QUICK
from tests.server.conftest import Clock
from tests.server.tablets import CODE, Tablet, an_id
from tests.sync.conftest import new_notebook

__all__ = ["new_notebook"]

ROUNDS = int(os.environ.get("PROOF_ROUNDS", "200"))
SEED = int(os.environ.get("PROOF_SEED", "0")) or os.getpid()


@pytest.fixture
def config(tmp_path: Path, clock: Clock) -> Config:
    config = Config(tmp_path / "cabin", host="127.0.0.1", port=0, clock=clock, testing=True)
    set_up(config, code=CODE, name="Test field")
    return config


@pytest.fixture
def serving(config: Config) -> Iterator[Serving]:
    with Serving(replace(config, testing=False), QUICK) as serving:
        yield serving


def enrolled(cabin: Cabin, client: Any, tablet: Tablet) -> dict[str, str]:
    from fieldapp.records import enrolment

    secret, _ = enrolment.parse(cabin.devices.open_code().text)
    proof = enrolment.tablets_proof(enrolment.key(secret, cabin.fingerprint), tablet.id)
    token = client.post("/api/v1/enrol", json={"proof": proof, "notebook": tablet.id, "name": "T"}).json["token"]
    return {"Authorization": f"Bearer {token}", "X-Notebook": tablet.id}


def thrown(config: Config, clock: Clock, seed: int, number: int) -> Counter[tuple[str, int]]:
    """{(kind, status): how often} of so many requests into the app; then a tablet's exchange."""
    app = create_app(config, QUICK)
    app.config.update(TESTING=False, PROPAGATE_EXCEPTIONS=False)
    cabin, client = app.extensions["bonedocket.cabin"], app.test_client()
    good = Tablet("good")
    head, maker, found = enrolled(cabin, client, good), Maker(seed), Counter[tuple[str, int]]()
    print(f"seed {seed}")
    for nr in range(number):
        if nr % 300 == 0:
            # Otherwise all that follows would be refused for what came before.
            clock.forward(hours=1)
        one = maker.one()
        known = head if maker.dice.random() < 0.7 else {}
        sent = {"Content-Type": "application/json", **known, **one.headers}
        answer = client.open(
            one.path, method=one.method, data=one.body, headers=sent, environ_overrides=one.environ, buffered=True
        )
        assert answer.status_code < 500, (
            seed,
            nr,
            one.kind,
            one.method,
            one.path,
            one.headers,
            one.environ,
            one.body[:500],
        )
        if one.path.startswith("/api/v1") and one.method != "HEAD" and answer.status_code >= 400:
            assert answer.json["code"] == answer.status_code, (seed, nr)
        found[one.kind, answer.status_code] += 1
    good.docket("afterwards")
    entries = [{"id": one, "body": body} for one, body in good.entries()]
    taken = client.post("/api/v1/push", json={"changes": entries}, headers=head)
    assert [one["answer"] for one in taken.json["answers"]] == ["taken"]
    assert cabin.ledger.rebuild_matches()
    cabin.close()
    return found


def test_no_malformed_request_is_answered_with_a_fault(config: Config, clock: Clock) -> None:
    found = thrown(config, clock, 1, 1_200)
    kinds = {kind for kind, _ in found}
    assert kinds == {
        "noise", "bytes", "parts", "inner", "packed", "deep", "numbers", "twice", "typed", "headed", "queried", "bomb",
        "lean", "sent",
    }  # fmt: skip
    assert {200, 400, 401, 403, 404, 405, 409, 413, 415, 422, 429} <= {status for _, status in found}


@pytest.mark.proof
def test_nor_is_any_of_very_many(config: Config, clock: Clock) -> None:
    found = thrown(config, clock, SEED, ROUNDS * 500)
    assert found.total() == ROUNDS * 500


# -- at the door itself


@contextlib.contextmanager
def connected(serving: Serving) -> Iterator[ssl.SSLSocket]:
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with socket.create_connection(("127.0.0.1", serving.port), 10) as plain, context.wrap_socket(plain) as one:
        yield one


def said(serving: Serving, words: bytes) -> bytes:
    """All that is answered to these words, until the cabin ends the connection or is silent."""
    found = b""
    with connected(serving) as one, contextlib.suppress(OSError):
        one.sendall(words)
        one.settimeout(0.15)
        while part := one.recv(10_000):
            found += part
    return found


def statuses(answer: bytes) -> list[int]:
    return [int(one) for one in re.findall(rb"HTTP/1\.[01] (\d{3}) ", answer)]


def works(serving: Serving, notebook: Notebook) -> None:
    """A tablet, let in now if it has never been here, sends what it has."""
    if enrolling.enrolled(notebook) is None:
        enrolling.enrol(notebook, f"127.0.0.1:{serving.port}", serving.cabin.devices.open_code().text)
    found = enrolling.enrolled(notebook)
    assert found is not None
    record = an_id(notebook.folder.name)
    notebook.save("docket", record, {"count": 1}, {}, {"person": "p", "name": "A. Digger", "role": "recorder"})
    with HttpsTransport(f"127.0.0.1:{serving.port}", found.fingerprint, notebook=notebook.id, token=found.token) as way:
        assert exchange(notebook, way).sent == 1
    assert serving.cabin.ledger.record(record) is not None
    assert all(one.is_alive() for one in serving._server.requests._threads)


def test_what_is_said_wrongly_at_the_door_is_refused_and_the_next_is_served(
    serving: Serving, new_notebook: Callable[[str], Notebook]
) -> None:
    for words in TLS_SAID:
        answered = statuses(said(serving, words))
        assert all(one < 500 or one == 505 for one in answered), words[:200]
    works(serving, new_notebook("after"))


@pytest.mark.parametrize("words", [one for one in TLS_SAID if b"Transfer-" in one or one.count(b"Content-Length") > 1])
def test_a_request_whose_end_could_be_seen_in_two_places_is_refused_once_and_nothing_behind_it_is_read(
    serving: Serving, words: bytes
) -> None:
    answered = statuses(said(serving, words + b"GET /api/v1/hello HTTP/1.1\r\nHost: x\r\n\r\n"))
    assert answered == [400], words


def test_noise_over_sockets_ends_no_thread(serving: Serving, new_notebook: Callable[[str], Notebook]) -> None:
    noise(serving, new_notebook("after"), 1, 25)


@pytest.mark.proof
def test_much_noise_over_sockets_ends_no_thread(serving: Serving, new_notebook: Callable[[str], Notebook]) -> None:
    noise(serving, new_notebook("after"), SEED, ROUNDS * 3)


def noise(serving: Serving, notebook: Notebook, seed: int, number: int) -> None:
    dice, maker = random.Random(seed), Maker(seed)
    print(f"seed {seed}")
    # Before: much noise holds so many guesses at codes that none is taken for a while.
    enrolling.enrol(notebook, f"127.0.0.1:{serving.port}", serving.cabin.devices.open_code().text)
    for _ in range(number):
        if dice.random() < 0.5:
            words = bytearray(dice.choice(TLS_SAID)[:2_000])
            for _ in range(dice.randint(1, 5)):
                words[dice.randrange(len(words))] = dice.randrange(256)
        else:
            one = maker.one()
            length = len(one.body) + dice.choice((0, 0, 0, -1, 1, 10))
            heads = {"Host": "x", "Content-Type": "application/json", "Content-Length": str(length), **one.headers}
            lines = "".join(f"{name}: {value}\r\n" for name, value in heads.items())
            text = f"{one.method} {one.path} HTTP/1.1\r\n{lines}\r\n"
            words = bytearray(text.encode("latin-1", "replace") + one.body)
        answered = statuses(said(serving, bytes(words)))
        assert all(one < 500 or one == 505 for one in answered), (seed, bytes(words[:500]))
    works(serving, notebook)


def test_however_many_stand_in_the_door_half_open_a_tablet_comes_in(
    serving: Serving, new_notebook: Callable[[str], Notebook]
) -> None:
    """They come again as soon as they are let go, from one address, in every state in which one can be silent."""
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    end, held = threading.Event(), Counter[str]()

    def stand(nr: int) -> None:
        dice = random.Random(nr)
        while not end.wait(0.1):
            with contextlib.suppress(OSError), contextlib.ExitStack() as held_open:
                plain = held_open.enter_context(from_elsewhere(serving.port))
                plain.settimeout(0.2)
                state = dice.choice(("nothing", "byte", "head", "body"))
                held[state] += 1
                one: socket.socket = plain
                if state == "byte":
                    plain.sendall(b"\x16")
                elif state != "nothing":
                    plain.settimeout(5)
                    one = held_open.enter_context(context.wrap_socket(plain))
                    one.sendall(b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 1000\r\n")
                    if state == "body":
                        one.sendall(b"Content-Type: application/json\r\n\r\n{")
                while not end.wait(0.5):
                    if state in ("head", "body"):
                        one.sendall(b"x")
                    elif not _open(one):
                        break

    crowd = [threading.Thread(target=stand, args=(nr,), daemon=True) for nr in range(MOST + 60)]
    for one in crowd:
        one.start()
    try:
        time.sleep(3)
        assert min(held.values()) > 10
        for nr in range(3):
            start = time.monotonic()
            works(serving, new_notebook(f"comes {nr}"))
            assert time.monotonic() - start < 10
    finally:
        end.set()
        for one in crowd:
            one.join(10)


def from_elsewhere(port: int) -> socket.socket:
    """A connection from another address than the tablet's; all of 127.0.0.0/8 is this machine."""
    return socket.create_connection(("127.0.0.1", port), 5, source_address=("127.0.0.2", 0))


def _open(one: socket.socket) -> bool:
    one.settimeout(0.01)
    try:
        return bool(one.recv(1))
    except TimeoutError:
        return True


def test_who_says_a_request_too_slowly_is_let_go(serving: Serving, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.door.HEAD_SECONDS", 1)
    monkeypatch.setattr("server.door.BODY_SECONDS", 1)
    for words in (b"GET /api/v1/hello HTTP/1.1\r\nX: ", b"POST /api/v1/enrol HTTP/1.1\r\nContent-Length: 99\r\n\r\n"):
        with connected(serving) as one:
            one.sendall(words)
            one.settimeout(0.2)
            start = time.monotonic()
            with contextlib.suppress(ssl.SSLError, ConnectionError):
                while time.monotonic() - start < 10:
                    one.sendall(b"x")
                    with contextlib.suppress(TimeoutError):
                        if not one.recv(1000):
                            break
            assert 0.5 < time.monotonic() - start < 5
