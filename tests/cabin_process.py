"""A cabin in a process of its own, to be killed, restarted and looked at from outside. For tests and benchmarks.

    python -m tests.cabin_process FOLDER PORT     serves the cabin in FOLDER, made if it is not there; prints its port,
                                                  then a new code for each line it is sent

Everything is started and ended by its process id. Not here: the tablets.
"""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import Enrolment, enrol, enrolled
from fieldapp.sync.transport import HttpsTransport

ROOT = Path(__file__).parent.parent
CODE = "HLG26"


class CabinProcess:
    """See the module. `faults`: what it said on its standard error, once it has ended."""

    def __init__(self, folder: Path, port: int = 0) -> None:
        self.folder = folder
        self._said = open(folder.with_name(folder.name + ".log"), "ab")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.cabin_process", str(folder), str(port)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._said, text=True, cwd=ROOT,
        )  # fmt: skip
        self.port = int(self._line() or 0)
        if not self.port:
            self.kill()
            raise RuntimeError(f"the cabin did not start:\n{self.log()}")

    def _line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def code(self) -> str:
        """A code that lets one notebook in."""
        assert self.process.stdin is not None
        self.process.stdin.write("code\n")
        self.process.stdin.flush()
        return self._line()

    def let_in(self, notebook: Notebook) -> Enrolment:
        return enrol(notebook, f"127.0.0.1:{self.port}", self.code())

    def kill(self) -> None:
        """SIGKILL: it gets no chance to tidy up."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout, self._said):
            if pipe is not None:
                pipe.close()

    def log(self) -> str:
        return self.folder.with_name(self.folder.name + ".log").read_text(errors="replace")

    def count(self, what: str) -> int:
        """A number from its ledger, read from outside: what follows SELECT."""
        with closing(sqlite3.connect(f"file:{self.folder / 'ledger.sqlite'}?mode=ro", uri=True, timeout=60)) as reader:
            return int(reader.execute(f"SELECT {what}").fetchone()[0])

    def due(self) -> int:
        """Records that the rules have still to look at."""
        return self.count("count(*) FROM record WHERE due")

    def rules_done(self) -> tuple[int, float]:
        """(records that were due when this was asked, seconds until none was)."""
        start, due = time.perf_counter(), self.due()
        while self.due():
            time.sleep(0.02)
        return due, time.perf_counter() - start

    def peak(self) -> int:
        """The most memory its process has held so far, in bytes (VmHWM)."""
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
        raise RuntimeError("this system does not tell how much memory a process has held")


def way(notebook: Notebook, port: int) -> HttpsTransport:
    """The notebook's way to the cabin that let it in, at whatever port it or a relay now listens."""
    found = enrolled(notebook)
    assert found is not None
    return HttpsTransport(f"127.0.0.1:{port}", found.fingerprint, notebook=notebook.id, token=found.token)


def main() -> None:
    from server.cabin import set_up
    from server.config import Config
    from server.serving import Serving

    config = Config(Path(sys.argv[1]), host="127.0.0.1", port=int(sys.argv[2]))
    if not config.ledger.exists():
        set_up(config, code=CODE, name="Proof (invented)")
    with Serving(config) as serving:
        print(serving.port, flush=True)
        for _ in sys.stdin:
            print(serving.cabin.devices.open_code("proof").text, flush=True)


if __name__ == "__main__":
    main()
