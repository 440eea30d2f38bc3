"""Killed at a random point of a long push, the tablet or the cabin, and gone on: at most one batch is sent again.

Real processes, real SIGKILL, real TLS. When to kill is counted in bytes that have passed a relay, so that every part of
the push is as likely as any other. That a line survives the power going is not shown by killing a process.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import threading
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fieldapp.store import disk
from fieldapp.store.notebook import Edit, Notebook
from fieldapp.sync import exchange as exchanging
from fieldapp.sync.errors import SyncError
from fieldapp.sync.exchange import Report, exchange
from tests.cabin_process import ROOT, CabinProcess, way
from tests.proxy import Proxy
from tests.sync.conftest import AT_ONCE, BY

CHANGES, BATCH, A_CABINS_ROUNDS = 2000, 100, 20


def opened(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))


class Round:
    """A tablet with much to send, a cabin, and a relay between them that says when the time has come."""

    def __init__(self, cabin: CabinProcess, folder: Path, rng: random.Random) -> None:
        self.cabin, self.folder, self.rng = cabin, folder, rng
        with opened(folder) as notebook:
            cabin.let_in(notebook)
            edits = [
                Edit("docket", str(uuid.UUID(int=rng.getrandbits(128))), {"count": rng.randrange(9)}, {})
                for _ in range(CHANGES)
            ]
            self.sent = {one.id for start in range(0, CHANGES, 50) for one in self._saved(notebook, edits, start)}
            self.notebook = notebook.id

    @staticmethod
    def _saved(notebook: Notebook, edits: list[Edit], start: int):  # type: ignore[no-untyped-def]
        return notebook.save_many(edits[start : start + 50], BY)

    def kill_tablet(self, at: int) -> None:
        """Starts a tablet and kills it when `at` bytes have passed."""
        with Proxy(self.cabin.port) as proxy:
            tablet = subprocess.Popen(
                [sys.executable, "-m", "tests.end_to_end.pushing", str(self.folder), str(proxy.port), str(BATCH)],
                stdout=subprocess.PIPE, cwd=ROOT,
            )  # fmt: skip
            assert tablet.stdout is not None
            assert tablet.stdout.readline() == b"ready\n"
            _when(lambda: proxy.passed >= at or tablet.poll() is not None)
            tablet.kill()
            tablet.wait()
            tablet.stdout.close()

    def kill_cabin(self, at: int) -> None:
        """Lets a tablet push and kills the cabin when `at` bytes have passed; then starts it again."""
        with Proxy(self.cabin.port) as proxy, opened(self.folder) as notebook, way(notebook, proxy.port) as transport:
            pushing = threading.Thread(target=_tried, args=(notebook, transport))
            pushing.start()
            _when(lambda: proxy.passed >= at or not pushing.is_alive())
            self.cabin.kill()
            pushing.join()
        self.cabin = CabinProcess(self.cabin.folder)

    def resume(self) -> Report:
        """The exchange gone on with, to its end."""
        with opened(self.folder) as notebook, way(notebook, self.cabin.port) as transport:
            report = exchange(notebook, transport)
            assert notebook.unsent_count(self.cabin_name(notebook)) == 0
            return report

    @staticmethod
    def cabin_name(notebook: Notebook) -> str:
        return str(notebook.setting("cabin")["fingerprint"])

    def arrived(self) -> int:
        """How many of its changes the cabin has. Each change has one row, by a unique id; numbers have no gap."""
        # In one statement: a batch that was on its way may come between two.
        assert self.cabin.count("max(seq) - count(*) FROM change") == 0
        return self.cabin.count(f"count(*) FROM change WHERE notebook = '{self.notebook}'")


def whole_push(cabin: CabinProcess, folder: Path, rng: random.Random) -> int:
    """Bytes that pass when nobody is killed."""
    Round(cabin, folder, rng)
    with Proxy(cabin.port) as proxy, opened(folder) as notebook, way(notebook, proxy.port) as transport:
        exchange(notebook, transport)
        return proxy.passed


def _tried(notebook: Notebook, transport: object) -> None:
    try:
        # Whether it gives up at once or waits for the cabin to come back is the same to what is proven.
        exchange(notebook, transport, means=AT_ONCE)  # type: ignore[arg-type]
    except SyncError:
        pass


def _when(condition) -> None:  # type: ignore[no-untyped-def]
    until = time.monotonic() + 120
    while not condition():
        assert time.monotonic() < until, "nothing has happened for two minutes"
        time.sleep(0.0005)


def kill_and_resume(folder: Path, rounds: int, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    print(f"seed {seed}")
    monkeypatch.setattr(exchanging, "BATCH", BATCH)
    rng = random.Random(seed)
    again, amidst = [], 0
    cabin: CabinProcess | None = None
    whole = 0
    try:
        for number in range(rounds):
            if number % A_CABINS_ROUNDS == 0:
                if cabin is not None:
                    cabin.kill()
                    shutil.rmtree(cabin.folder)
                cabin = CabinProcess(folder / f"cabin-{number}")
            assert cabin is not None
            # Filling a notebook is not what is proven here.
            with monkeypatch.context() as quick:
                quick.setattr(disk, "sync", lambda descriptor: None)
                one = Round(cabin, folder / f"tablet-{number}", rng)
            whole = whole or whole_push(cabin, folder / "whole", rng)
            at = rng.randrange(whole)
            (one.kill_tablet if rng.random() < 0.6 else one.kill_cabin)(at)
            cabin = one.cabin
            before = one.arrived()
            amidst += 0 < before < CHANGES
            report = one.resume()
            assert before <= CHANGES
            # The batch on its way when the tablet was killed may have been taken in after we looked.
            late = CHANGES - before - report.sent
            assert 0 <= late <= BATCH, f"round {number}: {report}, {before} had come"
            assert report.known <= BATCH, f"round {number}: {report.known} were sent again"
            assert one.arrived() == CHANGES, f"round {number}: not all have come, or some twice"
            again.append(report.known)
            shutil.rmtree(one.folder)
        assert amidst > rounds / 4, f"only {amidst} of {rounds} kills fell into the push"
        print(f"{rounds} kills, {amidst} amid the push, sent again: at most {max(again)}, in all {sum(again)}")
    finally:
        if cabin is not None:
            cabin.kill()


def test_killed_while_pushing_at_most_one_batch_is_sent_again(tmp_path, monkeypatch):
    kill_and_resume(tmp_path, 2, 20260601, monkeypatch)


@pytest.mark.proof
def test_killed_two_hundred_times_while_pushing_at_most_one_batch_is_sent_again(tmp_path, monkeypatch):
    seed = int(os.environ.get("PROOF_SEED") or random.SystemRandom().randrange(10**9))
    kill_and_resume(tmp_path, int(os.environ.get("PROOF_ROUNDS") or 200), seed, monkeypatch)
