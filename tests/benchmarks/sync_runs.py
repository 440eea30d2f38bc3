"""One turn of each contender of the sync benchmark: a fresh server, the same dockets, what each step took.

Steps: `push` everything, `nothing` changed (of ten exchanges over one connection the middle one), `edits` of one field
in 100 dockets (of three times the middle one), `pull` of everything into an empty durable tablet. Names of figures:
`<contender>.<step>`, in seconds or bytes.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

from fieldapp.sync.exchange import exchange
from server import keys
from tests.benchmarks import sync_floor, sync_tablet
from tests.benchmarks.sync_pouch import Pouch
from tests.benchmarks.sync_tablet import opened
from tests.cabin_process import ROOT, CabinProcess, way
from tests.proxy import Proxy

EDITS, EDITED, AGAIN = 100, 3, 10


class Stage:
    """The dockets as documents and as a notebook, made once; each turn works on a copy."""

    def __init__(self, folder: Path, count: int, seed: int) -> None:
        folder.mkdir(parents=True)
        self.documents = sync_tablet.documents(count, seed)
        self.notebook = folder / "notebook"
        sync_tablet.tablet(self.notebook, self.documents)
        self.certificate, self.key = folder / "crt", folder / "key"
        keys.make_certificate(self.certificate, self.key)

    def copy(self, folder: Path) -> Path:
        """A tablet with everything unsent."""
        shutil.copytree(self.notebook, folder)
        return folder


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


# -- the floor


class Floor:
    """Its server, and a client with the connection open."""

    def __init__(self, stage: Stage, folder: Path, tls: bool) -> None:
        folder.mkdir(parents=True)
        with_tls = ["--certificate", str(stage.certificate), "--key", str(stage.key)] if tls else []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.sync_floor", str(folder), *with_tls],
            stdout=subprocess.PIPE, text=True, cwd=ROOT,
        )  # fmt: skip
        assert self._process.stdout is not None
        self.port = int(self._process.stdout.readline())
        self.scheme = "https" if tls else "http"
        self.session = sync_floor.session()
        self.into = sync_floor.Table(folder / "pulled.sqlite")

    def steps(self, stage: Stage, port: int) -> dict[str, Callable[[], object]]:
        address = f"{self.scheme}://127.0.0.1:{port}"
        return {
            "push": lambda: sync_floor.push(self.session, address, stage.documents),
            "pull": lambda: sync_floor.pull(self.session, address, self.into),
        }

    def close(self) -> None:
        self.session.close()
        self._process.kill()
        self._process.wait()


def floor_tls(stage: Stage, folder: Path) -> dict[str, float]:
    return _floor(stage, folder, True, "floor.tls")


def floor_plain(stage: Stage, folder: Path) -> dict[str, float]:
    return _floor(stage, folder, False, "floor.plain")


def _floor(stage: Stage, folder: Path, tls: bool, name: str) -> dict[str, float]:
    floor = Floor(stage, folder, tls)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a certificate that nobody has signed
            return {f"{name}.{step}": timed(work) for step, work in floor.steps(stage, floor.port).items()}
    finally:
        floor.close()


def floor_bytes(stage: Stage, folder: Path) -> dict[str, float]:
    floor = Floor(stage, folder, True)
    found: dict[str, float] = {}
    try:
        with warnings.catch_warnings(), Proxy(floor.port) as proxy:
            warnings.simplefilter("ignore")
            for step, work in floor.steps(stage, proxy.port).items():
                before = proxy.passed
                work()
                found[f"floor.{step}"] = proxy.passed - before
        return found
    finally:
        floor.close()


# -- the cabin


def cabin(stage: Stage, folder: Path) -> dict[str, float]:
    folder.mkdir(parents=True)
    served = CabinProcess(folder / "cabin")
    try:
        with opened(stage.copy(folder / "tablet")) as notebook, opened(folder / "other") as other:
            served.let_in(notebook)
            served.let_in(other)
            with way(notebook, served.port) as own, way(other, served.port) as others:
                for one in (notebook, other):  # as the app has it open, which shows records
                    one.load()
                found = {"cabin.push": timed(lambda: exchange(notebook, own))}
                if (merged := served.count("count(*) FROM record WHERE kind = 'docket'")) != len(stage.documents):
                    raise RuntimeError(f"{merged} dockets are visible at the cabin, not {len(stage.documents)}")
                due, lag = served.rules_done()
                found |= {"cabin.rules lag": lag, "cabin.rules": lag / max(1, due)}
                exchange(notebook, own)  # what the rules had to add
                found["cabin.nothing"] = statistics.median(timed(lambda: exchange(notebook, own)) for _ in range(AGAIN))
                edits = []
                for _ in range(EDITED):
                    sync_tablet.edit(notebook, EDITS)
                    edits.append(timed(lambda: exchange(notebook, own)))
                    served.rules_done()
                found["cabin.edits"] = statistics.median(edits)
                found["cabin.pull"] = timed(lambda: exchange(other, others))
                if len(other.records("docket")) != len(stage.documents):
                    raise RuntimeError("the new tablet did not get every docket")
        return found
    finally:
        served.kill()


def cabin_bytes(stage: Stage, folder: Path) -> dict[str, float]:
    folder.mkdir(parents=True)
    served = CabinProcess(folder / "cabin")
    found: dict[str, float] = {}
    try:
        with (
            opened(stage.copy(folder / "tablet")) as notebook,
            opened(folder / "other") as other,
            Proxy(served.port) as proxy,
        ):
            served.let_in(notebook)
            served.let_in(other)

            def counted(step: str, work: Callable[[], object]) -> None:
                before = proxy.passed
                work()
                found[f"cabin.{step}"] = proxy.passed - before

            with way(notebook, proxy.port) as own, way(other, proxy.port) as others:
                counted("push", lambda: exchange(notebook, own))
                served.rules_done()
                exchange(notebook, own)
                counted("nothing", lambda: exchange(notebook, own))
                sync_tablet.edit(notebook, EDITS)
                counted("edits", lambda: exchange(notebook, own))
                counted("pull", lambda: exchange(other, others))
        return found
    finally:
        served.kill()


def growth(folder: Path, sizes: tuple[int, ...], rounds: int, seed: int) -> dict[int, float]:
    """{dockets: seconds of their push}, sizes in turns."""
    stages = {size: Stage(folder / str(size), size, seed) for size in sizes}
    times: dict[int, list[float]] = {size: [] for size in sizes}
    for number in range(rounds):
        for size, stage in stages.items():
            here = folder / f"{number}-{size}"
            here.mkdir(parents=True)
            served = CabinProcess(here / "cabin")
            try:
                with opened(stage.copy(here / "tablet")) as notebook:
                    served.let_in(notebook)
                    with way(notebook, served.port) as own:
                        times[size].append(timed(lambda n=notebook, w=own: exchange(n, w)))  # type: ignore[misc]
            finally:
                served.kill()
                shutil.rmtree(here)
    return {size: statistics.median(found) for size, found in times.items()}


def memory(folder: Path, sizes: tuple[int, int], seed: int) -> dict[int, float]:
    """{dockets that have come: the most memory the server had held by then}, one server, a tablet for each step."""
    folder.mkdir(parents=True)
    served = CabinProcess(folder / "cabin")
    found: dict[int, float] = {}
    come = 0
    try:
        for size in sizes:
            stage = Stage(folder / str(size), size - come, seed + come)
            come = size
            with opened(stage.notebook) as notebook:
                served.let_in(notebook)
                with way(notebook, served.port) as own:
                    exchange(notebook, own)
            found[size] = served.peak()
        return found
    finally:
        served.kill()


# -- PouchDB


def pouch(stage: Stage, folder: Path) -> dict[str, float]:
    both = Pouch(folder, stage.documents)
    try:
        found = {"pouch.push": both.push()}
        found["pouch.nothing"] = statistics.median(both.push() for _ in range(AGAIN))
        edits = []
        for _ in range(EDITED):
            both.edit(EDITS)
            edits.append(both.push())
        found["pouch.edits"] = statistics.median(edits)
        found["pouch.pull"] = both.pull("other")
        return found
    finally:
        both.close()


def pouch_bytes(stage: Stage, folder: Path) -> dict[str, float]:
    both = Pouch(folder, stage.documents)
    found: dict[str, float] = {}
    try:
        with Proxy(both.port) as proxy:

            def counted(step: str, work: Callable[[], object]) -> None:
                before = proxy.passed
                work()
                found[f"pouch.{step}"] = proxy.passed - before

            counted("push", lambda: both.push(proxy.port))
            counted("nothing", lambda: both.push(proxy.port))
            both.edit(EDITS)
            counted("edits", lambda: both.push(proxy.port))
            counted("pull", lambda: both.pull("other", proxy.port))
        return found
    finally:
        both.close()
