"""Several workers on one port: whoever takes a request, the answer is the same, and none that dies is missed."""

from __future__ import annotations

import http.cookiejar
import json
import os
import re
import signal
import ssl
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

from fieldapp.cli import main
from fieldapp.records import enrolment
from server.cabin import Cabin, set_up
from server.config import Config
from server.errors import WorkersRefused
from server.ledger.devices import WRONG_CODES
from server.workers import Workers
from tests.server.conftest import _schemas
from tests.server.tablets import CODE, Tablet, an_id
from tests.server.test_together import ROOT


def _words_of(process: psutil.Process) -> list[str]:
    """How it was called; one that has died is no worker, be it buried yet or not."""
    try:
        return process.cmdline()
    except (psutil.ZombieProcess, psutil.NoSuchProcess):
        return []


class Running:
    """The cabin with two workers, as it is typed."""

    def __init__(self, data: Path) -> None:
        self.data = data
        words = ["cabin", "--data", str(data), "--host", "127.0.0.1", "--port", "0", "--workers", "2"]
        code = f"import sys; from fieldapp.cli import main; sys.exit(main({words!r}))"
        self.process = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True)
        self.said: list[str] = []
        self._ears = threading.Thread(target=self._listen, daemon=True)
        self._ears.start()
        line = self.wait(lambda: next((one for one in self.said if "https://127.0.0.1:" in one), None))
        self.port = int(line.split("https://127.0.0.1:")[1].split("/")[0])
        self.context = ssl.create_default_context(cafile=str(data / "cabin.crt"))
        self.wait(lambda: len(self.workers()) == 2)

    def _listen(self) -> None:
        assert self.process.stdout is not None
        with self.process.stdout as lines:
            for line in lines:
                self.said.append(line)

    def ended(self, seconds: float = 60) -> int:
        """The exit code; everything has been said by then."""
        code = self.process.wait(seconds)
        self._ears.join(seconds)
        return code

    def wait(self, asked, seconds: float = 60):
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if found := asked():
                return found
            assert self.process.poll() is None, self.said
            time.sleep(0.05)
        raise AssertionError(f"waited in vain: {self.said}")

    def workers(self) -> list[psutil.Process]:
        found = psutil.Process(self.process.pid).children()
        return [one for one in found if any("multiprocessing.spawn" in word for word in _words_of(one))]

    def ask(self, path: str, body=None, headers=None) -> tuple[int, dict]:
        """One request on a connection of its own, which any worker may take."""
        data = None if body is None else json.dumps(body).encode()
        headers = {"Content-Type": "application/json", **(headers or {})}
        asked = urllib.request.Request(f"https://localhost:{self.port}{path}", data, headers)
        try:
            with urllib.request.urlopen(asked, context=self.context, timeout=60) as answer:
                return answer.status, json.load(answer)
        except urllib.error.HTTPError as refused:
            return refused.code, json.load(refused)


@pytest.fixture(scope="module")
def running(cluster, tmp_path_factory) -> Iterator[Running]:
    data = tmp_path_factory.mktemp("workers") / "cabin"
    schema = f"workers_{next(_schemas)}"
    set_up(Config(data), code=CODE, name="Test field", ledger=cluster.url(), schema=schema)
    found = Running(data)
    yield found
    if found.process.poll() is None:
        found.process.terminate()
        found.ended()


@pytest.fixture
def beside(running) -> Iterator[Cabin]:
    """The same cabin, opened beside the workers as a command does."""
    cabin = Cabin(Config(running.data))
    yield cabin
    cabin.close()


def let_in(running: Running, beside: Cabin, tablet: Tablet, again: bool = False) -> dict[str, str]:
    secret, _ = enrolment.parse(beside.devices.open_code().text)
    proof = enrolment.tablets_proof(enrolment.key(secret, beside.fingerprint), tablet.id)
    status, said = running.ask("/api/v1/enrol", {"proof": proof, "notebook": tablet.id, "name": "T"})
    assert status == 200, said
    # A code is used once, whichever worker is asked the second time.
    if again:
        other = enrolment.tablets_proof(enrolment.key(secret, beside.fingerprint), an_id("another"))
        assert running.ask("/api/v1/enrol", {"proof": other, "notebook": an_id("another")})[0] == 403
    return {"Authorization": f"Bearer {said['token']}", "X-Notebook": tablet.id}


