"""`bonedocket backup`, `restore`, `verify` as they are typed, and what `bonedocket cabin` makes by itself."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldapp.cli import main
from server.commands import keeping as shared
from server.config import Config
from server.errors import SettingsUnreadable, SettingsWrong
from server.keeping import archive
from server.ledger import Ledger
from server.settings import Settings, settings_in
from tests.server.tablets import Tablet, an_id


@pytest.fixture
def data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    folder = tmp_path / "cabin"
    assert main(["cabin", "init", "--data", str(folder), "--code", "TST26", "--name", "Test field"]) == 0
    capsys.readouterr()
    return folder


def test_a_day_of_backing_up_verifying_and_restoring(data, tmp_path, capsys):
    ledger = Ledger.open(data / "ledger.sqlite")
    tablet = Tablet()
    tablet.docket("a")
    ledger.accept(tablet.entries(), tablet.id)
    file = tmp_path / "b.zip"
    assert main(["backup", str(file), "--data", str(data)]) == 0
    said = capsys.readouterr().out
    assert "2 changes" in said
    assert "keys" in said
    assert main(["verify", str(file)]) == 0
    assert "WRONG" not in capsys.readouterr().out
    assert main(["restore", str(file), "--data", str(tmp_path / "new")]) == 0
    assert "switch off again" in capsys.readouterr().out
    assert main(["verify", "--data", str(tmp_path / "new")]) == 0
    tablet.docket("b")
    ledger.accept(tablet.entries(), tablet.id)
    assert main(["restore", str(file), "--data", str(data), "--replace"]) == 0
    assert ledger.record(an_id("b")) is None
    (before,) = data.glob("before-restore-TST26-*.zip")
    assert str(before) in capsys.readouterr().out
    assert main(["verify", str(before)]) == 0
    ledger.close()


def test_what_cannot_be_done_is_said_and_ends_with_two(data, tmp_path, capsys):
    file = tmp_path / "b.zip"
    assert main(["backup", str(file), "--data", str(data)]) == 0
    for words in (
        ["backup", str(file), "--data", str(data)],
        ["backup", str(tmp_path / "c.zip"), "--data", str(tmp_path / "none")],
        ["restore", str(file), "--data", str(data)],
        ["restore", str(tmp_path / "none.zip"), "--data", str(tmp_path / "new")],
        ["restore", str(file), "--data", str(tmp_path / "none"), "--replace"],
        ["verify", str(tmp_path / "none.zip")],
        ["verify", str(data)],
        ["verify", "--data", str(file)],
        ["backup", str(tmp_path / "c.zip"), "--data", str(data), "--passphrase-file", str(tmp_path / "none")],
    ):
        capsys.readouterr()
        assert main(words) == 2, words
        said = capsys.readouterr().err
        assert said.startswith(f"bonedocket {words[0]}: ")
        assert "{" not in said
        assert "Traceback" not in said
    assert not (tmp_path / "none").exists()
    assert not (tmp_path / "c.zip").exists()


def test_a_damaged_backup_is_something_wrong_with_what_was_looked_at(data, tmp_path, capsys):
    file = tmp_path / "b.zip"
    assert main(["backup", str(file), "--data", str(data)]) == 0
    damaged = bytearray(file.read_bytes())
    damaged[len(damaged) // 2] ^= 1
    (tmp_path / "d.zip").write_bytes(damaged)
    capsys.readouterr()
    assert main(["verify", str(tmp_path / "d.zip")]) == 1
    assert "not whole" in capsys.readouterr().out
    assert main(["restore", str(tmp_path / "d.zip"), "--data", str(tmp_path / "new")]) == 2
    assert not (tmp_path / "new").exists()


def test_with_a_passphrase_it_is_locked_and_says_how_to_open_it(data, tmp_path, capsys):
    (tmp_path / "words").write_text("invented words\n")
    (tmp_path / "wrong").write_text("other words\n")
    file, words = tmp_path / "b.zip", ["--passphrase-file", str(tmp_path / "words")]
    assert main(["backup", str(file), "--data", str(data), *words]) == 0
    assert "locked" in capsys.readouterr().out
    assert main(["verify", str(file)]) == 2
    assert "--passphrase-file" in capsys.readouterr().err
    assert main(["verify", str(file), "--passphrase-file", str(tmp_path / "wrong")]) == 2
    assert main(["verify", str(file), *words]) == 0
    assert main(["restore", str(file), "--data", str(tmp_path / "new"), *words]) == 0


def test_progress_is_shown_once_it_takes_over_a_second(capsys, monkeypatch):
    now = [100.0]
    monkeypatch.setattr(shared.time, "monotonic", lambda: now[0])
    with shared.showing() as progress:
        progress("rows", 1)
        assert capsys.readouterr().err == ""
        now[0] += 1.5
        progress("rows", 12_345)
        assert "12345 rows" in capsys.readouterr().err


def test_the_settings_are_read_and_half_understood_ones_refused(tmp_path):
    assert settings_in(Config(tmp_path)) == Settings()
    toml = tmp_path / "cabin.toml"
    toml.write_text('[backup]\nto = "b"\nevery = 6\nkeep = 3\n[log]\nto = "cabin.log"\n[others]\nx = 1\n')
    assert settings_in(Config(tmp_path)) == Settings(tmp_path / "b", 6.0, 3, None, str(tmp_path / "cabin.log"))
    for wrong in (
        "[backup]\nto = 3",
        "[backup]\nevery = 'x'",
        "[backup]\nevery = 0",
        "log = 1",
        "[backup]\nkeep = true",
    ):
        toml.write_text(wrong)
        with pytest.raises(SettingsWrong, match=r"cabin\.toml"):
            settings_in(Config(tmp_path))
    toml.write_text("[log\n")
    with pytest.raises(SettingsUnreadable, match=r"cabin\.toml"):
        settings_in(Config(tmp_path))


def test_the_cabin_makes_backups_and_a_log_while_it_runs(data, tmp_path):
    (data / "cabin.toml").write_text('[log]\nto = "cabin.log"\n')
    words = ["cabin", "--data", str(data), "--host", "127.0.0.1", "--port", "0", "--backup-to", str(tmp_path / "kept")]
    process = subprocess.Popen(
        [sys.executable, "-m", "fieldapp", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    try:
        assert process.stdout
        said = ""
        while "Ctrl+C" not in said:
            line = process.stdout.readline()
            assert line, said
            said += line
        port = re.search(r"https://127\.0\.0\.1:(\d+)/", said)
        assert port
        end = time.monotonic() + 30
        while not (made := list((tmp_path / "kept").glob("*.zip"))):
            assert time.monotonic() < end
            time.sleep(0.1)
        with archive.reading(made[0]) as found:
            assert found.manifest.code == "TST26"
        # The doctor asks the running cabin how it is.
        assert main(["doctor", "--data", str(data), "--port", port[1]]) == 0
        process.send_signal(signal.SIGTERM)
        rest, _ = process.communicate(timeout=20)
        assert process.returncode == 0
        assert "Traceback" not in rest
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
    lines = [json.loads(line) for line in (data / "cabin.log").read_text().splitlines()]
    assert {"route": "/health", "status": 200}.items() <= lines[-1].items()


def test_settings_that_cannot_be_used_start_nothing(data, tmp_path, capsys):
    (data / "cabin.toml").write_text("[backup]\nevery = 'often'\n")
    assert main(["cabin", "--data", str(data), "--host", "127.0.0.1", "--port", "0"]) == 2
    assert "cabin.toml" in capsys.readouterr().err
