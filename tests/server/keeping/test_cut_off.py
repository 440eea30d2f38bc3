"""Killed, or out of room, at any moment: a backup is whole or not there, a cabin is as it was or as the backup says."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from fieldapp.findings import WRONG
from server.cabin import set_up
from server.config import Config
from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.pictures import PictureFolder
from server.keeping.verifying import verify, verify_backup
from server.ledger import Ledger
from tests.server.tablets import CODE, Tablet, an_id

USUAL, MANY = 2, int(os.environ.get("PROOF_ROUNDS") or 60)
REFUSED = ("NoRoom", "LedgerUnreadable")
"""SQLite calls a file that may not grow an I/O error, and only a disk without room full."""

OFTEN = pytest.mark.parametrize("rounds", [USUAL, pytest.param(MANY, marks=pytest.mark.proof)])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A cabin with 600 changes and a large picture, a third of them since its backup; and the backup."""
    folder = tmp_path_factory.mktemp("made")
    config = Config(folder / "cabin")
    set_up(config, code=CODE, name="Test field")
    tablet = Tablet()
    for number in range(600):
        tablet.write("docket", an_id(f"d{number % 100}"), {f"note/{number}": {"text": "invented"}})
    picture = config.data / "photos" / ("ab" * 32 + ".sealed")
    picture.parent.mkdir()
    picture.write_bytes(os.urandom(8_000_000))
    with closing(Ledger.open(config.ledger)) as ledger:
        for start in (0, 200):
            ledger.accept(tablet.entries(start)[:200], tablet.id)
        back_up(config, ledger, folder / "backup.zip", pictures=PictureFolder(config.data))
        ledger.accept(tablet.entries(400), tablet.id)
    return config.data, folder / "backup.zip"


def run(what: str, data: Path, file: Path, seconds: float | None = None, room: int | None = None) -> list[str]:
    """What it said, killed after so many seconds from when it was ready."""
    words = [sys.executable, "-m", "tests.server.keeping.working", what, str(data), str(file)]
    process = subprocess.Popen([*words, *([] if room is None else [str(room)])], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    with process.stdout:
        said = [process.stdout.readline().strip()]
        assert said == ["ready"]
        if seconds is not None:
            time.sleep(seconds)
            process.send_signal(signal.SIGKILL)
        said += process.stdout.read().split("\n")
    process.wait()
    return [one for one in said if one]


def taken(what: str, data: Path, file: Path) -> float:
    """How long it takes when it is left alone."""
    ready = time.monotonic()
    run(what, data, file, 0)
    alone = time.monotonic()
    assert run(what, data, file)[-1] == "done"
    # Less what it takes to start.
    return max(0.1, time.monotonic() - alone - (alone - ready))


def wrong_in(data: Path) -> list[str]:
    config = Config(data)
    with closing(Ledger.open(config.ledger)) as ledger:
        return [str(one) for one in verify(config, ledger, PictureFolder(data)) if one.level == WRONG]


def killed(
    what: str, data: Callable[[int], Path], file: Callable[[int], Path], look: Callable[[int, bool], str], rounds: int
) -> None:
    """Kills it at a random moment of each round and looks at what is there; some of each outcome has to come."""
    rng = random.Random(20260601)
    length = taken(what, data(-1), file(-1))
    seen: set[str] = set()
    for number in range(rounds):
        # The first is killed at its first step and the last is left alone, so that both outcomes surely come.
        share = 0 if number == 0 else rng.random()
        seconds = None if number == rounds - 1 else length * share
        said = run(what, data(number), file(number), seconds)
        seen.add(look(number, "done" in said))
    assert seen == {"before", "after"}


@OFTEN
def test_a_backup_that_is_killed_is_whole_or_not_there(made, tmp_path, rounds):
    data, _ = made

    def look(number: int, done: bool) -> str:
        file = tmp_path / f"b{number}.zip"
        if not file.exists():
            assert not done
            return "before"
        with archive.reading(file) as backup:
            assert [one for one in verify_backup(backup, Config(data)) if one.level == WRONG] == []
        return "after"

    killed("backup", lambda _: data, lambda number: tmp_path / f"b{number}.zip", look, rounds)
    assert wrong_in(data) == []


@OFTEN
def test_a_restore_that_is_killed_has_made_a_whole_cabin_or_none(made, tmp_path, rounds):
    _, backup = made

    def look(number: int, done: bool) -> str:
        data = tmp_path / f"c{number}"
        if not data.exists():
            assert not done
            return "before"
        assert wrong_in(data) == []
        return "after"

    killed("restore", lambda number: tmp_path / f"c{number}", lambda _: backup, look, rounds)
    assert run("restore", tmp_path / "last", backup)[-1] == "done"


@OFTEN
def test_a_cabin_whose_replacing_is_killed_is_as_it_was_or_as_the_backup_says(made, tmp_path, rounds):
    data, backup = made
    for number in range(-1, rounds):
        shutil.copytree(data, tmp_path / f"c{number}")
    with closing(Ledger.open(data / "ledger.sqlite")) as ledger:
        old = ledger.names()

    def look(number: int, done: bool) -> str:
        folder = tmp_path / f"c{number}"
        assert wrong_in(folder) == []
        with closing(Ledger.open(folder / "ledger.sqlite")) as ledger:
            now = ledger.names()
        if now.epoch == old.epoch:
            assert not done
            assert now.head == old.head == 601
            return "before"
        assert now.head == 401
        # What was there is in a backup, whole, before anything was taken out.
        with archive.reading(folder / "before.zip") as before:
            assert before.manifest.head == 601
        return "after"

    killed("replace", lambda number: tmp_path / f"c{number}", lambda _: backup, look, rounds)


@pytest.mark.parametrize(
    "room", [pytest.param(0, marks=pytest.mark.proof), 5_000, pytest.param(7_999_999, marks=pytest.mark.proof)]
)
def test_on_a_full_disk_nothing_is_left_of_a_backup_or_a_restore(made, tmp_path, room):
    data, backup = made
    said = run("backup", data, tmp_path / "b.zip", room=room)
    assert said[-1].startswith(REFUSED), said
    assert list(tmp_path.iterdir()) == []
    said = run("restore", tmp_path / "c", backup, room=room)
    assert said[-1].startswith(REFUSED), said
    assert list(tmp_path.iterdir()) == []
    assert wrong_in(data) == []


@pytest.mark.proof
def test_on_a_full_disk_a_cabin_is_not_replaced(made, tmp_path):
    data, backup = made
    shutil.copytree(data, tmp_path / "c")
    with closing(Ledger.open(data / "ledger.sqlite")) as ledger:
        old = ledger.names()
    size = (tmp_path / "c" / "ledger.sqlite").stat().st_size
    refused = 0
    for room in (0, 100_000, size // 2):
        said = run("replace", tmp_path / "c", backup, room=room)
        if said[-1] == "done":
            break
        assert said[-1].startswith(REFUSED), said
        refused += 1
        (tmp_path / "c" / "before.zip").unlink(missing_ok=True)
        assert wrong_in(tmp_path / "c") == []
        with closing(Ledger.open(tmp_path / "c" / "ledger.sqlite")) as ledger:
            assert ledger.names()[:4] == old[:4]
    assert refused >= 2
