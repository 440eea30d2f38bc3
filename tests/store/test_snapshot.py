"""Opening from a snapshot gives what reading every line gives, and a snapshot that is not right is not believed."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.store import live, snapshot
from fieldapp.store.journal import Journal
from fieldapp.store.lines import Entry, decode, encode
from fieldapp.store.notebook import Cursor, Notebook
from tests.records.makers import Pen
from tests.store.makers import ANA, clock, form, new_id, state, tablet

small = st.integers(0, 3)
paths = st.sampled_from(["count", "reading", "note/1", "human/1", "deleted", "new word", "label"])
steps = st.lists(
    st.one_of(
        st.tuples(st.just("save"), small, paths, small, st.booleans()),
        st.tuples(st.just("pull"), small, paths, small, st.booleans()),
        st.tuples(st.just("clone"), small, paths, small, st.booleans()),
        st.tuples(st.sampled_from(["draft", "drop", "setting", "cursor", "pushed", "label", "unread"]), small),
        st.tuples(st.sampled_from(["rest", "compact", "reopen", "crash", "new life", "load"])),
    ),
    max_size=30,
)


class Player:
    """Plays a history of steps on a notebook in `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.pens = {"pull": Pen("other"), "clone": Pen("clone")}
        self.opened = 0
        self.notebook = tablet(folder)
        self.pens["clone"].notebook = self.notebook.id

    def play(self, step: tuple) -> None:
        notebook, (what, *rest) = self.notebook, step
        if what in ("save", "pull", "clone"):
            number, path, value, knowing = rest
            record = notebook.record("docket", f"r{number}")
            heads = record.head_ids() if record else {}
            over = {} if not knowing else heads if path == "deleted" else {path: heads.get(path, [])}
            values = {path: bool(value % 2) if path == "deleted" else f"HLG26 B{value}-?" if path == "label" else value}
            if what == "save":
                notebook.save("docket", f"r{number}", values, over, ANA)
            else:
                notebook.pull([self.pens[what].write(values, over, record=f"r{number}")])
        elif what in ("draft", "drop", "setting", "cursor", "unread"):
            key = str(rest[0])
            {
                "draft": lambda: notebook.draft(key, {"tap": notebook.drafts().get(key, {}).get("tap", 0) + 1}),
                "drop": lambda: notebook.drop_draft(key),
                "setting": lambda: notebook.set_setting(key, ["x", rest[0]]),
                "cursor": lambda: notebook.set_cursor("cabin", Cursor(key, rest[0], notebook.cursor("cabin").pushed)),
                "unread": lambda: notebook.pull([f"no change {key}\n"]),
            }[what]()
        elif what == "pushed":
            for change in notebook.unsent("cabin", rest[0]):
                notebook.mark_pushed("cabin", change)
        elif what == "label":
            if notebook.letter:
                notebook.next_label()
        elif what == "new life":
            notebook.new_life("B")
        elif what == "load":
            notebook.load()
        elif what in ("rest", "compact"):
            getattr(notebook, what)()
        else:
            if what == "reopen":
                notebook.close()
            else:
                notebook._live.close()  # the journal as it lies, nothing tidied up
                notebook._held.release()
            self.opened += 1
            self.notebook = Notebook.open(self.folder, clock(), new_id)


@given(steps)
def test_going_on_opening_from_the_snapshot_and_reading_every_line_are_the_same(history):
    after, live.STATE_AFTER = live.STATE_AFTER, 3
    try:
        with TemporaryDirectory() as folder:
            player = Player(Path(folder) / "a")
            for step in history:
                player.play(step)
            going_on, first = state(player.notebook), player.notebook.first()
            unsent = player.notebook.unsent("cabin")
            assert player.notebook.unsent_count("cabin") == len(unsent)
            bare = Path(folder) / "b"
            bare.mkdir()
            shutil.copy(player.folder / "journal", bare / "journal")
            player.play(("crash",))
            assert player.notebook.first() == first
            assert state(player.notebook) == going_on
            assert player.notebook.unsent("cabin") == unsent
            player.notebook.close()
            with Notebook.open(bare, clock(), new_id) as replayed:
                assert state(replayed) == going_on
                assert [one.key for one in replayed.verify().problems if one.key == "store.verify.state"] == []
    finally:
        live.STATE_AFTER = after


def filled(folder: Path, monkeypatch) -> dict:
    """A notebook with both parts of a snapshot and some saves behind each; its state."""
    monkeypatch.setattr(live, "STATE_AFTER", 10)
    with tablet(folder) as notebook:
        for n in range(12):
            notebook.save("docket", f"r{n}", form(n), {}, ANA)
        notebook.rest()
        notebook.draft("form", {"tap": 1})
        notebook.save("docket", "r0", {"count": 7}, {}, ANA)
        return state(notebook)


def test_the_first_screen_is_there_without_reading_the_records(tmp_path, monkeypatch):
    expected = filled(tmp_path, monkeypatch)
    with tablet(tmp_path) as notebook:
        # Drafts and labels behind the snapshot need no records either.
        notebook.draft("form", {"tap": 2})
        notebook.next_label()
        first = notebook.first()
        assert notebook._live._book is None
        assert first.counts == {"docket": 12}
        assert first.disputed == 1
        assert [one["id"] for one in first.newest["docket"]] == [f"r{n}" for n in range(11, -1, -1)]
        assert first.newest["docket"][0]["reading"]["element"] == "tibia"
        first.newest["docket"][0]["reading"]["element"] = "leak"
        assert notebook.first().newest["docket"][0]["reading"]["element"] == "tibia"
        assert notebook.n == 13
        assert state(notebook)["records"] == expected["records"]


def test_the_first_screen_shows_at_most_fifty_of_a_kind(tmp_path):
    with tablet(tmp_path) as notebook:
        for n in range(60):
            notebook.save("docket", f"r{n}", {"count": n}, {}, ANA)
    with tablet(tmp_path) as notebook:
        assert [one["count"] for one in notebook.first().newest["docket"]] == list(range(59, 9, -1))
        assert notebook.first().counts == {"docket": 60}


def test_after_a_sudden_end_the_first_screen_holds_what_was_saved_last(tmp_path, monkeypatch):
    filled(tmp_path, monkeypatch)
    player = Player(tmp_path)
    player.notebook.save("docket", "last", form(99), {}, ANA)
    player.play(("crash",))
    assert player.notebook.first().newest["docket"][0]["id"] == "last"
    player.notebook.close()


def shortened(data: bytes) -> bytes:
    return data[:-10]


def one_bit(data: bytes) -> bytes:
    return data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 1]) + data[len(data) // 2 + 1 :]


def another_version(data: bytes) -> bytes:
    entries = [decode(line)[0] for line in data.splitlines()]
    # A version that means something else by the same words.
    payloads = [entry.payload.replace('"letter": "B"', '"letter": "Z"').replace("cattle", "a") for entry in entries]
    own = f'"version": {snapshot.VERSION}'
    assert own in payloads[0]
    payloads[0] = payloads[0].replace(own, '"version": 999')
    return b"".join(encode([Entry(entry.kind, one)]) for entry, one in zip(entries, payloads, strict=True))


def without_the_last_line(data: bytes) -> bytes:
    return b"".join(data.splitlines(keepends=True)[:-1])


def no_keeping(data: bytes) -> bytes:
    lines = data.splitlines()
    entry = decode(lines[0])[0]
    changed = entry._replace(payload=entry.payload.replace('"notebook": ', '"not a book": '))
    return encode([changed]) + b"".join(line + b"\n" for line in lines[1:])


@pytest.mark.parametrize("part", ["first", "state"])
@pytest.mark.parametrize(
    "spoil",
    [
        shortened,
        one_bit,
        another_version,
        no_keeping,
        without_the_last_line,
        lambda data: b"",
        lambda data: b"\0" * 100,
        lambda data: None,
    ],
)
def test_a_snapshot_that_is_torn_altered_or_of_another_version_is_not_believed(tmp_path, monkeypatch, part, spoil):
    expected = filled(tmp_path, monkeypatch)
    file = tmp_path / "snapshot" / part
    spoiled = spoil(file.read_bytes())
    if spoiled is None:
        file.unlink()
    else:
        file.write_bytes(spoiled)
    with tablet(tmp_path) as notebook:
        assert state(notebook) == expected
        assert notebook.verify().problems == []


def test_a_snapshot_cut_at_any_byte_is_not_believed(tmp_path, monkeypatch):
    expected = filled(tmp_path, monkeypatch)
    file = tmp_path / "snapshot" / "first"
    whole = file.read_bytes()
    for cut in range(0, len(whole), 97):
        file.write_bytes(whole[:cut])
        opened = live.Live(tmp_path, new_id)
        assert opened._first is None
        assert opened.keeping.as_json() == expected["keeping"]
        opened.close()


def test_a_snapshot_newer_than_the_journal_is_not_believed(tmp_path, monkeypatch):
    with tablet(tmp_path) as notebook:
        notebook.save("docket", "r1", form(1), {}, ANA)
        old = (tmp_path / "journal").read_bytes()
        before = state(notebook)
    filled(tmp_path, monkeypatch)
    (tmp_path / "journal").write_bytes(old)
    with tablet(tmp_path) as notebook:
        assert state(notebook) == before


def test_a_snapshot_of_another_notebook_is_not_believed(tmp_path, monkeypatch):
    expected = filled(tmp_path / "one", monkeypatch)
    with tablet(tmp_path / "two") as other:
        for n in range(30):
            other.save("docket", f"x{n}", form(n), {}, ANA)
    shutil.rmtree(tmp_path / "one" / "snapshot")
    shutil.copytree(tmp_path / "two" / "snapshot", tmp_path / "one" / "snapshot")
    with tablet(tmp_path / "one") as notebook:
        assert state(notebook) == expected


def test_a_snapshot_whose_records_were_altered_skilfully_is_found_by_verify(tmp_path, monkeypatch):
    filled(tmp_path, monkeypatch)
    file = tmp_path / "snapshot" / "state"
    lines = [decode(line)[0] for line in file.read_bytes().splitlines()]
    changed = [entry._replace(payload=entry.payload.replace("cattle", "badger", 1)) for entry in lines]
    assert changed != lines
    file.write_bytes(b"".join(encode([entry]) for entry in changed))
    with tablet(tmp_path) as notebook:
        assert [one.key for one in notebook.verify().problems] == ["store.verify.state"]


def test_the_large_part_is_written_only_when_enough_was_saved_since(tmp_path, monkeypatch):
    monkeypatch.setattr(live, "STATE_AFTER", 10)
    written: list[int] = []
    real = snapshot.write_state
    monkeypatch.setattr(snapshot, "write_state", lambda folder, copy: (written.append(1), real(folder, copy)))
    with tablet(tmp_path) as notebook:
        for n in range(40):
            notebook.save("docket", f"r{n}", {"count": n}, {}, ANA)
            notebook.rest()
        assert len(written) == 4
    with tablet(tmp_path) as notebook:
        notebook.load()
        notebook.rest()
        assert len(written) == 4
        notebook.save("docket", "x", {"count": 1}, {}, ANA)
    assert len(written) == 4


def test_after_a_compaction_the_next_rest_writes_the_large_part_anew(tmp_path, monkeypatch):
    filled(tmp_path, monkeypatch)
    with tablet(tmp_path) as notebook:
        notebook.compact()
        expected = state(notebook)
    # Were the old one left, every line would have to be read at each opening from now on.
    journal = Journal(tmp_path / "journal", new_id)
    found = snapshot.read_state(tmp_path / "snapshot", journal)
    journal.close()
    assert found is not None
    assert {record.id: record.as_json() for record in found[2].fold} == expected["records"]
