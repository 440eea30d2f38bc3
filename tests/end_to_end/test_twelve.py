"""Twelve tablets at once through a bad network, everybody being killed now and then: nothing is lost or doubled.

Real processes and sockets, TLS, SIGKILL of tablets and of the cabin, which is started again on the same folder.
Connections are cut after random bytes; batches come twice, late, and the wrong way round (unruly). One seed decides
who does what and when, in the schedule's own time; the machine's timing lies over it, so that a seed repeats the
schedule and not each race. After that the network heals, everybody exchanges to the end, and what was said on the way
is held against what is there.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fieldapp.records.changes import read
from fieldapp.records.fold import fold
from fieldapp.store.notebook import Notebook
from fieldapp.sync.exchange import exchange
from server.ledger import Ledger
from tests.cabin_process import ROOT, CabinProcess, way
from tests.proxy import Cut, Proxy

TABLETS, BATCH = 12, 20


class Tablet:
    """A tablet's process, started again whenever it was killed, and all it has said."""

    def __init__(self, folder: Path, port: int, rng: random.Random) -> None:
        self.folder, self.port, self.rng = folder, port, rng
        self.said: list[str] = []
        self.kills = 0
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [
                sys.executable, "-m", "tests.end_to_end.one_of_twelve",
                str(self.folder), str(self.port), str(self.rng.randrange(10**9)), str(BATCH),
            ],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
        )  # fmt: skip
        self._reader = threading.Thread(target=self._read, args=(self.process,), daemon=True)
        self._reader.start()

    def _read(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if line.endswith("\n"):
                self.said.append(line.strip())

    def kill(self) -> None:
        self.kills += 1
        self.process.kill()
        self._ended()

    def stop(self) -> None:
        """Lets it finish what it is at."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(timeout=120)
        self._ended()

    def _ended(self) -> None:
        self.process.wait()
        self._reader.join()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()

    def words(self, what: str) -> list[str]:
        return [line.partition(" ")[2] for line in self.said if line.partition(" ")[0] == what]


def bad_network(seed: int):  # type: ignore[no-untyped-def]
    """Every third connection is cut somewhere, in the handshake as soon as in an answer."""

    def plan(number: int) -> Cut:
        rng = random.Random(seed * 1_000_003 + number)
        if rng.random() > 0.35:
            return Cut()
        at = int(10 ** rng.uniform(1, 5))
        return Cut(up=at) if rng.random() < 0.5 else Cut(down=at)

    return plan


def opened(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))


def twelve_at_once(folder: Path, seconds: float, seed: int) -> None:
    print(f"seed {seed}")
    rng = random.Random(seed)
    cabin = CabinProcess(folder / "cabin")
    tablets: list[Tablet] = []
    cabin_kills = 0
    try:
        with Proxy(cabin.port, bad_network(seed)) as proxy:
            for number in range(TABLETS):
                with opened(folder / f"tablet-{number}") as notebook:
                    cabin.let_in(notebook)
            for number in range(TABLETS):
                tablets.append(Tablet(folder / f"tablet-{number}", proxy.port, rng))
            until, doings = time.monotonic() + seconds, 0
            while time.monotonic() < until:
                time.sleep(rng.uniform(0.2, 1.5))
                doings += 1
                if doings % 8 == 3:
                    cabin_kills += 1
                    cabin.kill()
                    time.sleep(rng.random() * 0.5)
                    cabin = CabinProcess(cabin.folder, cabin.port)
                else:
                    one = rng.choice(tablets)
                    one.kill()
                    one.start()
            for one in tablets:
                one.stop()
            cuts = proxy.cuts
        kept = healed(cabin, tablets)
        kills = sum(one.kills for one in tablets)
        cabin.rules_done()
    finally:
        cabin.kill()
        for one in tablets:
            if one.process.poll() is None:
                one.kill()
    judge(cabin, tablets, kept)
    sent = sum(len(one.words("sent")) for one in tablets)
    saved = sum(len(one.words("saved")) for one in tablets)
    print(f"{saved} saves, {sent} exchanges, {cuts} cuts, {kills} tablets and {cabin_kills} cabins killed")
    assert cuts > 3
    assert cabin_kills
    assert sent > TABLETS


def healed(cabin: CabinProcess, tablets: list[Tablet]) -> dict[int, dict[str, str]]:
    """{tablet: {id: body}} of all it keeps when everybody has exchanged to the end over a good network."""
    for turn in range(2):
        if turn:
            # Whatever the rules still have to add is there before the last fetch.
            cabin.rules_done()
        for one in tablets:
            with opened(one.folder) as notebook, way(notebook, cabin.port) as transport:
                exchange(notebook, transport)
    kept: dict[int, dict[str, str]] = {}
    for number, one in enumerate(tablets):
        with opened(one.folder) as notebook:
            bodies = [(name, body) for _, name, body in notebook.bodies()]
            kept[number] = dict(bodies)
            assert len(bodies) == len(kept[number]), f"tablet {number} keeps a change twice"
            assert notebook.verify().problems == []
            assert notebook.unsent_count(str(notebook.setting("cabin")["fingerprint"])) == 0
            assert not notebook.lives_elsewhere
            fresh = fold(read(body) for body in kept[number].values())
            assert states(notebook.records("docket", deleted=True)) == states(fresh, "docket")
    return kept


def states(records, kind: str = "docket") -> dict[str, object]:  # type: ignore[no-untyped-def]
    return {one.id: one.as_json() for one in records if one.kind == kind}


def judge(cabin: CabinProcess, tablets: list[Tablet], kept: dict[int, dict[str, str]]) -> None:
    """Holds what was said against what is there."""
    for number, one in enumerate(tablets):
        assert one.words("fault") == [], f"tablet {number}"
        assert one.words("refused") == [], f"tablet {number} was answered with a fault of the cabin's:\n{cabin.log()}"
    ledger = Ledger.open(cabin.folder / "ledger.sqlite")
    try:
        rows = ledger.pull(0, 10**7).rows
        there = {name: body for _, name, body in rows}
        assert [seq for seq, _, _ in rows] == list(range(1, len(rows) + 1))
        assert len(there) == len(rows), "the cabin holds a change twice"
        assert ledger.unread() == []
        for number, one in enumerate(tablets):
            missing = set(one.words("saved")) - there.keys()
            assert not missing, f"{len(missing)} changes that tablet {number} had acknowledged are not at the cabin"
            assert kept[number] == there, f"tablet {number} and the cabin do not hold the same"
        fresh = fold(read(body) for body in there.values())
        assert states(ledger.records("docket", deleted=True)) == states(fresh)
        assert ledger.rebuild_matches()
    finally:
        ledger.close()
    assert "Traceback" not in cabin.log(), cabin.log()[-3000:]


@pytest.mark.proof
def test_twelve_tablets_for_a_long_time_lose_nothing_and_double_nothing(tmp_path):
    seed = int(os.environ.get("PROOF_SEED") or random.SystemRandom().randrange(10**9))
    twelve_at_once(tmp_path, 600 if int(os.environ.get("PROOF_ROUNDS") or 200) >= 200 else 40, seed)
