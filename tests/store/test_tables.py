"""TinyDB's interface over the notebook: the record tables are a view, drafts and settings are written line by line."""

from __future__ import annotations

import inspect
from pathlib import Path

import pytest
import tinydb
from tinydb import Query, TinyDB, where
from tinydb.operations import delete, increment
from tinydb.storages import MemoryStorage
from tinydb.table import Document, Table

from fieldapp.store.errors import TableIsAView
from tests.records.makers import Pen
from tests.store.makers import ANA, form, state, tablet


@pytest.fixture
def notebook(tmp_path: Path):
    with tablet(tmp_path) as opened:
        yield opened


def lines(notebook) -> int:
    return len(notebook._live.journal.raw_lines())


def test_tinydb_has_the_inner_methods_that_are_replaced():
    # Private to TinyDB, but its guide to extending it invites subclassing them; 4.9 is pinned for their sake.
    assert tinydb.__version__.startswith("4.9.")
    assert list(inspect.signature(Table._update_table).parameters) == ["self", "updater"]
    assert list(inspect.signature(Table._read_table).parameters) == ["self"]
    assert list(inspect.signature(Table._get_next_id).parameters) == ["self"]


def test_records_are_found_by_their_values(notebook):
    notebook.save("docket", "r1", form(1), {}, ANA)
    notebook.save("docket", "r2", {**form(2), "material": "antler"}, {}, ANA)
    notebook.save("bag", "b1", {"label": "HLG26 B9-X"}, {}, ANA)
    dockets = notebook.db.table("dockets")
    assert [one["id"] for one in dockets.search(Query().reading.element == "tibia")] == ["r1", "r2"]
    assert dockets.get(where("material") == "antler").doc_id == "r2"
    assert dockets.get(doc_id="r1")["weight_g"] == 13.5
    assert [one.doc_id for one in dockets.get(doc_ids=["r2", "nobody"])] == ["r2"]
    assert dockets.get(doc_id="nobody") is None
    assert dockets.contains(doc_id="r1")
    assert dockets.count(Query().count == 1) == 2
    assert len(dockets) == 2
    assert [one["kind"] for one in notebook.db.table("bags")] == ["bag"]
    assert notebook.db.tables() == {"dockets", "bags", "drafts", "settings"}


def test_the_view_follows_every_save_and_pull_and_leaves_deleted_records_out(notebook):
    dockets = notebook.db.table("dockets")
    assert len(dockets) == 0
    one = notebook.save("docket", "r1", {"count": 1, "note/a": {"text": "x"}, "human/h": {"answer": "query"}}, {}, ANA)
    assert dockets.all() == [
        {
            "id": "r1",
            "kind": "docket",
            "count": 1,
            "note": {"a": {"text": "x"}},
            "human": {"h": [{"answer": "query"}]},
            "disagreements": [],
        }
    ]
    notebook.pull([Pen("other").write({"count": 2, "note/a": None}, {"note/a": [one.id]}, record="r1")])
    (document,) = dockets.all()
    assert document["disagreements"] == ["count"]
    assert "note" not in document
    notebook.save("docket", "r1", {"deleted": True}, notebook.record("docket", "r1").head_ids(), ANA)
    assert dockets.all() == []


def test_a_word_used_both_ways_by_a_newer_version_is_kept_apart(notebook):
    notebook.save("docket", "r1", {"note": "plain", "note/a": "below", "id/x": 1}, {}, ANA)
    (document,) = notebook.db.table("dockets").all()
    assert (document["note"], document["note/a"], document["id"], document["id/x"]) == ("plain", "below", "r1", 1)


def test_records_of_kinds_this_version_does_not_know_are_there_under_their_kind(notebook):
    notebook.save("casket", "c1", {"wood": "oak"}, {}, ANA)
    assert notebook.db.table("casket").all()[0]["wood"] == "oak"
    assert "casket" in notebook.db.tables()


@pytest.mark.parametrize(
    "writing",
    [
        lambda table: table.insert({"a": 1}),
        lambda table: table.insert_multiple([{"a": 1}]),
        lambda table: table.update({"a": 1}),
        lambda table: table.update({"a": 1}, doc_ids=["r1"]),
        lambda table: table.update_multiple([({"a": 1}, where("count") == 1)]),
        lambda table: table.upsert({"a": 1}, where("count") == 1),
        lambda table: table.remove(where("count") == 1),
        lambda table: table.remove(doc_ids=["r1"]),
        lambda table: table.truncate(),
    ],
)
def test_every_write_to_a_record_table_is_refused_and_says_what_to_do(notebook, writing):
    notebook.save("docket", "r1", {"count": 1}, {}, ANA)
    before, size = state(notebook), lines(notebook)
    for name in ("dockets", "no such table", notebook.db.default_table_name):
        with pytest.raises(TableIsAView, match="Save a change"):
            writing(notebook.db.table(name))
    with pytest.raises(TableIsAView):
        writing(notebook.db)
    assert (state(notebook), lines(notebook)) == (before, size)


