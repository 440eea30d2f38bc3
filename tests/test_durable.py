"""A file that is written anew is whole: before, after, and wherever whoever writes it is killed."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldapp.durable import PART, write_whole

SIZE = 3_000_000
WRITES = f"""
import sys
from pathlib import Path
from fieldapp.durable import write_whole
print("ready", flush=True)
while True:
    for letter in (b"a", b"b"):
        write_whole(Path(sys.argv[1]), letter * {SIZE})
"""


def test_killed_at_any_moment_it_leaves_the_old_or_the_new_one(tmp_path: Path) -> None:
    file, cut = tmp_path / "report.pdf", 0
    write_whole(file, b"a" * SIZE)
    for wait in (0.004, 0.011, 0.023):
        words = [sys.executable, "-c", WRITES, str(file)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, cwd=Path(__file__).parent.parent) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"ready\n"
            time.sleep(wait)
            process.send_signal(signal.SIGKILL)
        found = file.read_bytes()
        assert found in (b"a" * SIZE, b"b" * SIZE)
        cut += file.with_name(file.name + PART).exists()
        write_whole(file, b"whole again")
        assert [one.name for one in tmp_path.iterdir()] == ["report.pdf"]
        write_whole(file, b"a" * SIZE)
    assert cut, "none was killed while it wrote"


def test_where_there_is_one_it_stays_unless_it_is_to_be_written_over(tmp_path: Path) -> None:
    file = tmp_path / "report.pdf"
    write_whole(file, b"mine", over=False)
    with pytest.raises(FileExistsError):
        write_whole(file, b"theirs", over=False)
    with pytest.raises(FileNotFoundError):
        write_whole(tmp_path / "nowhere" / "report.pdf", b"x")
    assert [(one.name, one.read_bytes()) for one in tmp_path.iterdir()] == [("report.pdf", b"mine")]
