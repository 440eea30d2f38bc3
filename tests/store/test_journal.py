"""The journal against torn lines, damaged lines, a disk that refuses, and rewriting."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from fieldapp.store import disk
from fieldapp.store.errors import JournalDamaged, NotTheJournal, SaveFailed
from fieldapp.store.journal import Journal, Mark, recover
from fieldapp.store.lines import Entry, encode
from tests.store.makers import new_id


def opened(path: Path, after: Mark | None = None) -> tuple[Journal, list[Entry]]:
    journal = Journal(path, new_id)
    lines = journal.replay(after)
    return journal, [entry for line in lines for entry in line.entries if entry.kind != "head"]


def three(path: Path) -> list[Entry]:
    written = [Entry("draft", f'{{"tap": "{"é" * n}"}}') for n in range(1, 4)]
    journal, _ = opened(path)
    for entry in written:
        journal.append([entry])
    journal.close()
    return written


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal"


def test_what_was_appended_is_replayed(path):
    written = three(path)
    journal, read = opened(path)
    assert read == written
    assert journal.torn == b""
    journal.close()


def test_a_last_line_cut_at_any_byte_is_put_aside_and_the_next_save_works(path):
    written = three(path)
    whole = path.read_bytes()
    start = whole[:-1].rindex(b"\n") + 1
    torn = path.with_name("journal.torn")
    for cut in range(start, len(whole)):
        path.write_bytes(whole[:cut])
        torn.unlink(missing_ok=True)
        journal, read = opened(path)
        assert read == written[:2]
        assert journal.torn == whole[start:cut]
        assert torn.exists() == (cut > start)
        if cut > start:
            assert torn.read_bytes().split(b"\n", 1)[1] == whole[start:cut] + b"\n"
        journal.append([Entry("draft", "again")])
        journal.close()
        journal, read = opened(path)
        assert read == [*written[:2], Entry("draft", "again")]
        journal.close()


@pytest.mark.parametrize("damage", [b"\0" * 12, b"\xff" * 5000, b"0" * 30 + b"\n"])
def test_a_last_line_of_rubbish_is_put_aside(path, damage):
    written = three(path)
    with path.open("ab") as file:
        file.write(damage)
    journal, read = opened(path)
    assert read == written
    assert journal.torn == damage.rstrip(b"\n")
    journal.close()


def test_each_torn_line_is_kept_beside_the_ones_before(path):
    three(path)
    for rubbish in (b"first", b"second"):
        with path.open("ab") as file:
            file.write(rubbish)
        opened(path)[0].close()
    text = path.with_name("journal.torn").read_text()
    assert "line 5 at byte" in text
    assert "first\n" in text
    assert "second\n" in text


def test_a_journal_torn_in_its_first_line_begins_again(path):
    three(path)
    head = path.read_bytes().split(b"\n")[0]
    for cut in range(len(head) + 1):
        path.write_bytes(head[:cut])
        journal, read = opened(path)
        assert read == []
        journal.append([Entry("draft", "x")])
        journal.close()
        assert opened(path)[1] == [Entry("draft", "x")]


def test_a_damaged_line_before_the_last_is_named_and_nothing_is_touched(path):
    three(path)
    lines = path.read_bytes().splitlines(keepends=True)
    for number in range(1, 4):
        damaged = list(lines)
        damaged[number - 1] = lines[number - 1].replace(b"a", b"b", 1)
        path.write_bytes(b"".join(damaged))
        with pytest.raises(JournalDamaged) as told:
            opened(path)
        error = told.value
        assert (error.line, error.offset) == (number, sum(map(len, lines[: number - 1])))
        assert (error.good_before, error.good_after, error.bad) == (number - 1, 4 - number, 1)
        assert f"Line {number} " in str(error)
        assert path.read_bytes() == b"".join(damaged)


def test_recovering_keeps_every_whole_line_and_sets_the_damaged_aside_verbatim(path):
    written = three(path)
    lines = path.read_bytes().splitlines(keepends=True)
    bad = b"\x00\xff what the disk made of it"
    path.write_bytes(lines[0] + lines[1] + bad + b"\n" + lines[3] + b"half a li")
    with pytest.raises(JournalDamaged):
        opened(path)
    done = recover(path, new_id)
    assert (done.kept, done.set_aside) == (2, 2)
    assert done.file == path.with_name("journal.damaged-1")
    aside = done.file.read_bytes()
    assert bad in aside
    assert b"half a li" in aside
    assert b"line 3 at byte" in aside
    journal, read = opened(path)
    assert read == [written[0], written[2]]
    journal.close()


def test_recovering_twice_never_overwrites_what_was_set_aside(path):
    three(path)
    for n in (1, 2):
        lines = path.read_bytes().splitlines(keepends=True)
        path.write_bytes(lines[0] + b"rubbish %d\n" % n + b"".join(lines[1:]))
        assert recover(path, new_id).file == path.with_name(f"journal.damaged-{n}")
    assert b"rubbish 1" in path.with_name("journal.damaged-1").read_bytes()
    assert b"rubbish 2" in path.with_name("journal.damaged-2").read_bytes()


def test_a_file_of_another_sort_or_a_later_format_is_left_alone(path):
    for content in (
        encode([Entry("head", '{"format":2,"journal":"x"}')]),
        encode([Entry("draft", "{}")]),
        encode([Entry("head", "no json")]),
    ):
        path.write_bytes(content)
        with pytest.raises(NotTheJournal):
            opened(path)
        assert path.read_bytes() == content
    path.write_bytes(encode([Entry("head", '{"format":2,"journal":"x"}')]) + b"bad\n" + content)
    with pytest.raises(NotTheJournal):
        recover(path, new_id)


@pytest.mark.parametrize(("code", "key"), [(errno.ENOSPC, "store.disk_full"), (errno.EIO, "store.save_failed")])
def test_a_refused_write_changes_nothing_and_the_next_works(path, monkeypatch, code, key):
    written = three(path)
    journal, _ = opened(path)
    before, mark = path.read_bytes(), journal.mark
    real = os.write

    def a_part_only(descriptor: int, data: bytes) -> int:
        if len(data) < 20:
            raise OSError(code, "refused")
        return real(descriptor, bytes(data)[:7])

    monkeypatch.setattr(os, "write", a_part_only)
    with pytest.raises(SaveFailed) as told:
        journal.append([Entry("draft", "does not fit in what is left")])
    assert told.value.key == key
    assert "kept" in str(told.value)
    monkeypatch.undo()
    assert path.read_bytes() == before
    assert journal.mark == mark
    journal.append([Entry("draft", "fits")])
    journal.close()
    assert opened(path)[1] == [*written, Entry("draft", "fits")]


def test_a_failed_sync_is_not_believed_and_the_file_is_read_afresh_before_going_on(path, monkeypatch):
    written = three(path)
    journal, _ = opened(path)
    calls: list[str] = []
    real_sync, real_open = os.fsync, os.open

    def failing(descriptor: int) -> None:
        calls.append("sync")
        if calls.count("sync") <= failures:
            raise OSError(errno.EIO, "the medium gave up")
        real_sync(descriptor)

    def noted(*args, **kwargs):
        calls.append("open")
        return real_open(*args, **kwargs)

    monkeypatch.setattr(os, "fsync", failing)
    monkeypatch.setattr(os, "open", noted)
    for failures in (1, 2, 3):
        calls.clear()
        with pytest.raises(SaveFailed):
            journal.append([Entry("draft", "in doubt")])
        assert calls[:2] == ["sync", "open"]
        if failures > 2:
            with pytest.raises(SaveFailed):
                journal.append([Entry("draft", "still in doubt")])
        written.append(Entry("draft", f"after {failures}"))
        journal.append([written[-1]])
        assert opened(path)[1] == written
    journal.close()


def test_an_interrupted_append_is_cut_off_before_the_next(path, monkeypatch):
    written = three(path)
    journal, _ = opened(path)

    def stopped(descriptor: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(disk, "sync", stopped)
    with pytest.raises(KeyboardInterrupt):
        journal.append([Entry("draft", "never acknowledged")])
    monkeypatch.undo()
    journal.append([Entry("draft", "next")])
    journal.close()
    assert opened(path)[1] == [*written, Entry("draft", "next")]


def test_a_torn_line_on_a_full_disk_stays_until_there_is_room_and_reading_goes_on(path, monkeypatch):
    written = three(path)
    with path.open("ab") as file:
        file.write(b"torn")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(disk, "append_aside", full)
    journal, read = opened(path)
    assert read == written
    assert [entry for line in journal.lines() for entry in line.entries][1:] == written
    with pytest.raises(SaveFailed):
        journal.append([Entry("draft", "no")])
    assert path.read_bytes().endswith(b"torn")
    monkeypatch.undo()
    journal.append([Entry("draft", "yes")])
    journal.close()
    assert b"torn" in path.with_name("journal.torn").read_bytes()
    assert opened(path)[1] == [*written, Entry("draft", "yes")]


def test_a_mark_fits_only_the_journal_and_the_place_it_was_taken_from(path, tmp_path):
    written = three(path)
    journal, _ = opened(path)
    mark = journal.mark
    assert journal.fits(mark)
    journal.append([Entry("draft", "later")])
    assert journal.fits(mark)
    assert [one.entries for one in journal.lines(mark)] == [[Entry("draft", "later")]]
    for wrong in (
        mark._replace(journal="another"),
        mark._replace(length=mark.length - 1),
        mark._replace(length=mark.length + 1),
        mark._replace(start=mark.start + 1),
        mark._replace(check="00000000"),
        mark._replace(length=10**9),
        mark._replace(start=-1),
    ):
        assert not journal.fits(wrong)
    journal.close()
    reopened, read = opened(path, mark)
    assert read == [Entry("draft", "later")]
    assert reopened.mark.lines == len(written) + 2
    reopened.close()


def test_rewriting_keeps_what_is_wanted_in_order_and_outdates_older_marks(path):
    three(path)
    journal, _ = opened(path)
    journal.append([Entry("change", "c1"), Entry("draft", "d"), Entry("other", "from a newer version")])
    mark = journal.mark
    journal.rewrite(lambda entry: entry.kind != "draft", [Entry("setting", "now"), Entry("cursor", "here")])
    assert not journal.fits(mark)
    journal.append([Entry("change", "c2")])
    journal.close()
    expected = [("change", "c1"), ("other", "from a newer version"), ("setting", "now"), ("cursor", "here")]
    assert opened(path)[1] == [Entry(*one) for one in (*expected, ("change", "c2"))]
    assert not path.with_name("journal.new").exists()


@pytest.mark.parametrize("refused", ["write_all", "sync", "sync_folder", "replace"])
def test_a_rewriting_that_fails_leaves_a_whole_journal_that_goes_on(path, monkeypatch, refused):
    written = three(path)
    journal, _ = opened(path)
    whole = disk.write_new

    def failing(to: Path, data: bytes) -> None:
        with monkeypatch.context() as patch:
            owner = os if refused == "replace" else disk
            patch.setattr(owner, refused, lambda *_: (_ for _ in ()).throw(OSError(errno.ENOSPC, "no space")))
            whole(to, data)

    monkeypatch.setattr(disk, "write_new", failing)
    with pytest.raises(SaveFailed):
        journal.rewrite(lambda entry: True, [])
    monkeypatch.undo()
    journal.append([Entry("draft", "goes on")])
    journal.close()
    assert opened(path)[1] == [*written, Entry("draft", "goes on")]


def test_a_rewriting_cut_off_before_it_was_done_is_as_if_it_had_not_been(path):
    written = three(path)
    path.with_name("journal.new").write_bytes(path.read_bytes()[:50])
    assert opened(path)[1] == written
    assert not path.with_name("journal.new").exists()


def test_the_folder_of_a_new_journal_is_synced_too(path, monkeypatch):
    synced: list[int] = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda descriptor: (synced.append(os.fstat(descriptor).st_mode), real(descriptor)))
    opened(path)[0].close()
    assert any(os.path.stat.S_ISDIR(mode) for mode in synced)
    synced.clear()
    opened(path)[0].close()
    assert synced == []


def test_a_file_system_that_cannot_sync_a_folder_is_no_obstacle_and_a_failing_one_is(path, monkeypatch):
    def answers(code: int) -> None:
        monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError(code, "no")))

    answers(errno.EINVAL)
    disk.sync_folder(path.parent)
    answers(errno.EIO)
    with pytest.raises(OSError, match="no"):
        disk.sync_folder(path.parent)


def test_windows_has_no_folder_to_sync(path, monkeypatch):
    monkeypatch.setattr(disk.os, "name", "nt")
    monkeypatch.setattr(os, "open", lambda *_: pytest.fail("a folder was opened"))
    disk.sync_folder(path.parent)
