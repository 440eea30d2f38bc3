"""Backups by themselves: one when it is due, the last few kept, a failure told and tried again."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from server.keeping import archive
from server.keeping.backing_up import last_backup
from server.keeping.schedule import Schedule
from server.ledger import Ledger


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "backups"


def schedule(cabin, folder: Path, **how) -> Schedule:
    return Schedule(cabin.config, cabin.ledger, folder, pictures=None, **{"every": 6, "keep": 3, **how})


def last(ledger: Ledger) -> tuple[str | None, bool]:
    with ledger.database.reading() as connection:
        return last_backup(connection)


def test_one_is_made_when_it_is_due_and_none_before(cabin, folder, clock):
    one = schedule(cabin, folder)
    first = one.step()
    assert first is not None
    assert first.name == "bonedocket-TST26-20260601T080000Z.zip"
    assert one.step() is None
    clock.forward(hours=5, minutes=59)
    # A cabin that was switched off meanwhile goes by what is in the folder.
    assert schedule(cabin, folder).step() is None
    clock.forward(minutes=1)
    assert schedule(cabin, folder).step() is not None
    with archive.reading(first) as found:
        assert found.manifest.code == "TST26"


def test_the_last_few_stay_and_nothing_of_others_goes(cabin, folder, clock):
    folder.mkdir()
    others = ["bonedocket-OTH26-20200101T000000Z.zip", "bonedocket-TST26-mine.zip", "letter.txt"]
    for name in others:
        (folder / name).write_text("x")
    (folder / "bonedocket-TST26-20260101T000000Z.zip.abc.part").write_text("cut off")
    one = schedule(cabin, folder)
    made = []
    for _ in range(5):
        made.append(one.step())
        clock.forward(hours=6)
    assert sorted(path.name for path in folder.iterdir()) == sorted([*others, *(path.name for path in made[-3:])])


def test_one_that_was_dated_by_a_wrong_clock_keeps_no_other_from_being_made(cabin, folder, clock):
    folder.mkdir()
    (folder / "bonedocket-TST26-20990101T000000Z.zip").write_text("x")
    one = schedule(cabin, folder)
    first = one.step()
    assert first is not None
    assert first.is_file()


def test_a_failure_is_logged_stands_in_the_ledger_and_is_tried_again(cabin, folder, clock, caplog):
    folder.write_text("a file where the folder should be")
    one = schedule(cabin, folder)
    with caplog.at_level(logging.ERROR):
        assert one.step() is None
    assert [record.event for record in caplog.records] == ["backup_failed"]
    assert last(cabin.ledger) == (None, True)
    folder.unlink()
    assert one.step() is None, "tried again at once"
    clock.forward(minutes=15)
    assert one.step() is not None
    assert last(cabin.ledger) == (cabin.ledger.now(), False)


def test_a_cabin_makes_them_while_it_is_open_and_ends_them_when_it_is_closed(cabin, folder):
    cabin.back_up_to(folder, every=1)
    cabin.close()
    (made,) = folder.iterdir()
    with archive.reading(made):
        pass


def test_they_can_be_locked(cabin, folder):
    path = schedule(cabin, folder, passphrase=b"invented words").step()
    assert path is not None
    with archive.reading(path, b"invented words") as found:
        assert found.manifest.site == cabin.ledger.names().site
