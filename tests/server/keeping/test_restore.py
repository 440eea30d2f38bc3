"""A backup goes back whole or not at all, and nothing is touched before it is known to be right."""

from __future__ import annotations

import json
import shutil
import threading
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from server import keys
from server.cabin import Cabin, set_up
from server.errors import LedgerIsNewer, SignInRefused
from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.errors import (
    BackupDamaged,
    BackupIsNewer,
    BackupMissing,
    FolderNotEmpty,
    LedgerUnreadable,
    NothingToReplace,
    OtherCabin,
    OtherSite,
)
from server.keeping.pictures import PictureFolder
from server.ledger import CABIN
from tests.server.apps import QUICK
from tests.server.keeping.conftest import PHOTO, SHA, contents, everything_in, replaced, restored
from tests.server.keeping.test_backup import LINES
from tests.server.tablets import Tablet, an_id


def forged(backup: Path, to: Path, **changed: bytes) -> Path:
    """A backup with a right seal whose parts say something else: {part's name with __ for /: bytes}."""
    with zipfile.ZipFile(backup) as old, archive.writing(to) as writer:
        told = json.loads(old.read("manifest.json"))
        for name in told["parts"]:
            data = changed.get(name.replace("/", "__").replace(".", "_"), old.read(name))
            table = name.startswith("tables/")
            writer.add(name, data.splitlines(keepends=True) if table else [data], lines=table)
        for name, data in changed.items():
            if name.startswith("new__"):
                writer.add(name[5:].replace("__", "/"), [data])
        writer.finish(archive.Manifest(**{key: told[key] for key in archive.Manifest.__slots__} | {"parts": {}}))
    return to


def test_an_empty_folder_becomes_the_cabin_that_it_was(cabin, backup, tmp_path):
    for data in (tmp_path / "missing", tmp_path / "empty"):
        if data.name == "empty":
            data.mkdir()
        config = replace(cabin.config, data=data)
        restored(backup, config)
        again = Cabin(config, QUICK)
        assert again.fingerprint == cabin.fingerprint
        assert again.seal_key == cabin.seal_key
        assert again.ledger.rebuild_matches()
        assert again.ledger.names().epoch != cabin.ledger.names().epoch
        assert [one.what for one in again.ledger.events(2)] == ["new_epoch", "restored"]
        assert again.ledger.counts()["due"] > 0
        while again.ledger.check_due():
            pass
        assert again.ledger.problems() == cabin.ledger.problems()
        assert (data / "photos" / SHA).read_bytes() == PHOTO
        assert (data / "cabin.key").stat().st_mode & 0o777 == 0o600
        assert not list(tmp_path.glob(".*.restoring-*"))
        # The numbers that the database hands out go on after those that were put in.
        again.ledger.note("sign_in", "x", {})
        assert again.ledger.events(1)[0].nr == max(one.nr for one in again.ledger.events(100))
        again.close()


def test_settings_of_another_machine_do_not_take_effect_unseen(cabin, tablet, tmp_path):
    (cabin.config.data / "cabin.toml").write_text('[backup]\nto = "/somewhere/else"\n')
    back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    config = replace(cabin.config, data=tmp_path / "again")
    restored(tmp_path / "b.zip", config)
    assert not (config.data / "cabin.toml").exists()
    assert "/somewhere/else" in (config.data / "cabin.toml.from-backup").read_text()


