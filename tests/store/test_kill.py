"""Killed at random moments of recording: nothing that was acknowledged is lost, and the notebook opens by itself.

This shows that no line is torn, mixed or forgotten. That a line also survives the power going is not shown by killing a
process; for that see test_trace: written, then synced, then acknowledged.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldapp.store.notebook import Notebook
from tests.store.makers import clock, new_id


def test_killed_while_recording_nothing_acknowledged_is_lost(tmp_path):
    kill_repeatedly(tmp_path, rounds=15, seed=20260601)


@pytest.mark.proof
def test_killed_two_hundred_times_nothing_acknowledged_is_lost(tmp_path):
    seed = int(os.environ.get("PROOF_SEED") or random.SystemRandom().randrange(10**9))
    kill_repeatedly(tmp_path, rounds=int(os.environ.get("PROOF_ROUNDS") or 200), seed=seed)


def kill_repeatedly(folder: Path, rounds: int, seed: int) -> None:
    print(f"seed {seed}")
    rng = random.Random(seed)
    changes: set[str] = set()
    drafts: dict[str, int] = {}
    label, acknowledged = 0, 0
    for round_number in range(rounds):
        said = record_and_kill(folder, rng)
        acknowledged += len(said)
        begun = dict(drafts)
        for what, *words in said:
            if what in ("change", "two"):
                changes.update(words)
            elif what == "label":
                assert int(words[0]) > label, f"label {words[0]} was handed out twice"
                label = int(words[0])
            elif what == "draft":
                drafts[words[0]] = int(words[1])
            elif what == "dropped":
                drafts.pop(words[0], None)
        with Notebook.open(folder, clock(), new_id) as notebook:
            known = notebook.load().fold.seen
            assert changes <= known, f"round {round_number}: {len(changes - known)} acknowledged changes are lost"
            held = {key: form["tap"] for key, form in notebook.drafts().items()}
            # The last thing done may be there without having been acknowledged: one draft more, or one fewer.
            wrong = {key for key in {*drafts, *held} if held.get(key) != drafts.get(key)}
            assert len(wrong) <= 1, f"round {round_number}: drafts {held}, acknowledged {drafts}, before {begun}"
            drafts = held
            changes = set(known)
            checked = notebook.verify()
            assert checked.problems == []
            label = max(label, notebook._live.keeping.labels.get("HLG26 B", 0))
    assert acknowledged > rounds * 5
    print(f"{rounds} kills, {acknowledged} acknowledgements, {len(changes)} changes")


def record_and_kill(folder: Path, rng: random.Random) -> list[list[str]]:
    """What a recorder acknowledged before it was killed, anywhere from its first save to a fifth of a second later."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.store.recorder", str(folder), str(rng.randrange(10**9))], stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    try:
        said = [process.stdout.readline()]
        assert said == [b"ready\n"], "the recorder did not get the notebook open"
        time.sleep(rng.random() * 0.2)
    finally:
        process.send_signal(signal.SIGKILL)
        said += process.stdout.read().splitlines(keepends=True)
        process.stdout.close()
        process.wait()
    return [line.decode().split() for line in said if line.endswith(b"\n")]
