"""The connection cut after every single byte, each way, over real TLS: the next exchange finishes what was begun.

A trial is a small exchange in which both sides have something new. Its first connection is cut after k bytes towards
the cabin or back, through handshake, questions and answers alike; then the tablet tries again. The lengths of TLS's
records vary a little from one connection to the next, so k runs on to past the longest that was seen.
"""

from __future__ import annotations

import os
import uuid
from pathlib import Path

import pytest

from fieldapp.store import disk
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import enrol
from fieldapp.sync.errors import SyncError
from fieldapp.sync.exchange import exchange
from fieldapp.sync.transport import HttpsTransport
from server.cabin import set_up
from server.config import Config
from server.ledger import CABIN
from server.serving import Serving
from tests.proxy import Cut, Proxy
from tests.server.apps import QUICK
from tests.server.conftest import Clock
from tests.server.tablets import CODE, an_id
from tests.sync.conftest import AT_ONCE, BY

BEYOND = 40
"""Bytes past the longest seen."""


class Trials:
    """A tablet and a cabin with a relay between them."""

    def __init__(self, serving: Serving, notebook: Notebook, proxy: Proxy) -> None:
        self.serving, self.notebook, self.proxy = serving, notebook, proxy
        enrolment = enrol(notebook, f"127.0.0.1:{serving.port}", serving.cabin.devices.open_code("t").text)
        self.token, self.fingerprint = enrolment.token, enrolment.fingerprint
        self.trials = self.interrupted = 0

    def exchange(self) -> bool:
        """One exchange over a connection of its own; whether it went through."""
        address = f"127.0.0.1:{self.proxy.port}"
        with HttpsTransport(address, self.fingerprint, notebook=self.notebook.id, token=self.token) as way:
            try:
                exchange(self.notebook, way, means=AT_ONCE)
            except SyncError:
                return False
        return True

    def news(self) -> None:
        """Something new on both sides."""
        self.trials += 1
        for count in (1, 2):
            self.notebook.save("docket", an_id(f"{self.trials} {count}"), {"count": count}, {}, BY)
        self.serving.cabin.ledger.write("context", an_id("context"), {f"note/{self.trials}": {"text": "x"}}, {}, CABIN)

    def cut(self, cut: Cut) -> None:
        """One trial, tried again after the cut."""
        self.news()
        first = self.proxy.connections
        self.proxy.plan = lambda number: cut if number == first else Cut()
        assert self.exchange(), f"it did not go on after {cut}"
        # The exchange itself has gone on over another connection.
        self.interrupted += self.proxy.connections > first + 1

    def lengths(self) -> tuple[int, int]:
        """Bytes each way of a whole exchange."""
        self.news()
        up, down = self.proxy.up, self.proxy.down
        assert self.exchange()
        return self.proxy.up - up, self.proxy.down - down


def cut_every(step: int, folder: Path) -> None:
    clock = Clock()
    config = Config(folder / "cabin", host="127.0.0.1", port=0, clock=clock)
    set_up(config, code=CODE, name="Test field")
    with (
        Serving(config, QUICK) as serving,
        Notebook.open(folder / "tablet", clock, lambda: str(uuid.uuid4())) as notebook,
        Proxy(serving.port) as proxy,
    ):
        trials = Trials(serving, notebook, proxy)
        assert trials.exchange()
        ups, downs = zip(*(trials.lengths() for _ in range(3)), strict=True)
        for at in range(0, max(ups) + BEYOND, step):
            trials.cut(Cut(up=at))
        for at in range(0, max(downs) + BEYOND, step):
            trials.cut(Cut(down=at))
        assert trials.interrupted > 0.9 * (max(ups) + max(downs)) / step
        assert trials.exchange()
        kept = [one for _, one, _ in notebook.bodies()]
        rows = serving.cabin.ledger.pull(0, 10**6).rows
        own = {one for own, one, _ in notebook.bodies() if own}
        assert len(own) == trials.trials * 2
        assert len(kept) == len(set(kept)), "the tablet keeps a change twice"
        assert [seq for seq, _, _ in rows] == list(range(1, len(rows) + 1))
        assert sorted(one for _, one, _ in rows) == sorted(kept), "what the tablet and the cabin hold is not the same"
        assert serving.cabin.ledger.rebuild_matches()
        assert notebook.verify().problems == []
        print(f"{trials.trials} trials, {trials.interrupted} cut exchanges, {len(rows)} changes")


@pytest.fixture(autouse=True)
def without_syncs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing here is about the power going; the tablet's thousands of saves need not wait for the disk."""
    monkeypatch.setattr(disk, "sync", lambda descriptor: None)


def test_a_cut_after_any_byte_loses_nothing_and_doubles_nothing(tmp_path):
    cut_every(47, tmp_path)


@pytest.mark.proof
def test_a_cut_after_every_byte_loses_nothing_and_doubles_nothing(tmp_path):
    rounds = int(os.environ.get("PROOF_ROUNDS") or 200)
    cut_every(1 if rounds >= 200 else 7, tmp_path)