def test_a_folder_with_anything_in_it_is_left_alone(cabin, backup, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note.txt").write_text("mine")
    with pytest.raises(FolderNotEmpty):
        restored(backup, replace(cabin.config, data=tmp_path / "full"))
    assert everything_in(tmp_path / "full") == {"note.txt": b"mine"}


def test_replacing_takes_out_what_came_since_and_keeps_it_in_a_backup_of_its_own(
    cabin, backup, tablet, tmp_path, opened
):
    before = contents(cabin.ledger, "meta", "event", "problem", *LINES)
    new = tablet.docket("since")
    cabin.ledger.accept(tablet.entries(), tablet.id)
    cabin.ledger.write("docket", an_id("desk"), {"count": 1}, {}, CABIN)
    since = contents(cabin.ledger, "meta", "event", "problem", *LINES)
    # The cabin is open, as if it ran.
    done = replaced(backup, cabin.config, tmp_path / "before.zip")
    assert done.before == tmp_path / "before.zip"
    assert cabin.ledger.record(new.record) is None
    assert contents(cabin.ledger, "meta", "event", "problem", *LINES) == before
    assert cabin.ledger.rebuild_matches()
    other = replace(cabin.config, data=tmp_path / "other")
    restored(tmp_path / "before.zip", other)
    assert contents(opened(other), "meta", "event", "problem", *LINES) == since


def test_the_running_cabin_sees_at_once_who_may_decide_by_the_backup(cabin, backup, tmp_path):
    cabin.accounts.add("C. Late", "human_osteologist")
    assert len(cabin.ledger.authority().grants) == 2
    replaced(backup, cabin.config, tmp_path / "before.zip")
    assert len(cabin.ledger.authority().grants) == 1
    with pytest.raises(SignInRefused):
        cabin.accounts.sign_in("C. Late", "human_osteologist", "whatever it was")
    # Another person gets the same number in the new epoch: what was remembered of that number must not be taken.
    cabin.accounts.add("D. Later", "director")
    assert {one.role for one in cabin.ledger.authority().grants.values()} == {"director"}


def test_photographs_that_came_since_stay_and_lost_ones_come_back(cabin, backup, tmp_path):
    pictures = PictureFolder(cabin.config.data)
    pictures.add("ef" * 32, [b"later"])
    (cabin.config.data / "photos" / SHA).unlink()
    replaced(backup, cabin.config, tmp_path / "before.zip")
    assert (cabin.config.data / "photos" / SHA).read_bytes() == PHOTO
    assert (cabin.config.data / "photos" / ("ef" * 32)).read_bytes() == b"later"


def test_a_lost_key_comes_back_and_another_one_is_never_replaced(cabin, backup, tmp_path):
    key = cabin.config.seal_key.read_bytes()
    cabin.config.seal_key.unlink()
    replaced(backup, cabin.config, tmp_path / "before.zip")
    assert cabin.config.seal_key.read_bytes() == key
    cabin.config.seal_key.unlink()
    keys.make_seal_key(cabin.config.seal_key)
    there, new = contents(cabin.ledger), cabin.config.seal_key.read_bytes()
    with pytest.raises(OtherCabin):
        replaced(backup, cabin.config, tmp_path / "before 2.zip")
    assert contents(cabin.ledger) == there
    assert cabin.config.seal_key.read_bytes() == new


def test_another_site_s_backup_is_refused(cabin, backup, tmp_path):
    config = replace(cabin.config, data=tmp_path / "other")
    set_up(config, code="OTH26", name="Another field, invented")
    other = Cabin(config, QUICK)
    there = contents(other.ledger)
    with pytest.raises(OtherSite, match="TST26"):
        replaced(backup, config, tmp_path / "before.zip")
    assert contents(other.ledger) == there
    assert not (tmp_path / "before.zip").exists()
    other.close()


def test_where_there_is_no_cabin_nothing_is_replaced(cabin, backup, tmp_path):
    with pytest.raises(NothingToReplace):
        replaced(backup, replace(cabin.config, data=tmp_path / "none"), tmp_path / "before.zip")
    assert not (tmp_path / "none").exists() or not any((tmp_path / "none").iterdir())
    with pytest.raises(BackupMissing):
        restored(tmp_path / "no.zip", replace(cabin.config, data=tmp_path / "none"))


def test_a_ledger_that_cannot_be_saved_first_is_not_replaced(cabin, backup, tmp_path):
    data = tmp_path / "broken"
    shutil.copytree(cabin.config.data, data)
    for name in ("ledger.sqlite-wal", "ledger.sqlite-shm"):
        (data / name).unlink(missing_ok=True)
    (data / "ledger.sqlite").write_bytes(b"this is no database" * 500)
    with pytest.raises(LedgerUnreadable):
        replaced(backup, replace(cabin.config, data=data), tmp_path / "before.zip")
    assert (data / "ledger.sqlite").read_bytes() == b"this is no database" * 500


def test_a_file_that_was_cut_anywhere_is_refused_before_anything_is_touched(cabin, backup, tmp_path):
    whole = backup.read_bytes()
    there = contents(cabin.ledger)
    for length in (*range(0, 400, 7), *range(400, len(whole), 397), len(whole) - 1):
        (tmp_path / "cut.zip").write_bytes(whole[:length])
        with pytest.raises(BackupDamaged):
            replaced(tmp_path / "cut.zip", cabin.config, tmp_path / "before.zip")
        with pytest.raises(BackupDamaged):
            restored(tmp_path / "cut.zip", replace(cabin.config, data=tmp_path / "again"))
    assert contents(cabin.ledger) == there
    assert not (tmp_path / "again").exists()
    assert not (tmp_path / "before.zip").exists()


def test_a_newer_backup_is_refused(cabin, backup, tmp_path, monkeypatch):
    there = contents(cabin.ledger)
    monkeypatch.setattr(archive, "FORMAT", 2)
    back_up(cabin.config, cabin.ledger, tmp_path / "newer.zip", pictures=None)
    monkeypatch.undo()
    with pytest.raises(BackupIsNewer):
        replaced(tmp_path / "newer.zip", cabin.config, tmp_path / "before.zip")
    assert contents(cabin.ledger, "event") == {name: rows for name, rows in there.items() if name != "event"}


@pytest.mark.parametrize(
    ("parts", "error"),
    [
        ({"new__tables__later.ndjson": b"{}\n"}, BackupIsNewer),
        ({"tables__notebook_ndjson": b'{"id": "a", "reached": 1, "highest": 1, "later": 1}\n'}, BackupIsNewer),
        ({"tables__notebook_ndjson": b'{"id": "a"\n'}, BackupDamaged),
        ({"tables__notebook_ndjson": b'{"id": "a"}\n'}, BackupDamaged),
        ({"tables__notebook_ndjson": b'{"id":"a","reached":1,"highest":1}\n' * 2}, BackupDamaged),
        ({"new__photos__..__..__escaped": b"x"}, BackupDamaged),
    ],
)
def test_a_sealed_file_that_says_something_else_changes_nothing(cabin, backup, tmp_path, parts, error):
    path = forged(backup, tmp_path / "forged.zip", **parts)
    there = contents(cabin.ledger, "event")
    with pytest.raises(error):
        replaced(path, cabin.config, tmp_path / "before.zip")
    assert contents(cabin.ledger, "event") == there
    with pytest.raises(error):
        restored(path, replace(cabin.config, data=tmp_path / "again" / "deep"))
    assert not (tmp_path / "again" / "deep").exists()
    assert not list((tmp_path / "again").iterdir())
    assert not list(tmp_path.rglob("escaped"))


def test_a_ledger_of_a_later_form_is_refused(cabin, backup, tmp_path):
    with zipfile.ZipFile(backup) as zipped:
        lines = zipped.read("tables/meta.ndjson").replace(b'"key":"format","value":"1"', b'"key":"format","value":"9"')
    path = forged(backup, tmp_path / "forged.zip", tables__meta_ndjson=lines)
    with pytest.raises(LedgerIsNewer):
        restored(path, replace(cabin.config, data=tmp_path / "again"))
    assert not (tmp_path / "again").exists()


def test_tablets_that_push_while_it_is_put_back_lose_nothing_they_were_answered_for(cabin, backup, tmp_path):
    pushing = [Tablet(f"pushing {number}") for number in range(3)]
    for tablet in pushing:
        for number in range(60):
            tablet.write("docket", an_id(f"{tablet.id} {number % 5}"), {f"note/{number}": "x"})
    answered: dict[str, list[tuple[str, str]]] = {one.id: [] for one in pushing}
    faults: list[BaseException] = []

    def push(tablet: Tablet) -> None:
        try:
            for entry in tablet.entries():
                answered[tablet.id].append((cabin.ledger.accept([entry], tablet.id).epoch, entry[0]))
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=push, args=(one,)) for one in pushing]
    for thread in threads:
        thread.start()
    replaced(backup, cabin.config, tmp_path / "before.zip")
    for thread in threads:
        thread.join()
    assert faults == []
    epoch = cabin.ledger.names().epoch
    there = set(cabin.ledger.who([one for rows in answered.values() for _, one in rows]))
    in_new = {one for rows in answered.values() for told, one in rows if told == epoch}
    in_old = {one for rows in answered.values() for told, one in rows if told != epoch}
    # Answered for in the new epoch: here. In the old one: the tablet is told of the new epoch and sends again.
    assert in_new == there
    assert in_old
    for tablet in pushing:
        cabin.ledger.accept(tablet.entries(), tablet.id)
    assert set(cabin.ledger.who(in_old)) == in_old
    assert cabin.ledger.rebuild_matches()


def test_a_backup_of_what_was_put_back_is_the_same_again(cabin, backup, tmp_path, opened):
    first, second = (replace(cabin.config, data=tmp_path / name) for name in ("one", "two"))
    restored(backup, first)
    ledger = opened(first)
    back_up(first, ledger, tmp_path / "b2.zip", pictures=PictureFolder(first.data))
    restored(tmp_path / "b2.zip", second)
    assert contents(opened(second), "meta", "event") == contents(ledger, "meta", "event")
