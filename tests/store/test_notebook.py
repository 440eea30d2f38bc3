"""What the notebook promises whoever records: saved is saved, numbers are not reused, nothing leaks."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from fieldapp.records.changes import UnreadableChange, canonical, read, write
from fieldapp.store import live
from fieldapp.store.errors import NotebookClosed, NotebookInUse, NotSetUp
from fieldapp.store.lines import Entry
from fieldapp.store.notebook import Cursor, Edit, Notebook
from tests.records.makers import Pen
from tests.store.makers import ANA, SITE, clock, form, new_id, state, tablet


@pytest.fixture
def notebook(tmp_path: Path):
    with tablet(tmp_path) as opened:
        yield opened


def lines_of(notebook: Notebook) -> int:
    return len(notebook._live.journal.raw_lines())


def test_a_save_is_a_chained_change_of_this_notebook(notebook):
    one = notebook.save("docket", "r1", form(1), {}, ANA)
    two = notebook.save("docket", "r1", {"count": 2}, {"count": [one.id]}, ANA)
    assert (one.n, one.prev, two.n, two.prev) == (1, "", 2, one.id)
    assert one.notebook == two.notebook == notebook.id
    assert one.site == SITE
    assert one.at == "2026-06-01T09:00:00.000+02:00"
    assert one.by == ANA
    record = notebook.record("docket", "r1")
    assert record.value("count") == 2
    assert record.heads["count"] == {two.id: 2}
    assert notebook.history("r1") == [one, two]
    assert read(two.body, two.id) == two


def test_a_save_is_one_line(notebook):
    notebook.draft("form", {"tap": 1})
    before = lines_of(notebook)
    notebook.save("docket", "r1", form(1), {}, ANA, finishes="form")
    notebook.save_many([Edit("docket", "r2", form(2)), Edit("hold", "h2", {"docket": "r2"})], ANA)
    assert lines_of(notebook) == before + 2
    assert notebook.drafts() == {}


def test_several_changes_saved_as_one_are_all_there_or_none(tmp_path):
    with tablet(tmp_path) as notebook:
        notebook.save("docket", "r0", form(0), {}, ANA)
        notebook.draft("form", {"tap": 1})
        before = state(notebook)
        size = (tmp_path / "journal").stat().st_size
        two = notebook.save_many(
            [Edit("docket", "r1", {"human/1": {"answer": "stop"}}), Edit("hold", "h1", {"docket": "r1"})],
            ANA,
            finishes="form",
        )
        assert [change.n for change in two] == [2, 3]
        assert two[1].prev == two[0].id
    whole = (tmp_path / "journal").read_bytes()
    for cut in range(size, len(whole)):
        (tmp_path / "journal").write_bytes(whole[:cut])
        live_now = live.Live(tmp_path, new_id)
        assert live_now.keeping.n == before["keeping"]["n"]
        assert list(live_now.keeping.drafts) == ["form"]
        assert set(live_now.book().fold.records) == {"r0"}
        live_now.close()


def test_a_save_that_cannot_be_written_down_changes_nothing(notebook):
    before, size = state(notebook), lines_of(notebook)
    for value in (float("nan"), {1, 2}, "\ud800", "x" * 1_000_001):
        with pytest.raises(UnreadableChange):
            notebook.save_many([Edit("docket", "ok", {"count": 1}), Edit("docket", "bad", {"count": value})], ANA)
        with pytest.raises((TypeError, ValueError)):
            notebook.draft("form", {"value": value if value != "x" * 1_000_001 else {1}})
    assert state(notebook) == before
    assert lines_of(notebook) == size


def test_before_it_knows_its_site_a_notebook_says_what_is_missing(tmp_path):
    with Notebook.open(tmp_path, clock(), new_id) as notebook:
        with pytest.raises(NotSetUp, match="site"):
            notebook.save("docket", "r", {"count": 1}, {}, ANA)
        notebook.identify(site=SITE)
        with pytest.raises(NotSetUp, match="site code"):
            notebook.next_label()
        notebook.identify(code="hlg26")
        with pytest.raises(NotSetUp, match="letter"):
            notebook.next_label()
        notebook.identify(letter="b")
        assert str(notebook.next_label()).startswith("HLG26 B1-")
        lines = lines_of(notebook)
        notebook.identify(site=SITE, letter="B")
        assert lines_of(notebook) == lines, "what it knows already is not written again"


def test_a_label_is_never_handed_out_twice_not_even_after_a_crash_or_a_compaction(tmp_path):
    given = []
    for round_number in range(4):
        folder = tmp_path / "notebook"
        with tablet(folder) as notebook:
            given += [notebook.next_label().number for _ in range(3)]
            if round_number == 1:
                notebook.compact()
            if round_number == 2:
                # The tablet dies: no rest, no close; its lock goes with its process.
                crashed = tmp_path / "crashed"
                crashed.mkdir()
                for name in ("journal",):
                    (crashed / name).write_bytes((folder / name).read_bytes())
        if round_number == 2:
            for one in folder.glob("snapshot/*"):
                one.unlink()
            (folder / "journal").write_bytes((tmp_path / "crashed" / "journal").read_bytes())
    assert given == list(range(1, 13))


def test_labels_seen_on_records_are_not_handed_out_again(notebook):
    pen = Pen("cabin")
    label = str(notebook.next_label()).replace("B1-", "B1-")
    assert label == "HLG26 B1-P"
    # This notebook's own label 41, which it does not remember: it was put back from an old copy.
    from fieldapp.domain.labels import Label

    notebook.pull([pen.write({"label": str(Label("HLG26", "B", 41))}, record="r41")])
    notebook.pull([pen.write({"label": str(Label("HLG26", "C", 90))}, record="r90")])
    notebook.pull([pen.write({"label": "HLG26 B99-?"}, record="r99")])
    assert notebook.next_label().number == 42


def test_drafts_survive_tap_by_tap_and_are_copies(tmp_path):
    with tablet(tmp_path) as notebook:
        value = {"element": "tibia", "portions": ["a"]}
        for tap in range(3):
            value["tap"] = tap
            notebook.draft("form", value)
        value["portions"].append("leak")
        notebook.drafts()["form"]["portions"].append("leak")
        notebook.draft("other", {})
        notebook.drop_draft("other")
        notebook.drop_draft("never was")
    with tablet(tmp_path) as again:
        assert again.drafts() == {"form": {"element": "tibia", "portions": ["a"], "tap": 2}}


def test_settings_are_kept_and_are_copies(tmp_path):
    with tablet(tmp_path) as notebook:
        notebook.set_setting("sticky", {"bag": ["x"]})
        notebook.setting("sticky")["bag"].append("leak")
        notebook.set_setting("theme", "dusk")
        notebook.set_setting("nothing", None)
    with tablet(tmp_path) as again:
        assert again.setting("sticky") == {"bag": ["x"]}
        assert again.setting("theme", "light") == "dusk"
        assert again.setting("nothing", 5) is None
        assert again.setting("unheard of", 5) == 5


def test_records_handed_out_do_not_change_under_their_reader_nor_let_him_change_the_notebook(notebook):
    one = notebook.save("docket", "r1", form(1), {}, ANA)
    shown = notebook.records("docket")[0]
    before = canonical(shown.as_json())
    notebook.save("docket", "r1", {"count": 9, "deleted": True}, {"count": [one.id]}, ANA)
    assert canonical(shown.as_json()) == before
    own = notebook.record("docket", "r1")
    own.value("reading")["side"] = "right"
    own.heads["count"].clear()
    assert notebook.record("docket", "r1").value("reading")["side"] == "left"
    assert notebook.record("docket", "r1").value("count") == 9


def test_deleted_records_are_listed_only_when_asked_for(notebook):
    one = notebook.save("docket", "r1", form(1), {}, ANA)
    notebook.save("docket", "r2", form(2), {}, ANA)
    heads = notebook.record("docket", "r1").head_ids()
    gone = notebook.save("docket", "r1", {"deleted": True}, heads, ANA)
    assert [record.id for record in notebook.records("docket")] == ["r2"]
    assert [record.id for record in notebook.records("docket", deleted=True)] == ["r1", "r2"]
    assert notebook.record("docket", "r1").life() == "deleted"
    assert notebook.first().counts == {"docket": 1}
    # Somebody who had not seen the deletion goes on: then it is disputed, and back among the records.
    other = Pen("other")
    notebook.pull([other.write({"count": 3}, {"count": [one.id]}, record="r1")])
    assert [record.id for record in notebook.records("docket")] == ["r1", "r2"]
    assert [record.id for record in notebook.disputed()] == ["r1"]
    back = {"deleted": [gone.id]}
    notebook.save("docket", "r1", {"deleted": None}, back, ANA)
    assert notebook.disputed() == []
    assert notebook.record("docket", "r1").life() == "live"


def test_a_record_is_found_under_its_kind_only(notebook):
    notebook.save("docket", "r1", form(1), {}, ANA)
    assert notebook.record("bag", "r1") is None
    assert notebook.record("docket", "r2") is None
    assert notebook.records("bag") == []


# -- pulling --


def test_pulled_changes_are_kept_verbatim_and_known_ones_passed_over(tmp_path):
    pen = Pen("other")
    changes = [pen.write({"count": n, "new field": {"é": [n, None]}}, record=f"r{n}") for n in range(3)]
    with tablet(tmp_path) as notebook:
        own = notebook.save("docket", "r9", form(9), {}, ANA)
        first = notebook.pull([changes[0], changes[1].body, changes[0]])
        assert [one.id for one in first.new] == [changes[0].id, changes[1].id]
        assert first.known == 1
        second = notebook.pull([*changes, own])
        assert [one.id for one in second.new] == [changes[2].id]
        assert second.known == 3
        assert second.strays == []
        lines = lines_of(notebook)
        assert notebook.pull(changes).new == []
        assert lines_of(notebook) == lines
    with tablet(tmp_path) as again:
        kept = {one: body for is_own, one, body in again.bodies() if not is_own}
        assert kept == {one.id: one.body for one in changes}
        assert again.unsent_count("cabin") == 1
        assert again.verify().pulled == 3


def test_bodies_that_cannot_be_read_are_kept_passed_on_and_reported(tmp_path):
    later = canonical({"notebook": "x", "n": 4, "format": 9})
    pretty = '{\n "not": "a change"\n}'
    with tablet(tmp_path) as notebook:
        found = notebook.pull([later, pretty, "no json at all", "\ud800", later])
        assert [bool(one.id) for one in found.unread] == [True, True, True, False]
        assert found.known == 1
        assert notebook.pull([pretty]).known == 1
    with tablet(tmp_path) as again:
        assert {one.id for one in again.unread()} == {one.id for one in found.unread if one.id}
        assert [body for _, _, body in again.bodies()] == [later, pretty, "no json at all"]
        assert list(again.changes()) == []
        checked = again.verify()
        assert (checked.unread, checked.problems) == (3, [])


def test_a_pull_and_its_cursor_are_one_save(notebook):
    lines = lines_of(notebook)
    here = Cursor("epoch-1", 17, {})
    notebook.pull([Pen("other").write({"count": 1})], "cabin", here)
    assert lines_of(notebook) == lines + 1
    assert notebook.cursor("cabin") == here
    assert notebook.cursor("another cabin") == Cursor()
    notebook.pull([], "cabin", here)
    notebook.set_cursor("cabin", here)
    assert lines_of(notebook) == lines + 1, "nothing new, nothing written"
    notebook.pull([], "cabin", Cursor("epoch-1", 18, {}))
    assert notebook.cursor("cabin").seq == 18


# -- sending --


def test_unsent_changes_come_oldest_first_until_answered_for(notebook):
    made = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(5)]
    made += notebook.save_many([Edit("docket", "r5", form(5)), Edit("docket", "r6", form(6))], ANA)
    notebook.pull([Pen("other").write({"count": 1})])
    assert notebook.unsent("cabin") == made
    assert notebook.unsent("cabin", 2) == made[:2]
    assert notebook.unsent_count("cabin") == 7
    notebook.mark_pushed("cabin", made[1])
    notebook.mark_pushed("cabin", made[0])
    assert notebook.unsent("cabin") == made[2:]
    notebook.mark_pushed("cabin", made[5])
    assert notebook.unsent("cabin") == made[6:]
    assert notebook.unsent_count("cabin") == 1
    assert notebook.unsent("another cabin") == made
    notebook.mark_pushed("cabin", made[6])
    assert notebook.unsent("cabin") == []
    # The cabin was restored from a backup: another epoch, and everything is sent again.
    notebook.set_cursor("cabin", Cursor("epoch-2", 0, {}))
    assert notebook.unsent("cabin") == made


# -- opening, holding, closing --


def test_the_notebook_is_held_by_one_at_a_time(tmp_path):
    with tablet(tmp_path):
        with pytest.raises(NotebookInUse, match="already open"):
            tablet(tmp_path)
        with pytest.raises(NotebookInUse):
            Notebook.recover(tmp_path, new_id)
        program = (
            "import sys; from pathlib import Path; from tests.store.makers import *\n"
            "from fieldapp.store.errors import NotebookInUse\n"
            "try: tablet(Path(sys.argv[1]))\n"
            "except NotebookInUse as error: print(error)"
        )
        said = subprocess.run(
            [sys.executable, "-c", program, str(tmp_path)], check=True, stdout=subprocess.PIPE, text=True
        )
        assert "Close the other one" in said.stdout
    tablet(tmp_path).close()


def test_any_thread_may_close_the_notebook(tmp_path):
    notebook = tablet(tmp_path)
    closing = threading.Thread(target=notebook.close)
    closing.start()
    closing.join()
    tablet(tmp_path).close()


def test_a_notebook_that_did_not_open_lets_go_of_its_lock(tmp_path):
    (tmp_path / "journal").write_bytes(b"rubbish\n" * 3)
    from fieldapp.store.errors import JournalDamaged

    for _ in range(2):
        with pytest.raises(JournalDamaged):
            tablet(tmp_path)
    assert Notebook.recover(tmp_path, new_id).set_aside == 3
    tablet(tmp_path).close()


def test_a_closed_notebook_says_so(tmp_path):
    notebook = tablet(tmp_path)
    notebook.close()
    notebook.close()
    notebook.rest()
    for call in (
        lambda: notebook.save("docket", "r", {"count": 1}, {}, ANA),
        lambda: notebook.draft("a", {}),
        notebook.next_label,
        notebook.compact,
    ):
        with pytest.raises(NotebookClosed, match="Open it again"):
            call()


def test_a_clock_without_a_zone_is_refused(tmp_path):
    with tablet(tmp_path) as notebook:
        notebook.clock = lambda: clock()().replace(tzinfo=None)
        with pytest.raises(ValueError, match="zone"):
            notebook.save("docket", "r", {"count": 1}, {}, ANA)


def test_entries_of_a_newer_version_are_kept_through_everything(tmp_path):
    with tablet(tmp_path) as notebook:
        notebook._live.journal.append([Entry("photo", "of a later version"), Entry("draft", '{"drop":[],"put":{}}')])
        notebook.save("docket", "r", form(1), {}, ANA)
        notebook.compact()
    with tablet(tmp_path) as again:
        entries = [entry for line in again._live.journal.lines() for entry in line.entries]
        assert Entry("photo", "of a later version") in entries


def test_compaction_drops_what_is_past_and_no_change(tmp_path):
    with tablet(tmp_path) as notebook:
        for n in range(20):
            for tap in range(5):
                notebook.draft("form", {"tap": tap, "form": form(n)})
            notebook.save("docket", f"r{n}", form(n), {}, ANA, finishes="form")
            notebook.set_cursor("cabin", Cursor("e", n, {}))
        notebook.draft("open", {"tap": 1})
        notebook.next_label()
        before, bodies = state(notebook), list(notebook.bodies())
        size = (tmp_path / "journal").stat().st_size
        notebook.compact()
        assert (tmp_path / "journal").stat().st_size < size / 3
        assert list(notebook.bodies()) == bodies
        after = state(notebook)
        before["keeping"].pop("wasted"), after["keeping"].pop("wasted")
        assert after == before
        notebook.save("docket", "later", form(21), {}, ANA)
        last = state(notebook)
    with tablet(tmp_path) as again:
        assert state(again) == last
        assert again.verify().problems == []


def test_the_journal_is_compacted_at_a_rest_once_most_of_it_is_past(tmp_path, monkeypatch):
    monkeypatch.setattr(live, "COMPACT_ABOVE", 20_000)
    with tablet(tmp_path) as notebook:
        notebook.save("docket", "r", form(1), {}, ANA)
        largest = 0
        for tap in range(400):
            notebook.draft("form", {"tap": tap, "form": form(tap)})
            largest = max(largest, (tmp_path / "journal").stat().st_size)
            notebook.rest()
        assert largest < 60_000
        assert notebook.drafts()["form"]["tap"] == 399


def test_saving_reading_and_resting_from_several_threads_keeps_everything(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(live, "STATE_AFTER", 10)
    wrong: list[BaseException] = []

    def run(work) -> None:
        try:
            for n in range(40):
                work(n)
        except BaseException as error:
            wrong.append(error)

    with tablet(tmp_path) as notebook:
        pen = Pen("other")
        jobs = [
            lambda n: notebook.save("docket", f"r{n % 7}", {"count": n}, {}, ANA),
            lambda n: notebook.pull([pen.write({"count": n}, record=f"r{n % 5}")]),
            lambda n: [record.as_json() for record in notebook.records("docket")],
            lambda n: notebook.rest(),
            lambda n: notebook.rest(),
            lambda n: notebook.draft("form", {"n": n}),
            lambda n: notebook.db.table("dockets").all(),
        ]
        threads = [threading.Thread(target=run, args=(job,)) for job in jobs]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert wrong == []
        assert caplog.text == ""
        assert notebook.n == 40
        assert notebook.verify().problems == []
        before = state(notebook)
    with tablet(tmp_path) as again:
        assert state(again) == before


def test_a_change_written_elsewhere_by_hand_is_no_own_change(notebook):
    body = json.loads(notebook.save("docket", "r", form(1), {}, ANA).body)
    stray = write(**{**{k: body[k] for k in body if k != "format"}, "n": 9})
    found = notebook.pull([stray])
    assert found.strays == [stray]
    assert notebook.lives_elsewhere
    assert notebook.n == 1


def test_a_record_claimed_as_two_kinds_is_listed_under_one_everywhere_the_same(tmp_path):
    with tablet(tmp_path) as notebook:
        notebook.save("docket", "r1", {"count": 1}, {}, ANA)
        notebook.save("bag", "r1", {"label": "x"}, {}, ANA)
        assert [record.id for record in notebook.records("docket")] == ["r1"]
        assert notebook.records("bag") == []
        assert notebook.first().counts == {"docket": 1}
        assert notebook.record("docket", "r1").value("count") == 1