def test_dropping_tables_is_refused_but_for_drafts_and_settings(notebook):
    notebook.save("docket", "r1", {"count": 1}, {}, ANA)
    notebook.draft("form", {"tap": 1})
    with pytest.raises(TableIsAView):
        notebook.db.drop_tables()
    with pytest.raises(TableIsAView):
        notebook.db.drop_table("dockets")
    notebook.db.drop_table("drafts")
    assert notebook.drafts() == {}
    assert len(notebook.db.table("dockets")) == 1


@pytest.mark.parametrize("name", ["drafts", "settings"])
def test_every_write_to_a_writable_table_is_one_line_and_is_there_again(tmp_path, name):
    writes = [
        lambda table: table.insert(Document({"n": 1}, "a")),
        lambda table: table.insert({"n": 2}),
        lambda table: table.insert_multiple([Document({"n": 3}, "c"), {"n": 4}]),
        lambda table: table.update({"seen": True}),
        lambda table: table.update({"seen": [1]}, where("n") == 1),
        lambda table: table.update(increment("n"), doc_ids=["a", "nobody"]),
        lambda table: table.update_multiple([({"m": 1}, where("n") == 2), (delete("seen"), where("n") == 3)]),
        lambda table: table.upsert({"m": 9}, where("n") == 4),
        lambda table: table.upsert({"new": True}, where("n") == 77),
        lambda table: table.upsert(Document({"x": 1}, "z")),
        lambda table: table.upsert(Document({"y": 1}, "z")),
        lambda table: table.remove(where("n") == 4),
        lambda table: table.remove(doc_ids=["z"]),
    ]
    # The same calls on TinyDB as it comes, but with texts as ids.
    ours = tablet(tmp_path)
    fresh = ours.new_id

    class TextIds(Table):
        document_id_class = str
        given = iter(())

        def _get_next_id(self):
            return next(self.given)

    class Plain(TinyDB):
        table_class = TextIds

    plain = Plain(storage=MemoryStorage)
    made: list[str] = []
    ours.new_id = lambda: made.append(fresh()) or made[-1]
    table, stock = ours.db.table(name), plain.table(name)
    for write in writes:
        before = lines(ours)
        made.clear()
        answer = write(table)
        stock.given = iter(made)
        assert write(stock) == answer
        assert lines(ours) == before + 1
        assert {one.doc_id: dict(one) for one in table} == {one.doc_id: dict(one) for one in stock}
    held = {one.doc_id: dict(one) for one in table}
    ours._live.close()
    ours._held.release()
    with tablet(tmp_path) as again:
        assert {one.doc_id: dict(one) for one in again.db.table(name)} == held
        again.db.table(name).truncate()
        assert again.db.table(name).all() == []


def test_a_write_that_changes_nothing_or_fails_writes_no_line(notebook):
    drafts = notebook.db.table("drafts")
    drafts.insert(Document({"n": 1}, "a"))
    size = lines(notebook)
    assert drafts.update({"n": 1}) == ["a"]
    assert drafts.remove(doc_ids=["nobody"]) == []
    with pytest.raises(ValueError, match="already exists"):
        drafts.insert(Document({"n": 2}, "a"))
    with pytest.raises(TypeError):
        drafts.update({"n": {1, 2}})
    with pytest.raises(ValueError, match="Mapping"):
        drafts.insert(["no mapping"])
    with pytest.raises(RuntimeError, match="broken"):
        drafts.update(broken)
    assert lines(notebook) == size
    assert notebook.drafts() == {"a": {"n": 1}}


def broken(document) -> None:
    document["n"] = 5
    raise RuntimeError("broken")


def test_true_is_not_one_to_the_journal(notebook):
    # Python holds True and 1 for equal; a form does not.
    drafts = notebook.db.table("drafts")
    drafts.insert(Document({"n": 1}, "a"))
    drafts.update({"n": True})
    assert notebook.drafts()["a"]["n"] is True


def test_what_a_query_gives_is_ones_own(notebook):
    notebook.save("docket", "r1", form(1), {}, ANA)
    notebook.draft("form", {"list": [1]})
    for name, path in (("dockets", ("reading", "portions")), ("drafts", ("list",))):
        table = notebook.db.table(name)
        query = where("id").exists() | where("list").exists()
        for ask in (
            lambda table=table: table.all()[0],
            lambda table=table, query=query: table.search(query)[0],
            lambda table=table, query=query: table.get(query),
            lambda table=table: table.get(doc_id=table.all()[0].doc_id),
        ):
            held = ask()
            for part in path:
                held = held[part]
            held.clear()
            again = ask()
            for part in path:
                again = again[part]
            assert again, "a change to a result reached the notebook or the next result"


def test_persist_empty_does_not_empty_a_table(notebook):
    notebook.draft("form", {"tap": 1})
    assert len(notebook.db.table("drafts", persist_empty=True, cache_size=10)) == 1


def test_closing_the_database_does_not_close_the_notebook(notebook):
    with notebook.db as db:
        db.table("drafts").insert({"a": 1})
    notebook.draft("form", {"tap": 1})
    assert len(notebook.db.table("drafts")) == 2
