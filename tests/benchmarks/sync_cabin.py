"""The real cabin in a process of its own and the real tablet against it, for the sync benchmark.

    python -m tests.benchmarks.sync_cabin FOLDER     serves a new cabin in FOLDER; prints its port, then a code for each
                                                     line it is sent

`Cabin` starts and ends one by its process and lets notebooks in; `tablet` makes a notebook full of unsent dockets. Not
here: what is timed (sync).
"""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import uuid
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fieldapp.store import disk
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import enrol
from fieldapp.sync.transport import HttpsTransport
from tests.benchmarks.dockets import docket
from tests.records.makers import ANA, SITE

ROOT = Path(__file__).parent.parent.parent
PER_BAG = 20


def documents(count: int, seed: int) -> list[dict[str, Any]]:
    """Dockets as plain documents, twenty in a bag: the very values that `tablet` writes down."""
    rng = random.Random(seed)
    found: list[dict[str, Any]] = []
    for number in range(1, count + 1):
        if number % PER_BAG == 1:
            bag = _uuid(rng)
        found.append({"id": _uuid(rng), **docket(rng, number, bag)})
    return found


def _uuid(rng: random.Random) -> str:
    return str(uuid.UUID(int=rng.getrandbits(128), version=4))


def opened(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))


def tablet(folder: Path, documents: list[dict[str, Any]]) -> None:
    """A notebook that has saved each of `documents`, one by one, and sent none."""
    real, disk.sync = disk.sync, lambda descriptor: None  # filling it is not what is measured
    try:
        with opened(folder) as notebook:
            notebook.identify(site=SITE, code="HLG26")
            for one in documents:
                notebook.save("docket", one["id"], {path: one[path] for path in one if path != "id"}, {}, ANA)
    finally:
        disk.sync = real


def edit(notebook: Notebook, count: int) -> None:
    """One field of `count` dockets, each saved by itself."""
    for record in notebook.records("docket")[:count]:
        over = {"count": record.head_ids()["count"]}
        notebook.save("docket", record.id, {"count": record.value("count") + 1}, over, ANA)


class Cabin:
    """A cabin that listens in a process of its own, begun from nothing in `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.sync_cabin", str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
        )  # fmt: skip
        assert self._process.stdout is not None
        self.port = int(self._process.stdout.readline())

    def code(self) -> str:
        """A code that lets one notebook in."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("code\n")
        self._process.stdin.flush()
        return self._process.stdout.readline().strip()

    def let_in(self, notebook: Notebook) -> None:
        enrol(notebook, f"127.0.0.1:{self.port}", self.code())

    def way(self, notebook: Notebook, port: int | None = None) -> HttpsTransport:
        """The notebook's way to this cabin, or through a relay at `port`."""
        from fieldapp.sync.enrol import enrolled

        found = enrolled(notebook)
        assert found is not None
        address = f"127.0.0.1:{port or self.port}"
        return HttpsTransport(address, found.fingerprint, notebook=notebook.id, token=found.token)

    def due(self) -> int:
        """Records that the rules have still to look at."""
        path = self.folder / "ledger.sqlite"
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as reader:
            return int(reader.execute("SELECT count(*) FROM record WHERE due").fetchone()[0])

    def visible(self) -> int:
        """Dockets that have been folded and can be read."""
        path = self.folder / "ledger.sqlite"
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as reader:
            return int(reader.execute("SELECT count(*) FROM record WHERE kind = 'docket'").fetchone()[0])

    def rules_done(self) -> tuple[int, float]:
        """(records that were due when this was asked, seconds until none was)."""
        start, due = time.perf_counter(), self.due()
        while self.due():
            time.sleep(0.02)
        return due, time.perf_counter() - start

    def peak(self) -> int:
        """The most memory its process has held so far, in bytes (VmHWM)."""
        for line in Path(f"/proc/{self._process.pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
        raise RuntimeError("this system does not tell how much memory a process has held")

    def close(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)


def main() -> None:
    from server.cabin import set_up
    from server.config import Config
    from server.serving import Serving

    config = Config(Path(sys.argv[1]), host="127.0.0.1", port=0)
    set_up(config, code="HLG26", name="Benchmark (invented)")
    with Serving(config) as serving:
        print(serving.port, flush=True)
        for _ in sys.stdin:
            print(serving.cabin.devices.open_code("benchmark").text, flush=True)


if __name__ == "__main__":
    main()
