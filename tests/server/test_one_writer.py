"""At any moment one connection at most writes to the SQLite file or checkpoints it, across threads and processes.

Why it matters, as the project's notes on SQLite's WAL-reset bug have it (not looked up again here): before 3.51.3, but
for the backports 3.44.6 and 3.50.7, commits can be lost when two connections write or checkpoint one log at the same
moment. So each write, from the moment SQLite grants it until its commit and checkpoint are done, is noted with the
system's clock by whoever does it, and no two may overlap.
"""

from __future__ import annotations

import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest

from server.ledger import Ledger
from tests.server.tablets import CODE
from tests.server.test_together import ROOT

WRITER = """
import contextlib, sys, threading, time
from pathlib import Path
from sqlalchemy import event, Engine
from sqlalchemy.pool import Pool
from server.ledger import CABIN, Ledger, sqlite

path, noted, guarded, start = Path(sys.argv[1]), sys.argv[2], sys.argv[3] == "guarded", float(sys.argv[4])
# A checkpoint after every commit, so that there are as many moments to meet in as can be.
sqlite._WRITER = (*sqlite._WRITER[:2], "PRAGMA wal_autocheckpoint=1")
lines, begun = [], threading.local()

@event.listens_for(Engine, "after_cursor_execute")
def granted(connection, cursor, said, *_):
    if said == "BEGIN IMMEDIATE":
        begun.at = time.monotonic_ns()

@event.listens_for(Pool, "checkin")
def done(connection, _):
    # Given back after its commit, and the checkpoint in it, are done.
    if getattr(begun, "at", None) is not None:
        lines.append(f"{begun.at} {time.monotonic_ns()}")
        begun.at = None

ledger = Ledger.open(path)
if not guarded:
    ledger.database._alone = contextlib.nullcontext
    ledger.database._writer = sqlite._engine(path, sqlite._WRITER, "BEGIN IMMEDIATE", 2)
while time.time() < start:
    time.sleep(0.001)

def write(name):
    for count in range(25):
        ledger.note("written", name, {"count": count})

threads = [threading.Thread(target=write, args=(f"{noted} {one}",)) for one in range(2)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
ledger.close()
Path(noted).write_text("\\n".join(lines))
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    Ledger.create(tmp_path / "ledger.sqlite", code=CODE, name="Test field", seal_key="").close()
    return tmp_path / "ledger.sqlite"


def moments(path: Path, how: str) -> list[tuple[int, int]]:
    """(from, to) of every write of three processes with two threads each, in their order."""
    notes = [path.with_name(f"{how} {one}") for one in range(3)]
    start = str(time.time() + 3)
    running = [
        subprocess.Popen([sys.executable, "-c", WRITER, path, note, how, start], cwd=ROOT, stderr=subprocess.PIPE)
        for note in notes
    ]
    for process in running:
        _, said = process.communicate(timeout=120)
        assert process.returncode == 0, said.decode()
    lines = [line.split() for note in notes for line in note.read_text().splitlines()]
    return sorted((int(begin), int(end)) for begin, end in lines)


def overlaps(found: list[tuple[int, int]]) -> int:
    return sum(before[1] > after[0] for before, after in pairwise(found))


def test_no_two_connections_write_or_checkpoint_at_one_moment(path):
    found = moments(path, "guarded")
    assert len(found) == 150
    assert overlaps(found) == 0
    ledger = Ledger.open(path)
    assert len(ledger.events(1000, "written")) == 150
    ledger.close()


@pytest.mark.proof
def test_without_the_guard_they_would_and_this_would_notice(path):
    assert overlaps(moments(path, "bare")) > 0


def test_a_reader_never_makes_a_checkpoint(path):
    """Written pages stay in the log while readers come and go; only a writer, or the last to leave, moves them."""
    ledger, reader = Ledger.open(path), Ledger.open(path)
    for count in range(20):
        ledger.note("written", "x", {"count": count})
    log = path.with_name(path.name + "-wal")
    before, main = log.stat().st_size, path.read_bytes()
    assert before > 0
    for _ in range(20):
        reader.names()
        reader.events()
    reader.close()
    assert (log.stat().st_size, path.read_bytes()) == (before, main)
    ledger.close()
