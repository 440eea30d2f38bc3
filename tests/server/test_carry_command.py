"""Carry-files as they are typed: at the cabin, and over the folder of a tablet that is broken."""

from __future__ import annotations

import argparse
import shutil
import uuid
from pathlib import Path

import pytest

from fieldapp.cli import CommandError, main
from fieldapp.commands import carry as command
from fieldapp.store.notebook import Notebook
from server.config import Config
from tests.server.conftest import Clock
from tests.server.tablets import an_id
from tests.sync.conftest import BY, Site


def new_id() -> str:
    return str(uuid.uuid4())


@pytest.fixture
def site(config: Config):
    found = Site(config)
    yield found
    found.close()


@pytest.fixture
def notebook(site: Site, tmp_path: Path, clock: Clock):
    with Notebook.open(tmp_path / "tablet", clock, new_id) as found:
        site.enrolled(found)
        found.save("docket", an_id("a"), {"count": 1}, {}, BY)
        yield found


def typed(*words: str) -> int:
    parser = argparse.ArgumentParser()
    command.register(parser)
    return command.run(parser.parse_args(words))


@pytest.fixture
def dead(site: Site, notebook: Notebook, tmp_path: Path) -> Path:
    """The folder of a tablet that is broken, copied off; nobody has it open."""
    notebook.close()
    shutil.copytree(notebook.folder, tmp_path / "copied", ignore=shutil.ignore_patterns("lock"))
    site.close()
    return tmp_path / "copied"


def test_a_dead_tablets_folder_is_sent_and_the_answer_loaded_by_command(dead, config, tmp_path, capsys):
    out, answer = tmp_path / "out.carry", tmp_path / "answer.carry"
    assert typed(str(dead), "--out", str(out)) == 0
    assert "1 changes" in capsys.readouterr().out
    cabin = ["cabin", "carry", str(out), "--data", str(config.data)]
    assert main([*cabin, "--out", str(answer)]) == 0
    said = capsys.readouterr().out
    assert "1 of them new" in said
    assert str(answer) in said
    assert main(cabin) == 0
    assert "loaded before" in capsys.readouterr().out
    assert typed(str(dead), "--load", str(answer)) == 0
    assert "1 changes were new" in capsys.readouterr().out
    assert typed(str(dead), "--out", str(out)) == 0
    assert "0 changes" in capsys.readouterr().out
    assert typed(str(dead), "--out", str(out), "--everything", "--no-photos") == 0
    assert "everything" in capsys.readouterr().out


def test_a_damaged_folder_is_rescued_line_by_line_when_asked(dead, tmp_path, capsys):
    journal = dead / "journal"
    shutil.rmtree(dead / "snapshot", ignore_errors=True)
    lines = journal.read_bytes().split(b"\n")
    journal.write_bytes(b"\n".join([*lines[:2], b"damage in the middle", *lines[2:]]))
    with pytest.raises(CommandError):
        typed(str(dead), "--out", str(tmp_path / "out"))
    assert typed(str(dead), "--out", str(tmp_path / "out"), "--recover") == 0
    said = capsys.readouterr().out
    assert "damaged" in said
    assert "1 changes" in said


def test_a_folder_without_a_notebook_is_told_and_none_is_begun_there(tmp_path):
    with pytest.raises(CommandError, match="no notebook"):
        typed(str(tmp_path), "--out", str(tmp_path / "out"))
    assert list(tmp_path.iterdir()) == []


def test_a_withdrawn_tablets_file_is_loaded_by_command_only_when_said(dead, config, tmp_path, capsys):
    out, data = tmp_path / "out.carry", ["--data", str(config.data)]
    typed(str(dead), "--out", str(out))
    assert main(["cabin", "withdraw", "A", *data]) == 0
    assert main(["cabin", "carry", str(out), *data]) == 2
    assert "--from-withdrawn" in capsys.readouterr().err
    assert main(["cabin", "carry", str(out), "--from-withdrawn", "--out", str(tmp_path / "answer"), *data]) == 0
    assert "no answer" in capsys.readouterr().out
    assert not (tmp_path / "answer").exists()
    assert main(["cabin", "log", *data]) == 0
    assert "decided to load a carry-file" in capsys.readouterr().out
