"""The tables' steps: where they lead, what they leave alone, and that nothing is lost on the way."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect

from server.errors import LedgerExists, LedgerIsNewer, LedgerMissing
from server.ledger import CABIN, Ledger, migrations, opening, tables
from server.ledger.place import Place
from tests.server.tablets import Tablet, an_id
from tests.server.test_together import ROOT

OLD = (Path(__file__).parent.parent / "data" / "ledger_before_steps.sql").read_text("utf-8")
NEXT = '''"""A step that these tests invent."""
from alembic import op
from sqlalchemy import Column
from server.ledger.columns import Text
revision, down_revision = "9999", "{head}"
def upgrade():
    op.add_column("device", Column("colour", Text))
    op.execute("UPDATE device SET colour = 'red'")
    {more}
'''


def differences(ledger: Ledger) -> list[object]:
    """Between the tables that are there and those of tables.py, as alembic sees them."""
    with ledger.database.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        return compare_metadata(context, tables.metadata)


def stepped(place: Place) -> None:
    """Empty tables in `place`, made by the steps alone."""
    database = opening.new(place)
    with database.writing() as connection:
        database.prepare(connection)
        migrations.upgrade(connection)
    database.close()


def shape(ledger: Ledger) -> dict[str, object]:
    """Columns, keys, indexes and constraints, as the database tells them."""
    with ledger.database.reading() as connection:
        look = inspect(connection)
        return {
            table: (
                [(one["name"], str(one["type"]), one["nullable"]) for one in look.get_columns(table)],
                look.get_pk_constraint(table)["constrained_columns"],
                sorted((one["name"] or "", one["column_names"], one["unique"]) for one in look.get_indexes(table)),
                sorted(one["column_names"] for one in look.get_unique_constraints(table)),
                sorted((one["constrained_columns"], one["referred_table"]) for one in look.get_foreign_keys(table)),
            )
            for table in look.get_table_names()
        }


def old_file(path: Path) -> Path:
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA journal_mode=WAL")
        file.executescript(OLD)
    return path


def rows(path: Path, table: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as file:
        return file.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()


@pytest.fixture
def next_step(tmp_path, monkeypatch):
    """A later program: one more step. `more` is added to it."""

    def add(more: str = "pass") -> None:
        folder = tmp_path / "versions"
        folder.mkdir(exist_ok=True)
        (folder / "r9999_more.py").write_text(NEXT.format(head=migrations.HEAD, more=more), "utf-8")
        monkeypatch.setattr(migrations, "VERSIONS", (*migrations.VERSIONS, folder))
        monkeypatch.setattr(migrations, "HEAD", "9999")

    return add


# -- where they lead


def test_the_steps_lead_to_the_tables_that_the_program_has(place, ledger):
    assert differences(ledger) == []
    beside = place.path and place.path.with_name("steps.sqlite")
    by_steps = Place(path=beside, url=place.url, schema=place.schema and place.schema + "_steps")
    stepped(by_steps)
    with_steps = Ledger(opening._at(by_steps), ledger.clock, ledger.new_id)
    assert differences(with_steps) == []
    assert shape(with_steps) == shape(ledger)
    with_steps.close()


def test_a_difference_between_steps_and_tables_would_be_seen(ledger):
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("DROP INDEX record_by_label")
        connection.exec_driver_sql("ALTER TABLE device ADD COLUMN colour TEXT")
    assert [one[0] for one in differences(ledger)] == ["remove_column", "add_index"]


def test_the_last_step_is_the_one_that_new_ledgers_are_marked_with():
    script = ScriptDirectory.from_config(migrations._config())
    assert script.get_heads() == [migrations.HEAD]
    assert [one.revision for one in script.walk_revisions()][-1] == "0001"


def test_a_ledger_that_is_up_to_date_opens_without_the_library_of_steps(ledger, place):
    code = (
        "import sys; from server.ledger import Ledger; ledger = Ledger.open(sys.argv[1], schema=sys.argv[2]);"
        "print(ledger.names().head, 'alembic' in sys.modules); ledger.close()"
    )
    where = place.url.render_as_string(hide_password=False) if place.url else str(place.path)
    done = subprocess.run([sys.executable, "-c", code, where, place.schema], cwd=ROOT, capture_output=True, text=True)
    assert done.stdout.split() == ["1", "False"], done.stderr


# -- an older ledger


def test_a_ledger_from_before_there_were_steps_opens_and_keeps_everything(tmp_path):
    path = old_file(tmp_path / "ledger.sqlite")
    kept = ("change", "unread", "notebook", "device", "enrolment", "event", "account", "meta")
    before = {table: rows(path, table) for table in kept}
    records = {row[0]: row for row in rows(path, "record")}
    assert len(before["change"]) > 4
    assert len(before["unread"]) == 3
    ledger = Ledger.open(path)
    assert differences(ledger) == []
    assert ledger.record(an_id("a")).value("reading")["element"] == "tibia"
    assert [one.docket for one in ledger.holds()] == [an_id("a")]
    assert ledger.rebuild_matches()
    ledger.write("docket", an_id("b"), {"count": 1}, {}, CABIN)
    ledger.close()
    after = {table: rows(path, table) for table in kept}
    lasting = [dict(one["meta"]) for one in (before, after)]
    for names in lasting:
        names.pop("rebuilt", None)
        del names["known"], names["head"]
    assert lasting[0] == lasting[1]
    assert after["change"][:-1] == before["change"]
    assert all(after[table] == before[table] for table in ("unread", "device", "enrolment", "event", "account"))
    assert rows(path, "alembic_version") == [(migrations.HEAD,)]
    assert {row[0] for row in rows(path, "record")} == set(records)
    copy = tmp_path / f"ledger.before-{migrations.HEAD}.sqlite"
    assert {table: rows(copy, table) for table in kept} == before
    assert copy.stat().st_mode & 0o077 == 0


def test_a_table_that_an_early_ledger_lacks_is_made(tmp_path):
    path = old_file(tmp_path / "ledger.sqlite")
    with closing(sqlite3.connect(path)) as file:
        file.executescript("DROP TABLE enrolment; DROP INDEX record_due; DROP TABLE link")
    ledger = Ledger.open(path)
    assert differences(ledger) == []
    assert ledger.rebuild_matches()
    ledger.close()


# -- a later step


def test_a_later_program_takes_the_ledger_along(ledger, place, next_step, clock):
    tablet = Tablet()
    tablet.docket("a")
    ledger.accept(tablet.entries(), tablet.id)
    before = ledger.names(), ledger.record(an_id("a")).as_json()
    ledger.close()
    next_step()
    later = Ledger.open(place, clock=clock)
    assert (later.names(), later.record(an_id("a")).as_json()) == before
    with later.database.reading() as connection:
        assert migrations.revision_of(connection) == "9999"
        assert "colour" in [one["name"] for one in inspect(connection).get_columns("device")]
    later.close()
    if place.path:
        kept = [row[1] for row in rows(place.path.with_name("ledger.before-9999.sqlite"), "change")]
        assert kept[-1] == tablet.changes[0].id


def test_a_step_that_fails_half_way_leaves_the_ledger_as_it_was(ledger, place, next_step, clock, monkeypatch):
    before, head = (shape(ledger), ledger.names()), migrations.HEAD
    ledger.close()
    with monkeypatch.context() as later:
        later.setattr(migrations, "VERSIONS", migrations.VERSIONS)
        next_step("raise RuntimeError('half way')")
        for _ in range(2):
            with pytest.raises(RuntimeError, match="half way"):
                Ledger.open(place, clock=clock)
    monkeypatch.setattr(migrations, "HEAD", head)
    monkeypatch.setattr(migrations, "VERSIONS", migrations.VERSIONS[:1])
    again = Ledger.open(place, clock=clock)
    assert (shape(again), again.names()) == before
    again.close()
    if place.path:
        # Each try kept its own copy and put none over another.
        copies = sorted(one.name for one in place.path.parent.glob("ledger.before*"))
        assert copies == ["ledger.before-9999-2.sqlite", "ledger.before-9999.sqlite"]


def test_a_ledger_that_a_later_program_has_stepped_on_is_left_alone(ledger, place, clock):
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'of 2031'")
    before = shape(ledger), ledger.names(), ledger.counts()
    with pytest.raises(LedgerIsNewer, match=r"of 2031.*Update the program"):
        Ledger.open(place, clock=clock)
    assert (shape(ledger), ledger.names(), ledger.counts()) == before
    with ledger.database.reading() as connection:
        assert migrations.revision_of(connection) == "of 2031"


# -- what is no ledger


def test_what_is_no_ledger_is_neither_opened_nor_filled(place, tmp_path):
    with pytest.raises(LedgerMissing):
        Ledger.open(place)
    if place.path:
        assert list(tmp_path.iterdir()) == []
        place.path.write_bytes(b"")
        with pytest.raises(LedgerMissing):
            Ledger.open(place)
        with pytest.raises(LedgerExists):
            Ledger.create(place, code="X26", name="", seal_key="")


def test_a_ledger_that_could_not_be_filled_leaves_nothing_behind(place, monkeypatch):
    monkeypatch.setattr(Ledger, "write_in", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        Ledger.create(place, code="X26", name="", seal_key="")
    monkeypatch.undo()
    Ledger.create(place, code="X26", name="X", seal_key="").close()
