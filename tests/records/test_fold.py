"""The merge: one state whatever the order, nothing lost, every disagreement found and none invented."""

from __future__ import annotations

import json
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.records.changes import canonical, read
from fieldapp.records.fold import ADD_ONLY, Fold, Record, fold, of_one
from tests.records import histories, merge_reference
from tests.records.makers import DOCKET, Pen


def state(changes) -> str:
    return canonical({record.id: record.as_json() for record in sorted(fold(changes), key=lambda one: one.id)})


@settings(max_examples=300)
@given(histories.steps, st.randoms(use_true_random=False), st.integers(0, 5))
def test_any_order_repetition_and_splitting_gives_one_state(history, rng, cuts):
    made = histories.play(history)
    delivered = made + [rng.choice(made) for _ in range(len(made) // 3)] if made else []
    rng.shuffle(delivered)
    split = Fold()
    for start in range(cuts + 1):
        for change in delivered[start :: cuts + 1]:
            split.apply(change)
    assert state(delivered) == state(made)
    assert canonical({r.id: r.as_json() for r in sorted(split, key=lambda one: one.id)}) == state(made)


@given(histories.steps)
def test_the_record_of_one_change_is_what_the_fold_makes_of_it(history):
    for change in histories.play(history):
        assert of_one(change).as_json() == fold([change]).records[change.record].as_json()


@settings(max_examples=300)
@given(histories.steps)
def test_the_heads_are_those_of_an_independent_merge(history):
    """Outside check: a reference written from the definition, sharing no code with the fold."""
    made = histories.play(history)
    expected = merge_reference.heads({change.id: change.body for change in made})
    assert {record.id: record.heads for record in fold(made)} == expected


@settings(max_examples=300)
@given(histories.steps)
def test_no_live_edit_is_lost(history):
    """An edit that nobody who saw it has replaced stands, whatever else happened."""
    made = histories.play(history)
    records = fold(made).records
    for change in made:
        (path,) = change.set
        replaced = [
            other
            for other in made
            if other.record == change.record and path in other.set and change.id in other.over.get(path, ())
        ]
        if not replaced or path.startswith(ADD_ONLY):
            assert change.id in records[change.record].heads[path]


def test_conflicts_are_found_with_recall_and_precision_of_one_over_seeded_histories():
    """Truth comes from what each notebook had seen when it wrote, not from `over`."""
    rng = random.Random(20260601)
    found_all, true_all = set(), set()
    live_edits = lost = 0
    for run in range(60):
        notebooks = [histories.Notebook(Pen(f"{run}-{name}")) for name in "ABCDE"]
        seen_by: dict[str, set[str]] = {}
        edits = []
        for _ in range(4):
            for notebook in notebooks:
                for _ in range(rng.randint(0, 3)):
                    record, path = f"{run}-r{rng.randint(0, 2)}", rng.choice(["reading", "count", "bag"])
                    before = set(notebook.known)
                    change = notebook.edit(record, path, rng.randint(0, 4), f"{rng.randint(2016, 2036)}-01-01")
                    seen_by[change.id] = before
                    edits.append(change)
            if rng.random() < 0.7:
                one, other = rng.sample(notebooks, 2)
                for change in list(one.known.values()):
                    other.take(change)
        places = {(change.record, change.set and next(iter(change.set))) for change in edits}
        for record, path in places:
            mine = [change for change in edits if change.record == record and path in change.set]
            live = [c for c in mine if not any(c.id in seen_by[other.id] for other in mine if other is not c)]
            if len({canonical(change.set[path]) for change in live}) > 1:
                true_all.add((record, path))
            state_of = fold(edits).records[record]
            live_edits += len(live)
            lost += sum(change.id not in state_of.heads[path] for change in live)
            if path in state_of.disagreements():
                found_all.add((record, path))
    assert len(true_all) > 100
    assert found_all == true_all
    assert lost == 0
    assert live_edits > 300


@given(histories.steps)
def test_a_path_never_holds_more_heads_than_notebooks_that_wrote_at_the_same_time(history):
    """The law of dotted version vectors, without clones: siblings are at most the concurrent writers."""
    made = histories.play([step for step in history if step[0] in ("edit", "meet")])
    for record in fold(made):
        for path, heads in record.heads.items():
            if not path.startswith(ADD_ONLY):
                assert len(heads) <= 3


@given(histories.steps)
def test_a_record_read_back_from_json_folds_on_as_if_it_had_never_left(history):
    made = histories.play(history)
    half = fold(made[: len(made) // 2])
    again = Fold(
        [Record.from_json(json.loads(canonical(record.as_json()))) for record in half],
        half.seen,
    )
    for change in made[len(made) // 2 :]:
        again.apply(change)
    assert canonical({r.id: r.as_json() for r in sorted(again, key=lambda one: one.id)}) == state(made)


def test_a_wrong_clock_decides_nothing():
    ana, ben = Pen("A"), Pen("B")
    first = ana.write({"count": 1}, at="2036-06-01T00:00:00+00:00")
    later = ben.write({"count": 2}, {"count": [first.id]}, at="2016-06-01T00:00:00+00:00")
    record = fold([later, first]).records[DOCKET]
    assert record.value("count") == 2
    assert record.disagreements() == {}


def test_two_notebooks_that_say_the_same_do_not_disagree():
    record = fold([Pen("A").write({"count": 3}), Pen("B").write({"count": 3})]).records[DOCKET]
    assert len(record.heads["count"]) == 2
    assert record.disagreements() == {}


def test_true_and_one_are_two_values():
    record = fold([Pen("A").write({"count": 1}), Pen("B").write({"count": True})]).records[DOCKET]
    assert "count" in record.disagreements()


def test_a_clone_and_its_original_are_both_kept():
    original = Pen("A")
    first = original.write({"count": 1})
    clone = original.copy()
    one, other = original.write({"count": 2}, {"count": [first.id]}), clone.write({"count": 3}, {"count": [first.id]})
    assert (one.notebook, one.n) == (other.notebook, other.n)
    record = fold([first, one, other]).records[DOCKET]
    assert set(record.disagreements()["count"].values()) == {2, 3}


def test_an_over_that_names_what_has_not_come_waits_for_it():
    ana = Pen("A")
    first = ana.write({"count": 1})
    second = ana.write({"count": 2}, {"count": [first.id]})
    record = fold([second]).records[DOCKET]
    assert record.value("count") == 2
    assert fold([second, first]).records[DOCKET].disagreements() == {}


def test_naming_a_head_at_a_path_that_is_not_set_replaces_nothing():
    ana = Pen("A")
    first = ana.write({"count": 1})
    other = ana.write({"bag": "b"}, {"count": [first.id]})
    assert fold([first, other]).records[DOCKET].value("count") == 1


def test_nothing_replaces_a_human_reading():
    ana = Pen("A")
    raised = ana.write({"human/1": {"answer": "stop"}})
    milder = ana.write({"human/1": {"answer": "no_sign"}}, {"human/1": [raised.id]})
    record = fold([raised, milder]).records[DOCKET]
    assert sorted(value["answer"] for value in record.added("human").values()) == ["no_sign", "stop"]


def test_a_deletion_that_saw_everything_deletes():
    ana = Pen("A")
    first = ana.write({"count": 1})
    gone = ana.write({"deleted": True}, {"count": [first.id]})
    assert fold([gone, first]).records[DOCKET].life() == "deleted"


def test_an_edit_that_the_deletion_had_not_seen_makes_it_a_disagreement():
    ana, ben = Pen("A"), Pen("B")
    first = ana.write({"count": 1})
    gone = ana.write({"deleted": True}, {"count": [first.id]})
    edit = ben.write({"count": 2}, {"count": [first.id]})
    record = fold([first, gone, edit]).records[DOCKET]
    assert record.life() == "disputed"
    assert "deleted" in record.disagreements()
    assert record.value("count") == 2


def test_a_deleted_record_can_be_brought_back_and_deleted_again():
    ana = Pen("A")
    first = ana.write({"count": 1})
    gone = ana.write({"deleted": True}, {"count": [first.id]})
    back = ana.write({"deleted": None}, {"deleted": [gone.id]})
    assert fold([first, gone, back]).records[DOCKET].life() == "live"
    again = ana.write({"deleted": True}, {"count": [first.id], "deleted": [back.id]})
    assert fold([again, back, first, gone]).records[DOCKET].life() == "deleted"


def test_a_newer_format_with_unknown_fields_folds_and_keeps_its_text():
    body = json.loads(Pen("A").write({"count": 1}).body)
    body["format"] = 7
    body["weather"] = "hail"
    change = read(canonical(body))
    assert fold([change]).records[DOCKET].value("count") == 1
    assert '"weather":"hail"' in change.body
