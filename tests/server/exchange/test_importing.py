"""`bonedocket import` as it is typed, into a cabin: written once, cut off and gone on, reported, human bone on hold."""

from __future__ import annotations

import csv
import os
import resource
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.domain import human
from fieldapp.domain.ids import context_id
from fieldapp.records import sealing
from fieldapp.records.fold import Record
from server import keys
from server.config import Config
from server.exchange import drafting, loading, maps, tables
from server.exchange.report import Report
from server.ledger import CABIN, Ledger, events
from server.ledger.ledger import Edit
from tests.server.exchange.made import HEAD, KNOW, MAP, ROWS, csv_of, typed


class Desk:
    """A cabin, a table and a map in a folder."""

    def __init__(self, config: Config, folder: Path) -> None:
        self.data, self.table, self.map = config.data, folder / "low.csv", folder / "low.toml"
        self.config, self.report = config, folder / "odd.csv"
        self.table.write_text(csv_of(*ROWS), encoding="utf-8")
        self.map.write_text(MAP, encoding="utf-8")

    def run(self, *more: object) -> int:
        return typed(self.table, "--map", self.map, "--data", self.data, *more)

    def ledger(self) -> Ledger:
        return Ledger.open(self.config.place, clock=self.config.clock)

    def dockets(self) -> dict[str, dict[str, object]]:
        ledger = self.ledger()
        found = {str(one.value("label")): dict(one.values()) for one in ledger.records("docket")}
        ledger.close()
        return found

    def changes(self) -> int:
        ledger = self.ledger()
        head = ledger.names().head
        ledger.close()
        return head


@pytest.fixture
def desk(config: Config, tmp_path: Path) -> Desk:
    return Desk(config, tmp_path)


