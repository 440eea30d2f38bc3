"""Copies of a notebook, old copies put back, and chains with something missing: seen, named, and nothing lost."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from fieldapp.store import live
from fieldapp.store.errors import JournalDamaged, NotSetUp
from fieldapp.store.notebook import Notebook
from tests.records.makers import Pen
from tests.store.makers import ANA, form, new_id, state, tablet


def copied(folder: Path, to: Path) -> Path:
    return Path(shutil.copytree(folder, to, ignore=shutil.ignore_patterns("lock")))


def problems(notebook: Notebook) -> list[tuple]:
    return [(one.key.rpartition(".")[2], one.fields.get("n")) for one in notebook.verify().problems]


def test_a_copy_of_the_folder_forks_and_both_keep_both(tmp_path):
    with tablet(tmp_path / "one") as one:
        shared = one.save("docket", "r1", form(1), {}, ANA)
    copied(tmp_path / "one", tmp_path / "two")
    with tablet(tmp_path / "one") as one, tablet(tmp_path / "two") as two:
        assert one.id == two.id
        mine = one.save("docket", "r2", form(2), {}, ANA)
        theirs = two.save("docket", "r3", form(3), {}, ANA)
        assert (mine.n, theirs.n) == (2, 2)
        assert (mine.prev, theirs.prev) == (shared.id, shared.id)
        found = one.pull([shared, theirs])
        assert found.strays == [theirs]
        assert one.lives_elsewhere
        assert ("fork", 2) in problems(one)
        assert {record.id for record in one.records("docket")} == {"r1", "r2", "r3"}
        assert not two.lives_elsewhere
        two.pull([mine])
        assert two.lives_elsewhere
        assert two.load().fold.seen == one.load().fold.seen


def test_a_new_life_goes_on_without_forking_further_and_keeps_what_was_recorded(tmp_path):
    with tablet(tmp_path) as notebook:
        old = notebook.id
        before = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(3)]
        notebook.mark_pushed("cabin", before[0])
        notebook.next_label()
        new = notebook.new_life()
        assert notebook.id == new != old
        assert (notebook.n, notebook.lives_elsewhere) == (0, False)
        with pytest.raises(NotSetUp, match="letter"):
            notebook.next_label()
        notebook.identify(letter="K")
        assert str(notebook.next_label()).startswith("HLG26 K1-")
        after = notebook.save("docket", "r9", form(9), {}, ANA)
        assert (after.n, after.prev, after.notebook) == (1, "", new)
        assert notebook.unsent("cabin") == [*before[1:], after]
        assert notebook.unsent_count("cabin") == 3
        notebook.mark_pushed("cabin", after)
        assert notebook.unsent("cabin") == []
        assert notebook.verify().problems == []
        # Back on the first letter, its numbers go on where they were.
        notebook.identify(letter="B")
        assert notebook.next_label().number == 2
        held = state(notebook)
    with tablet(tmp_path) as again:
        assert state(again) == held
        again.compact()
    with tablet(tmp_path) as compacted:
        assert compacted.id == new
        assert compacted.n == 1
        assert compacted.verify().problems == []


def test_an_old_copy_put_back_learns_from_the_cabin_that_it_is_one(tmp_path):
    with tablet(tmp_path / "tablet") as notebook:
        early = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(3)]
        notebook.next_label()
    copied(tmp_path / "tablet", tmp_path / "backup")
    with tablet(tmp_path / "tablet") as notebook:
        label = notebook.next_label()
        late = [notebook.save("docket", f"s{n}", {"label": str(label), "count": n}, {}, ANA) for n in range(2)]
    shutil.rmtree(tmp_path / "tablet")
    copied(tmp_path / "backup", tmp_path / "tablet")
    with tablet(tmp_path / "tablet") as restored:
        assert restored.n == 3
        assert restored.verify().problems == []
        found = restored.pull([*early, *late])
        assert found.known == 3
        assert found.strays == late
        assert restored.lives_elsewhere
        assert restored.next_label().number == label.number + 1, "a number printed after the backup is not given again"
        restored.new_life("C")
        again = restored.save("docket", "t", form(7), {}, ANA)
        assert again.n == 1
        assert not restored.lives_elsewhere
        assert restored.verify().problems == []
        assert {record.id for record in restored.records("docket")} == {"r0", "r1", "r2", "s0", "s1", "t"}


def test_that_the_notebook_lives_elsewhere_is_remembered(tmp_path):
    with tablet(tmp_path) as notebook:
        one = notebook.save("docket", "r", form(1), {}, ANA)
        twin = Pen("twin")
        twin.notebook, twin.n, twin.prev = one.notebook, one.n, one.prev
        notebook.pull([twin.write({"count": 5}, record="r")])
    with tablet(tmp_path) as again:
        assert again.lives_elsewhere
        again.compact()
    with tablet(tmp_path) as again:
        assert again.lives_elsewhere


def damage(folder: Path, number: int) -> None:
    lines = (folder / "journal").read_bytes().splitlines(keepends=True)
    lines[number] = lines[number].replace(b"tibia", b"femur", 1)
    (folder / "journal").write_bytes(b"".join(lines))


def test_a_change_lost_to_damage_is_named_sent_around_and_fetched_back(tmp_path):
    with tablet(tmp_path) as notebook:
        made = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(4)]
        notebook.mark_pushed("cabin", made[1])
    damage(tmp_path, 4)
    shutil.rmtree(tmp_path / "snapshot")
    with pytest.raises(JournalDamaged) as told:
        tablet(tmp_path)
    assert told.value.line == 5
    done = Notebook.recover(tmp_path, new_id)
    assert made[1].body.replace("tibia", "femur").encode() in done.file.read_bytes()
    with tablet(tmp_path) as notebook:
        checked = notebook.verify()
        assert [(one.key, one.fields["first"], one.fields["last"]) for one in checked.problems] == [
            ("store.verify.gap", 2, 2)
        ]
        assert notebook.n == 4
        assert notebook.unsent("cabin") == made[2:]
        next_one = notebook.save("docket", "later", form(5), {}, ANA)
        assert (next_one.n, next_one.prev) == (5, made[3].id)
        assert notebook.pull([made[1]]).strays == [made[1]]
        assert not notebook.lives_elsewhere, "the cabin gave back what was lost; that is no second copy"
        assert notebook.verify().problems == []


def test_gaps_and_forks_of_other_notebooks_are_told_apart_from_damage(tmp_path):
    other = Pen("other")
    changes = [other.write({"count": n}, record=f"r{n}") for n in range(4)]
    with tablet(tmp_path) as notebook:
        notebook.pull([changes[0], changes[3]])
        checked = notebook.verify()
        assert checked.problems == []
        assert checked.missing == {other.notebook: 2}
        twin = Pen("other")
        notebook.pull(changes)
        notebook.pull([twin.write({"count": 99}, record="r9")])
        assert problems(notebook) == [("fork", 1)]


def test_a_chain_that_does_not_hold_is_named(tmp_path):
    other = Pen("other")
    first = other.write({"count": 1})
    other.prev = "0" * 64
    second = other.write({"count": 2})
    with tablet(tmp_path) as notebook:
        notebook.pull([first, second])
        assert problems(notebook) == [("prev", 2)]


def test_a_body_that_does_not_match_its_hash_is_named(tmp_path):
    from fieldapp.store.lines import Entry

    with tablet(tmp_path) as notebook:
        one = notebook.save("docket", "r", form(1), {}, ANA)
        # As only a faulty program could write it: the line's checksum holds, the change's hash does not.
        notebook._live.journal.append([Entry("pulled", f"{'0' * 64} {one.body}")])
        assert problems(notebook) == [("hash", 1)]


def test_damage_that_the_snapshot_covers_up_is_named_as_soon_as_the_line_is_needed(tmp_path, monkeypatch):
    monkeypatch.setattr(live, "STATE_AFTER", 2)
    with tablet(tmp_path) as notebook:
        made = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(4)]
    damage(tmp_path, 4)
    with tablet(tmp_path) as notebook:
        assert len(notebook.records("docket")) == 4
        assert notebook.history("r0") == made[:1]
        for needs in (
            lambda: notebook.history("r1"),
            lambda: notebook.unsent("cabin"),
            lambda: list(notebook.bodies()),
            notebook.verify,
            notebook.compact,
        ):
            with pytest.raises(JournalDamaged, match="Line 5 "):
                needs()
        notebook.save("docket", "r9", form(9), {}, ANA)
    assert Notebook.recover(tmp_path, new_id).set_aside == 1
    with tablet(tmp_path) as notebook:
        assert [record.id for record in notebook.records("docket")] == ["r0", "r2", "r3", "r9"]
        notebook.pull([made[1]])
        assert notebook.verify().problems == []
