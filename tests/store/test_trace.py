"""What the system is asked to do for a save, and in which order: written, synced, and only then acknowledged.

The system calls are watched from outside, by strace. That, and not killing the process, speaks for a power cut.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CALL = re.compile(r"^(?:\d+ +)?(\w+)\((\d+)<([^>]*)>(.*)= (-?\d+)")
SAVES = 150


@pytest.fixture(scope="module")
def calls(tmp_path_factory) -> list[tuple[str, str, str, int]]:
    """(call, file, rest, result) of a recorder's writes, syncs and truncations, in order."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.fail("strace is missing: install it (Debian: apt-get install strace)")
    folder = tmp_path_factory.mktemp("traced")
    trace = folder / "trace"
    watched = "trace=write,pwrite64,writev,fsync,fdatasync,ftruncate"
    subprocess.run(
        [strace, "-f", "-y", "-s", "64", "-e", watched, "-e", "signal=none", "-o", str(trace),
         sys.executable, "-m", "tests.store.recorder", str(folder / "notebook"), "7", str(SAVES)],
        check=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    found = []
    for line in trace.read_text(errors="replace").splitlines():
        match = CALL.match(line)
        if match:
            call, descriptor, file, rest, result = match.groups()
            found.append((call, "acknowledged" if descriptor == "1" else Path(file).name, rest, int(result)))
    return found


def between_acknowledgements(calls) -> list[list[tuple[str, str, str, int]]]:
    """The calls before each acknowledgement, and the acknowledgement last."""
    found: list[list[tuple[str, str, str, int]]] = [[]]
    for one in calls:
        found[-1].append(one)
        if one[1] == "acknowledged":
            found.append([])
    return found[:-1]


def rested(group) -> bool:
    """Whether a snapshot or a compaction came before the save, with files of its own."""
    return any(file.endswith(".new") for _, file, _, _ in group)


def test_every_save_is_written_then_synced_then_acknowledged(calls):
    saves = 0
    for group in between_acknowledgements(calls):
        if "ready" in group[-1][2] or "dropped" in group[-1][2]:
            continue  # opening; and a draft that went with the change acknowledged just before
        *last, _ = group[-3:] if rested(group) else group
        assert [(call, file) for call, file, _, _ in last] == [("write", "journal"), ("fsync", "journal")], group
        assert last[1][3] == 0
        saves += 1
    assert saves >= SAVES * 0.8


def test_a_save_is_one_write_of_at_most_16_kb(calls):
    sizes = [result for call, file, _, result in calls if file == "journal" and call == "write"]
    assert len(sizes) >= SAVES * 0.8
    assert max(sizes) <= 16_000
    saving = [one for group in between_acknowledgements(calls) if not rested(group) for one in group]
    assert {call for call, file, _, _ in saving if file == "journal"} == {"write", "fsync"}


def test_whatever_replaces_a_file_is_synced_first(calls):
    for name in ("first.new", "journal.new"):
        kinds = [call for call, file, _, _ in calls if file == name]
        assert kinds, f"the trace holds no {name}: choose a seed that rests and compacts"
        assert kinds[-1] == "fsync"
        assert "write" in kinds
