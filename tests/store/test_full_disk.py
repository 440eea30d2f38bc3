"""A disk that is full: at any byte of a save, while the notebook rests, and for a new notebook."""

from __future__ import annotations

import errno
import json
import subprocess
import sys

import pytest

from fieldapp.store import disk, live
from fieldapp.store.errors import SaveFailed
from fieldapp.store.notebook import Notebook
from tests.store.makers import ANA, clock, form, new_id, state, tablet


def test_a_disk_full_at_any_byte_of_a_save_loses_nothing(tmp_path):
    # In a process of its own, since the limit binds everything the process writes.
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.full_disk", str(tmp_path)], check=True, stdout=subprocess.PIPE, text=True
    )
    told = json.loads(done.stdout)
    assert told["refused"] == told["length"], "every number of bytes short of the whole line was refused"


def test_a_full_disk_leaves_the_rest_undone_and_the_notebook_usable(tmp_path, monkeypatch, caplog):
    notebook = tablet(tmp_path)
    notebook.save("docket", "r1", form(1), {}, ANA)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(disk, "write_new", full)
    monkeypatch.setattr(live, "COMPACT_ABOVE", 0)
    monkeypatch.setattr(live, "STATE_AFTER", 0)
    notebook.draft("a", {"text": "x" * 5000})
    notebook.rest()
    assert "not tidied up" in caplog.text
    before = state(notebook)
    notebook.close()
    monkeypatch.undo()
    with tablet(tmp_path) as again:
        assert state(again) == before
        again.save("docket", "r2", form(2), {}, ANA)


def test_a_new_notebook_on_a_full_disk_says_so_and_opens_once_there_is_room(tmp_path, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(disk, "write_all", full)
    with pytest.raises(SaveFailed) as told:
        Notebook.open(tmp_path, clock(), new_id)
    assert told.value.full
    monkeypatch.undo()
    tablet(tmp_path).close()