def test_a_table_is_read_and_lies_in_contexts_and_bags(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert desk.run() == 0
    said = capsys.readouterr().out
    assert "4 rows: 4 dockets written, 0 were here already, 0 were left out; 2 contexts and 2 bags made." in said
    assert "11 as the table counts them, 11 as they are counted here" in said
    ledger = desk.ledger()
    assert sorted(str(one.value("number")) for one in ledger.records("context")) == ["12", "13"]
    assert {one.value("recovery") for one in ledger.records("bag")} == {"hand"}
    assert set(desk.dockets()) == {"LB 2", "LB 3", "LB 4", "LB 5"}
    with ledger.database.reading() as connection:
        told = [one for one in events.page(connection, 10) if one.what.startswith("import")]
    assert [(one.what, one.fields["n"], one.fields["label"]) for one in told] == [
        ("imported", 4, "low.csv"),
        ("import_begun", 4, "low.csv"),
    ]
    ledger.close()


def test_a_second_run_writes_nothing(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    desk.run()
    before = desk.changes()
    assert desk.run() == 0
    assert desk.changes() == before
    assert "0 dockets written, 4 were here already" in capsys.readouterr().out


def test_a_table_that_was_saved_anew_is_not_written_a_second_time(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.run()
    before = desk.changes()
    first = desk.table.read_bytes()
    desk.table.write_text(csv_of(*ROWS, "14,Rd,tibia,l,,1,,,"), encoding="utf-8")
    assert desk.run() == 2
    assert desk.changes() == before
    said = capsys.readouterr().out
    assert "Another file of Low Barrow is here already: low.csv, 4 rows" in said
    assert "--more" in said
    assert desk.run("--dry-run") == 0
    assert "Another file of Low Barrow" in capsys.readouterr().out
    assert desk.run("--more") == 0
    assert "5 dockets written" in capsys.readouterr().out
    for table in (desk.table.read_bytes(), first):
        desk.table.write_bytes(table)
        assert desk.run() == 0, "a file that was begun goes on"
    assert desk.run("--again") == 0


def test_a_mended_map_reads_again_what_nobody_has_altered_and_lowers_nothing(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.run()
    ledger = desk.ledger()
    by_label = {str(one.value("label")): one for one in ledger.records("docket")}
    own = by_label["LB 3"]
    ledger.write("docket", own.id, {"weight_g": 99.0}, {"weight_g": own.head_ids()["weight_g"]}, CABIN)
    ledger.close()
    mended = MAP.replace('Rd = "cattle"', 'Rd = "aurochs"').replace('Mensch = "human"', 'Mensch = "medium_mammal"')
    desk.map.write_text(mended, encoding="utf-8")
    assert desk.run() == 1, "the table names a human, whatever the map says"
    assert {one["reading"]["taxon"] for one in desk.dockets().values()} == {"cattle", "human", None}  # type: ignore[index]
    assert desk.run("--again", "--report", desk.report) == 1
    said = capsys.readouterr().out
    assert "2 dockets that were here are read otherwise now" in said
    found = desk.dockets()
    assert found["LB 2"]["reading"]["taxon"] == "aurochs"  # type: ignore[index]
    assert found["LB 3"]["weight_g"] == 99.0
    assert "LB 3" not in said
    assert [row.split(",")[4] for row in desk.report.read_text(encoding="utf-8-sig").splitlines()[1:]] == [
        "touched",
        "perhaps_human",
    ]
    ledger = desk.ledger()
    (hold,) = [one for one in ledger.holds() if one.raised]
    assert (hold.label, hold.answer) == ("LB 4", "query")
    before = ledger.names().head
    ledger.close()
    desk.run("--again")
    assert desk.changes() == before


def test_a_report_that_was_cut_off_is_not_in_the_way_of_the_next(desk: Desk) -> None:
    desk.table.write_text(csv_of(*ROWS, "14,Wolpertinger,tibia,l,,1,,,"), encoding="utf-8")
    killed = Report(desk.report)  # and nobody closes it
    assert not desk.report.exists(), "what is half written does not pass for a report"
    desk.report.touch()  # nor does one that nothing was written into
    assert desk.run("--report", desk.report) == 1
    assert "Wolpertinger" in desk.report.read_text(encoding="utf-8-sig")
    assert sorted(one.name for one in desk.report.parent.glob("odd*")) == ["odd.csv"]
    killed._text.close()


def test_a_dry_run_says_the_same_and_writes_nothing(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    before = desk.changes()
    assert desk.run("--dry-run") == 0
    said = capsys.readouterr().out
    assert "Nothing was written" in said
    assert "1 rows are read as human" in said
    assert desk.changes() == before


def test_a_run_that_is_cut_off_goes_on_from_there(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.table.write_text(csv_of(*(f"{n // 7},Rd,tibia,l,,1,,," for n in range(40))), encoding="utf-8")
    monkeypatch.setattr(loading, "BATCH", 8)
    hold, batches = loading.Loader._hold, iter(range(100))

    def cut(self: loading.Loader, *words: object) -> object:
        if next(batches) == 2:
            raise KeyboardInterrupt  # in the middle of the third batch, of which then nothing stays
        return hold(self, *words)  # type: ignore[arg-type]

    monkeypatch.setattr(loading.Loader, "_hold", cut)
    with pytest.raises(KeyboardInterrupt):
        desk.run()
    assert "Cut off after 16 of 40 rows" in capsys.readouterr().out
    assert len(desk.dockets()) == 16
    desk.run()
    assert "24 dockets written, 16 were here already" in capsys.readouterr().out
    assert len(desk.dockets()) == 40
    ledger = desk.ledger()
    assert len(ledger.records("context")) == 6
    with ledger.database.reading() as connection:
        told = [one.what for one in events.page(connection, 10) if one.what.startswith("import")]
    assert told == ["imported", "import_begun", "import_cut", "import_begun"]
    assert ledger.rebuild_matches()
    ledger.close()


def test_a_bone_read_as_human_is_on_hold_from_the_first_moment_and_assessed_by_nobody(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.run()
    assert "1 dockets are on hold as possible human remains, by the rules: LB 4" in capsys.readouterr().out
    ledger = desk.ledger()
    (hold,) = ledger.holds()
    assert (hold.label, hold.answer, hold.raised, hold.released) == ("LB 4", "query", True, False)
    assert hold.hold_record is not None
    assert hold.hold_record.value("tier") == "query"
    docket = hold.docket_record
    assert docket is not None
    assert not any(path.startswith(("assessment/", "release/")) for path in docket.heads)
    (answer,) = docket.items("human").values()
    assert (human.answer_of(answer), answer["by_rule"]) == ("query", "human_without_answer")
    assert ledger.check_due() == 0
    ledger.close()


def test_a_row_that_is_left_out_and_says_human_is_told_by_itself(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.table.write_text(csv_of("12,Rd,tibia,l,fused,1,55.5,0.12,", "13,Mensch,femur,l,,1,,,a,b"), encoding="utf-8")
    for more in ("--dry-run",), ():
        assert desk.run(*more) == 1
        said = capsys.readouterr().out
        assert "1 rows that were left out say human" in said
        assert "rows are read as human" not in said


def test_bone_from_a_grave_is_raised_as_everywhere(desk: Desk) -> None:
    desk.map.write_text(MAP.replace('recovery = "hand"', 'recovery = "hand"\ngrave_like = "yes"'), encoding="utf-8")
    desk.run()
    ledger = desk.ledger()
    assert {one.label for one in ledger.holds() if one.raised} == {"LB 2", "LB 3", "LB 4", "LB 5"}
    ledger.close()


def test_where_possible_human_remains_lay_exactly_is_sealed_before_anything_is_written(desk: Desk) -> None:
    desk.map.write_text(
        HEAD + '[file]\nexact = ["E", "N"]\n[column.Ctx]\nto = "context"\n[column.Kind]\nto = "context_type"\n'
        '[column.Animal]\nto = "taxon"\n',
        encoding="utf-8",
    )
    rows = (
        "1,layer,cattle,71.25,81.25", "1,layer,human,72.25,82.25", "2,grave,sheep,73.25,83.25",
        "3,layer,Homo,74.25,84.25",
    )  # fmt: skip
    desk.table.write_text(csv_of(*rows, head="Ctx,Kind,Animal,E,N"), encoding="utf-8")
    desk.run()
    ledger = desk.ledger()
    whole = "\n".join(body for _, body in _bodies(ledger))
    assert ("71.25" in whole, "81.25" in whole) == (True, True)
    for secret in ("72.25", "82.25", "73.25", "83.25", "74.25", "84.25"):
        assert secret not in whole
    opened = {one.label: sealing.unseal(*_sealed(desk, one.hold_record)) for one in ledger.holds()}
    assert opened == {
        "LB 3": "E: 72.25; N: 82.25",
        "LB 4": "E: 73.25; N: 83.25",
        "LB 5": "E: 74.25; N: 84.25",
    }
    ledger.close()


def _bodies(ledger: Ledger) -> list[tuple[str, str]]:
    """Every change as a tablet would get it."""
    return [(one, body) for _, one, body in ledger.pull(0, 1000, "", notebook="a tablet").rows]


def _sealed(desk: Desk, hold: Record | None) -> tuple[str, X25519PrivateKey, str]:
    assert hold is not None
    return str(hold.value("place_sealed")), keys.seal_key(desk.config.seal_key), hold.id


def test_what_is_not_understood_is_reported_with_row_line_and_reason(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = (
        '12,Rd,tibia,l,,1.5,"=1+1",0.1,"two\nlines"',
        "12,Auerochs,shin,l,fused,1,-3,,@note",
        "12,Rd,tibia,l,,1,55,0.1,,beyond",
        "12,Rd",
    )
    desk.table.write_text(csv_of(*odd), encoding="utf-8")
    assert desk.run("--report", desk.report) == 1
    with desk.report.open(encoding="utf-8-sig", newline="") as text:
        told = [tuple(row.values())[:5] for row in csv.DictReader(text)]
    assert told == [
        ("2", "2", "Bd", "'=1+1", "no_figure"),
        ("2", "2", "N", "1.5", "half"),
        ("3", "4", "Animal", "Auerochs", "word"),
        ("3", "4", "Bone", "shin", "word"),
        ("3", "4", "Bd", "-3", "negative"),
        ("3", "4", "Prox", "fused", "no_centre"),
        ("4", "5", "", "12 | Rd | tibia | l | 1 | 55 | 0.1 | beyond", "ragged_long"),
        ("5", "6", "", "", "ragged_short"),
    ]
    assert "4 rows: 3 dockets written, 0 were here already, 1 were left out" in capsys.readouterr().out
    found = desk.dockets()
    assert found["LB 2"]["count"] == 2
    assert found["LB 3"]["imported"]["columns"]["Bone"] == "shin"  # type: ignore[index]


def test_a_report_takes_no_other_file_away(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    desk.report.write_text("somebody's table\n1\n", encoding="utf-8")
    assert desk.run("--report", desk.report) == 2
    assert "is no report of an import" in capsys.readouterr().out
    assert desk.report.read_text(encoding="utf-8").startswith("somebody's")
    desk.report.unlink()
    assert desk.run("--dry-run", "--report", desk.report) == 0
    assert desk.run("--dry-run", "--report", desk.report) == 0


def test_a_device_or_a_folder_is_no_report(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    for other in (Path("/dev/full"), desk.table.parent):
        assert desk.run("--report", other) == 2
        assert "nothing was imported" in capsys.readouterr().out
    assert desk.dockets() == {}


def test_headings_that_are_not_there_are_told_with_the_nearest(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    desk.map.write_text(MAP.replace("[column.Animal]", "[column.Animals]"), encoding="utf-8")
    assert desk.run() == 2
    said = capsys.readouterr().out
    assert "1 columns that the table does not have" in said
    assert "Animals   (perhaps: Animal)" in said
    desk.map.write_text(MAP + '[file]\ndelimiter = ";"\n', encoding="utf-8")
    assert desk.run() == 2
    assert "perhaps its cells are not parted by ';'" in capsys.readouterr().out
    assert desk.dockets() == {}


def test_nothing_goes_into_a_locked_context_and_a_context_that_is_there_stays_as_it_is(desk: Desk) -> None:
    ledger = desk.ledger()
    desk.map.write_text(
        HEAD + '[column.Ctx]\nto = "context"\n[column.Animal]\nto = "taxon"\nwords = { "*" = "cattle" }\n'
        '[column.Remarks]\nto = "trench"\n',
        encoding="utf-8",
    )
    desk.table.write_text("Ctx,Animal,Remarks\n12,Rd,A\n13,Rd,B\n", encoding="utf-8")
    site = ledger.names().site
    with ledger.database.writing() as connection:
        edits = [
            Edit("context", context_id(site, "12"), {"number": "12", "locked": True}, {}),
            Edit("context", context_id(site, "13"), {"number": "13", "trench": "C"}, {}),
        ]
        ledger.write_many_in(connection, edits, CABIN)
    ledger.close()
    assert desk.run("--report", desk.report) == 1
    assert set(desk.dockets()) == {"LB 3"}
    ledger = desk.ledger()
    there = ledger.record(context_id(site, "13"))
    assert there is not None
    assert there.value("trench") == "C"
    ledger.close()
    assert [row.split(",")[4] for row in desk.report.read_text(encoding="utf-8-sig").splitlines()[1:]] == [
        "locked",
        "context_says",
    ]


def test_a_row_lies_in_the_context_that_has_its_number_now(desk: Desk) -> None:
    ledger = desk.ledger()
    old = context_id(ledger.names().site, "12")
    with ledger.database.writing() as connection:
        ledger.write_many_in(connection, [Edit("context", old, {"number": "13"}, {})], CABIN)
    ledger.close()
    assert desk.run() == 0
    ledger = desk.ledger()
    numbers = {one.id: one.value("number") for one in ledger.records("context")}
    assert sorted(numbers.values()) == ["12", "13"]
    lies = ledger.contexts_of(dockets := ledger.records("docket"))
    assert {str(one.value("label")): numbers[lies[one.id]] for one in dockets} == {
        "LB 2": "12", "LB 3": "12", "LB 4": "13", "LB 5": "13",
    }  # fmt: skip
    ledger.close()


def test_a_draft_knows_what_the_tables_know_and_comments_out_the_rest(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    desk.table.write_bytes(
        "Befund;Tierart;Knochen;Seite;Anzahl;Gewicht;Bd;Farbe\n"
        "1;Rind;Humerus;li;1;12,5;70,1;rot\n2;Schwein;UBERON:0000979;re;2;8,5;;\n3;Homo;xyz;;1;;;\n"
        "4;Ovis aries;NCBI?;re;1;;;\n".encode("cp1252")
    )
    draft = desk.map.with_name("draft.toml")
    assert typed(desk.table, "--draft", draft) == 0
    text = draft.read_text(encoding="utf-8")
    for line in (
        'delimiter = ";"', 'decimal = ","', '[column."Tierart"]\nto = "taxon"', '"Rind" = "cattle"', '"Homo" = "human"',
        '"Ovis aries" = "sheep"', '"UBERON:0000979" = "tibia"', '# "xyz" = ""  # 1 rows', '"li" = "left"',
        '[column."Bd"]\nto = "measure.Bd"',
        '# [column."Farbe"]  # for example "rot"', '[column."Anzahl"]\nto = "count"',
    ):  # fmt: skip
        assert line in text, text
    assert typed(desk.table, "--map", draft, "--data", desk.data, "--dry-run") == 1
    assert "4 rows, in 2 of them" in capsys.readouterr().out
    assert typed(desk.table, "--draft", draft) == 2
    for wrong in (("--encoding", "hex"), ("--encoding", "nosuch"), ("--delimiter", "ab"), ("--delimiter", '"')):
        assert typed(desk.table, "--draft", draft.with_name("other.toml"), *wrong) == 2
    assert not draft.with_name("other.toml").exists()
    assert typed(desk.table, "--map", Path("/dev/zero"), "--data", desk.data) == 2


@settings(max_examples=12)
@given(
    headings=st.lists(
        st.sampled_from(["Taxon", "Side", "Bd", "GLl", "x", "", "N [Source]", '"', "é\t", "Bd"]), min_size=1
    ),
    cells=st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=12), max_size=20),
)
def test_whatever_a_table_holds_its_draft_is_a_map_that_fits_it(
    tmp_path_factory: pytest.TempPathFactory, headings: list[str], cells: list[str]
) -> None:
    path = tmp_path_factory.getbasetemp() / "drafted.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow([*headings, "last"])
        writer.writerows([cell] * len(headings) for cell in cells)
    table = tables.look(path, "utf-8-sig", ",")
    drafted = maps.read(drafting.draft(table, "any", KNOW), KNOW)
    assert set(drafted.headings()) <= set(table.headings)


def test_a_map_is_found_by_the_name_it_is_shipped_under(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    assert typed(desk.table, "--map", "mentese", "--data", desk.data) == 2
    assert "speaks of" in capsys.readouterr().out


@pytest.mark.proof
def test_a_million_rows_are_looked_through_and_read_in_the_memory_of_a_few(
    desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    # A million in the whole proof, fewer where fewer rounds are asked for.
    rows = 5000 * int(os.environ.get("PROOF_ROUNDS") or 200)
    desk.run("--dry-run")  # whatever is made once is made now
    with desk.table.open("w", encoding="utf-8") as out:
        out.write(csv_of())
        for n in range(rows):
            out.write(f"{n % 5000},Rd,tibia,l,fused,1,55.{n % 10},0.1,row {n} of many\n")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert desk.run("--dry-run") == 0
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000
    assert f"{rows} rows, in 0 of them" in capsys.readouterr().out


@pytest.mark.proof
def test_many_rows_are_written_in_the_memory_of_a_few(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    def run(rows: int) -> int:
        with desk.table.open("w", encoding="utf-8") as out:
            out.write(csv_of())
            for n in range(rows):
                out.write(f"{n // 100},Rd,tibia,l,fused,1,55.{n % 10},0.1,row {n} of {rows}\n")
        desk.run("--more")
        assert f"{rows} rows: {rows} dockets written" in capsys.readouterr().out
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    few = run(500)
    assert run(100 * int(os.environ.get("PROOF_ROUNDS") or 200)) - few < 60_000