def together(*acts) -> list:
    found: list = [None] * len(acts)

    def do(at: int) -> None:
        found[at] = acts[at]()

    threads = [threading.Thread(target=do, args=(at,)) for at in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


@pytest.mark.proof
def test_tablets_that_push_to_several_workers_lose_nothing_and_the_rules_look_once(running, beside):
    tablets = [Tablet(f"tablet {one}") for one in range(3)]
    heads = [let_in(running, beside, tablet, again=True) for tablet in tablets]
    start = beside.ledger.names().head
    for tablet in tablets:
        for number in range(15):
            tablet.docket(f"{tablet.id} {number}", count=0, reading={"element": "skull", "taxon": "human"})

    def push(tablet: Tablet, head: dict[str, str]):
        answers = []
        for at in range(0, 15, 5):
            changes = [{"id": one, "body": body} for one, body in tablet.entries(at)[:5]]
            status, said = running.ask("/api/v1/push", {"changes": changes}, head)
            assert status == 200, said
            answers += [one["answer"] for one in said["answers"]]
        return answers

    acts = [lambda one=one, head=head: push(one, head) for one, head in zip(tablets, heads, strict=True)]
    assert together(*acts) == [["taken"] * 15] * 3
    running.wait(lambda: beside.ledger.counts()["due"] == 0)
    page = beside.ledger.pull(0, 1000)
    assert [seq for seq, _, _ in page.rows] == list(range(1, beside.ledger.names().head + 1))
    assert beside.ledger.names().head >= start + 45
    # A rule that raises does so once a docket, however many workers were at it.
    written = beside.ledger.who(row[1] for row in page.rows).values()
    raised = [one.change.record for one in written if one.change.by["name"] == "rules"]
    assert len(raised) == len(set(raised))
    found = [(one.record, one.rule, one.path) for one in beside.ledger.problems()]
    assert len(found) == len(set(found)) >= 45
    assert beside.ledger.rebuild_matches()


def test_wrong_passwords_are_counted_over_all_workers(running, beside):
    account, password = beside.accounts.add("A. Wren", "recorder")
    tablet = Tablet("tries")
    head = let_in(running, beside, tablet)

    def guess():
        return running.ask("/api/v1/key", {"person": account.person, "role": "recorder", "password": "wrong"}, head)[0]

    found = together(*[guess] * 12)
    assert found.count(401) == 5
    assert found.count(429) == 7
    right = {"person": account.person, "role": "recorder", "password": password}
    assert running.ask("/api/v1/key", right, head)[0] == 429


def test_wrong_codes_are_counted_over_all_workers(running, beside):
    def guess():
        return running.ask("/api/v1/enrol", {"proof": "x", "notebook": an_id("guesser")})[0]

    before = len(beside.ledger.events(1000, "code_refused"))
    found = together(*[guess] * 16)
    assert before + found.count(403) == WRONG_CODES
    assert set(found) <= {403, 429}


def test_a_session_begun_with_one_worker_goes_on_with_the_others(running, beside):
    account, password = beside.accounts.add("B. Linnet", "supervisor")
    jar = http.cookiejar.CookieJar()
    opener = urllib.request.build_opener(
        urllib.request.HTTPSHandler(context=running.context), urllib.request.HTTPCookieProcessor(jar)
    )
    base = f"https://localhost:{running.port}/review"
    form = opener.open(f"{base}/sign-in", timeout=60).read().decode()
    token = re.search(r'name="csrf" value="([^"]+)"', form).group(1)
    data = urllib.parse.urlencode({"csrf": token, "account": account.id, "password": password}).encode()
    asked = urllib.request.Request(f"{base}/sign-in", data, {"Referer": base})
    assert opener.open(asked, timeout=60).geturl().endswith("/today")
    assert {opener.open(f"{base}/contexts", timeout=60).geturl() for _ in range(12)} == {f"{base}/contexts"}


def test_a_worker_that_dies_is_started_again_and_requests_go_on(running):
    before = {one.pid for one in running.workers()}
    victim = min(before)
    os.kill(victim, signal.SIGKILL)
    # What comes in while it is dying is cut off; a tablet asks again.
    running.wait(lambda: victim not in {one.pid for one in running.workers()})
    assert {running.ask("/api/v1/hello")[0] for _ in range(10)} == {200}
    running.wait(lambda: len(running.workers()) == 2 and victim not in {one.pid for one in running.workers()})
    assert len({one.pid for one in running.workers()} - before) == 1
    running.wait(lambda: any("started again" in one for one in running.said))


def test_all_end_when_they_are_told_to(running):
    workers = running.workers()
    started = time.monotonic()
    running.process.terminate()
    assert running.ended() == 0
    assert time.monotonic() - started < 30
    assert psutil.wait_procs(workers, 10)[1] == []
    assert any("has stopped" in one for one in running.said)


@pytest.mark.proof
def test_workers_end_when_whoever_watches_over_them_is_killed(running):
    again = Running(running.data)
    workers = again.workers()
    again.process.kill()
    again.ended()
    assert psutil.wait_procs(workers, 30)[1] == []


def test_several_workers_need_a_database_that_several_can_write_to(tmp_path, capsys):
    data = str(tmp_path / "cabin")
    assert main(["cabin", "init", "--data", data, "--code", CODE, "--name", "Test"]) == 0
    assert main(["cabin", "--data", data, "--workers", "2"]) == 2
    said = capsys.readouterr().err
    assert "one file has one writer" in said
    assert "--ledger" in said


def test_a_system_that_cannot_share_a_port_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.platform", "win32")
    with pytest.raises(WorkersRefused, match="Leave --workers out"):
        Workers(Config(tmp_path), 2)
