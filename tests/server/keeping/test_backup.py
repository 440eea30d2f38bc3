"""A backup holds everything, of one moment, in a file that any program for zips can open."""

from __future__ import annotations

import json
import os
import subprocess
import threading
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from fieldapp.records.changes import read
from server.errors import KeyMissing
from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.errors import BackupThere
from server.keeping.pictures import PictureFolder
from server.ledger import tables
from tests.server.keeping.conftest import PHOTO, SEALED, SHA, contents, restored
from tests.server.tablets import Tablet, an_id

LINES = ("docket_line", "context_line", "bag_line")
"""Made when the rules look at the records."""


def test_every_table_is_kept_but_those_that_are_worked_out(cabin, backup):
    with archive.reading(backup) as found:
        names = {name.removesuffix(".ndjson") for name in found.names("tables")}
    assert names == set(tables.metadata.tables) - {"record", "link", "disagreement", "problem", *LINES}


def test_what_is_in_it_can_be_read_without_this_program(backup, cabin, tmp_path):
    # An outside reader: the library's own zip module, and the digests recomputed by coreutils' sha256sum.
    with zipfile.ZipFile(backup) as zipped:
        assert zipped.testzip() is None
        told = json.loads(zipped.read("manifest.json"))
        lines = zipped.read("tables/change.ndjson").splitlines()
        zipped.extractall(tmp_path / "out")
        comment = zipped.comment.decode()
    assert len(lines) == told["head"] == cabin.ledger.names().head
    assert all(read(row["body"], row["id"]) for row in map(json.loads, lines))
    for name, part in told["parts"].items():
        said = subprocess.run(["sha256sum", tmp_path / "out" / name], capture_output=True, text=True, check=True)
        assert said.stdout.split()[0] == part["sha256"]
    said = subprocess.run(["sha256sum"], input=backup.read_bytes()[:-64], capture_output=True, check=True)
    assert said.stdout.split()[0].decode() == comment
    assert (tmp_path / "out" / "photos" / SHA).read_bytes() == PHOTO
    assert (tmp_path / "out" / "photos" / SEALED).is_file()


def test_it_is_readable_by_its_owner_only_and_never_written_over(cabin, backup):
    assert backup.stat().st_mode & 0o777 == 0o600
    before = backup.read_bytes()
    with pytest.raises(BackupThere):
        back_up(cabin.config, cabin.ledger, backup, pictures=None)
    assert backup.read_bytes() == before
    assert os.listdir(backup.parent).count(backup.name) == 1
    assert not list(backup.parent.glob("*.part"))


def test_without_a_key_there_is_no_backup_that_would_pass_for_one(cabin, tmp_path):
    cabin.config.seal_key.unlink()
    with pytest.raises(KeyMissing):
        back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    assert not list(tmp_path.glob("b.zip*"))


def test_photographs_can_be_left_out_and_the_key_of_sessions_always_is(cabin, tablet, tmp_path):
    cabin.config.session_key.write_bytes(b"x" * 32)
    (cabin.config.data / "cabin.toml").write_text("[log]\nto = '-'\n")
    done = back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    names = set(done.parts)
    assert not any(name.startswith("photos/") for name in names)
    assert {one for one in names if one.startswith("folder/")} == {
        f"folder/{name}" for name in ("cabin.crt", "cabin.key", "cabin.toml", "seal.key")
    }
    assert done.with_photos is False


def test_a_backup_made_while_four_tablets_push_is_one_moment(cabin, tmp_path, opened):
    pushing = [Tablet(f"tablet {number}") for number in range(4)]
    for tablet in pushing:
        for number in range(120):
            tablet.write("docket", an_id(f"{tablet.id} {number % 9}"), {f"note/{number}": "x"})
    faults: list[BaseException] = []
    begun = threading.Barrier(5)

    def push(tablet: Tablet) -> None:
        try:
            begun.wait()
            for start in range(0, 120, 4):
                cabin.ledger.accept(tablet.entries(start)[:4], tablet.id)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=push, args=(one,)) for one in pushing]
    for thread in threads:
        thread.start()
    begun.wait()
    heads = []
    number = 0
    while any(thread.is_alive() for thread in threads) or not number:
        path = tmp_path / f"b{number}.zip"
        heads.append(back_up(cabin.config, cabin.ledger, path, pictures=None).head)
        number += 1
    for thread in threads:
        thread.join()
    assert faults == []
    assert heads == sorted(heads)
    assert any(1 < head < 481 for head in heads), "no backup fell into the pushing"
    for number, head in enumerate(heads):
        with archive.reading(tmp_path / f"b{number}.zip") as found:
            rows_of = {
                name: [json.loads(line) for line in found.lines(f"tables/{name}.ndjson")]
                for name in ("change", "notebook", "meta")
            }
        assert [row["seq"] for row in rows_of["change"]] == list(range(1, head + 1))
        # Whole batches of four, chained from the first: what one table says fits what the other says.
        for row in rows_of["notebook"]:
            chain = sorted(one["n"] for one in rows_of["change"] if one["notebook"] == row["id"])
            assert chain == list(range(1, row["reached"] + 1))
            assert row["reached"] % 4 == 0
        assert {"key": "head", "value": str(head)} in rows_of["meta"]
    config = replace(cabin.config, data=tmp_path / "again")
    restored(tmp_path / f"b{len(heads) // 2}.zip", config)
    assert opened(config).rebuild_matches()


def test_memory_does_not_grow_with_what_is_backed_up(cabin, tmp_path):
    # A picture far larger than what may be held of it: written and read in pieces.
    pictures = PictureFolder(cabin.config.data)
    big = cabin.config.data / "photos"
    big.mkdir()
    with (big / ("cd" * 32 + ".sealed")).open("wb") as file:
        file.truncate(200_000_000)
    import tracemalloc

    tracemalloc.start()
    back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=pictures)
    with archive.reading(tmp_path / "b.zip") as found:
        for _ in found.pieces(f"photos/{'cd' * 32}.sealed"):
            pass
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20_000_000


def test_the_log_says_that_a_backup_was_made(cabin, backup):
    (event,) = cabin.ledger.events(5, "backed_up")
    assert event.fields == {"file": backup.name, "head": cabin.ledger.names().head}


def test_a_restored_cabin_has_every_row_that_was_there(cabin, backup, tmp_path, opened):
    config = replace(cabin.config, data=tmp_path / "again")
    restored(backup, config)
    before, after = (
        contents(cabin.ledger, "meta", "event", "problem", *LINES),
        contents(opened(config), "meta", "event", "problem", *LINES),
    )
    assert after == before
    assert len(before["unread"]) == 1


def test_a_name_that_is_no_photograph_s_is_not_read_from_the_folder(cabin, tmp_path):
    folder = cabin.config.data / "photos"
    folder.mkdir()
    for name in ("notes.txt", SHA + ".part", SHA[:10], "x" + SHA):
        (folder / name).write_bytes(b"x")
    (folder / "ab").mkdir()
    (folder / "ab" / SHA).write_bytes(PHOTO)
    assert list(PictureFolder(cabin.config.data).names()) == [f"ab/{SHA}"]


def test_a_folder_that_is_missing_is_made_for_the_backup(cabin, tmp_path: Path):
    back_up(cabin.config, cabin.ledger, tmp_path / "new" / "b.zip", pictures=None)
    assert (tmp_path / "new" / "b.zip").is_file()
