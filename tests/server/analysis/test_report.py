"""The report: the same again byte for byte, read back by other programs, and every table can be asked for once more."""

from __future__ import annotations

import io
import json
import shlex
import zipfile
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from docx import Document
from pypdf import PdfReader

from fieldapp.assets import knowledge, texts
from fieldapp.cli import main
from fieldapp.domain.assemblage.selection import parse
from server.analysis.asking import Asked
from server.analysis.gathering import Assemblage, Gathered
from server.analysis.report import contents
from server.analysis.report.contents import Entry, Report
from server.analysis.report.making import written
from server.analysis.wording import Wording
from server.analysis.writing import as_json
from server.cabin import set_up
from server.config import Config
from server.ledger import Ledger
from tests.benchmarks import analysis_site
from tests.sheets.preflight import preflight

AT = datetime(2026, 6, 3, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def cabin(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Gathered]:
    """A cabin with bones of the invented herds, and its specimens."""
    config = Config(tmp_path_factory.mktemp("report") / "cabin")
    set_up(config, code="HLG26", name="Hollow Gate (invented)")
    with closing(Ledger.open(config.place, clock=config.clock, new_id=config.new_id)) as ledger:
        analysis_site.fill(ledger, 150)
        return config.data, Assemblage(ledger).now()


@pytest.fixture(scope="module")
def wording(cabin: tuple[Path, Gathered]) -> Wording:
    return Wording(texts(), cabin[1].numbers)


@pytest.fixture(scope="module")
def report(cabin: tuple[Path, Gathered], wording: Wording) -> Report:
    return contents.made(Asked(cabin[1], parse("ways=hand,taxon=cattle|sheep_goat", knowledge())), wording, whole=True)


@pytest.fixture(scope="module")
def short(report: Report) -> Report:
    """The first two tables of each part: charts take their time."""
    return replace(report, parts=tuple(replace(part, entries=part.entries[:2]) for part in report.parts), more=())


def entries(report: Report) -> list[Entry]:
    return [entry for part in report.parts for entry in part.entries]


def made(report: Report, wording: Wording, form: str) -> bytes:
    return written(report, wording, form, AT, source="the cabin's ledger", data="cabin")


def test_each_part_has_tables_and_says_which_had_nothing_to_show(report, wording):
    assert [part.topic for part in report.parts if part.entries] == ["counts", "ages", "sizes", "surface"]
    assert wording.say("individuals.title") in report.others
    assert all(entry.result.rows for entry in entries(report))


def test_every_table_names_what_it_rests_on_and_all_that_stands_among_the_sources(report):
    said = " ".join(line for _, *lines in report.methods for line in lines)
    assert report.sources
    assert [one for one in report.sources if one not in said] == []


def test_a_sentence_stands_once_below_the_tables_of_a_kind(report):
    below: dict[str, list[str]] = {}
    for entry in entries(report):
        below.setdefault(entry.result.key, []).extend(one for one in entry.below if not one.startswith("Left out"))
    assert [key for key, lines in below.items() if len(lines) != len(set(lines))] == []


@pytest.mark.parametrize("table", ["mne", "fusion", "marks"])
def test_the_command_below_a_table_gives_the_same_rows(report, wording, cabin, capsys, table):
    every = [entry for part in (*report.parts, *report.more) for entry in part.entries if entry.table == table]
    one = every[0]
    together = [entry.result for entry in every if entry.options == one.options]
    assert main(shlex.split(one.command(str(cabin[0])))[1:]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [found for found in told if found["rows"]] == json.loads(as_json(together, wording))
    assert told[0]["options"].get("taxon") == one.options.get("taxon")


def test_an_option_that_cannot_be_followed_is_refused_in_words(cabin, capsys):
    for option, said in (("taxon=unicorn", "It may be: "), ("moon=full", "--list names them")):
        asked = ["ages", "--data", str(cabin[0]), "--table", "fusion", "--set", option]
        assert main(asked) == 2
        told = capsys.readouterr()
        assert said in told.err
        assert told.out == ""


def test_the_report_command_says_how_far_it_is_writes_a_file_once_and_over_nothing(
    cabin, capsys, monkeypatch, tmp_path
):
    monkeypatch.setattr("server.commands.report.EVERY_S", 0)
    file = tmp_path / "bone.docx"
    asked = ["report", "--data", str(cabin[0]), "--where", "taxon=cattle"]
    assert main([*asked, str(file)]) == 0
    told = capsys.readouterr()
    tables = [one for one in told.err.splitlines() if one.startswith("working out, ")]
    assert len(tables) == len(contents.PRINTED)
    assert tables[-1].startswith(f"working out, {len(tables) - 1} of {len(tables)} done: ")
    assert told.err.splitlines()[-1] == "writing, 0 of 1 done: report.docx"
    assert "bone.docx: " in told.out
    content = file.read_bytes()
    assert Document(io.BytesIO(content)).tables
    for name in ("bone.docx", "bone.odd"):
        assert main([*asked, str(tmp_path / name)]) == 2
    assert file.read_bytes() == content
    assert [one.name for one in tmp_path.iterdir()] == ["bone.docx"]


def test_a_choice_left_empty_is_no_choice_of_everything(cabin, capsys):
    for line in ("phase=", "taxon", "by=phase,context=|"):
        assert main(["count", "--data", str(cabin[0]), "--table", "pieces", "--where", line]) == 2
        told = capsys.readouterr()
        assert "names nothing" in told.err
        assert told.out == ""


def test_the_document_has_the_tables_of_the_report(short, wording):
    document = Document(io.BytesIO(made(short, wording, "docx")))
    assert len(document.tables) == len(entries(short))
    for table, entry in zip(document.tables, entries(short), strict=True):
        result = entry.result
        assert [cell.text for cell in table.rows[0].cells] == [wording.heading(one) for one in result.columns]
        last = [wording.cell(*pair) for pair in zip(result.columns, result.rows[-1].cells, strict=True)]
        assert [cell.text for cell in table.rows[-1].cells] == last
        assert len(table.rows) == len(result.rows) + 1


def test_the_document_says_when_it_was_made_whatever_zone_the_cabin_is_in(short, wording):
    at, bare = AT.astimezone(timezone(timedelta(hours=3))), replace(short, parts=())
    file = written(bare, wording, "docx", at, source="the cabin's ledger", data="cabin")
    # Office Open XML keeps such times in the form of W3CDTF, here with Z (seen in the file itself).
    with zipfile.ZipFile(io.BytesIO(file)) as packed:
        assert ">2026-06-03T08:00:00Z<" in packed.read("docProps/core.xml").decode()


def test_the_paper_has_every_title_on_the_page_of_its_first_row(short, wording):
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(made(short, wording, "pdf"))).pages]
    for n, entry in enumerate(entries(short), 1):
        (at,) = [at for at, page in enumerate(pages) if f"Table {n}. " in page]
        result = entry.result
        after = pages[at].split(f"Table {n}. ")[1].split()
        first = wording.cell(result.columns[0], result.rows[0].cells[0]).split()
        assert first[0] in after
        assert [
            word for column in result.columns for word in wording.heading(column).split() if word not in after
        ] == []


@pytest.mark.proof
def test_the_whole_paper_is_archival_and_the_same_again(report, wording, tmp_path):
    first, second = (made(report, wording, "pdf") for _ in range(2))
    assert first == second
    file = tmp_path / "report.pdf"
    file.write_bytes(first)
    assert preflight(file) == "The file report.pdf is a valid PDF/A-1b file"


@pytest.mark.proof
def test_the_archive_holds_each_table_and_chart_and_is_the_same_again(short, wording):
    told: list[tuple[str, str, int, int]] = []
    first = written(
        short, wording, "zip", AT, source="the cabin's ledger", data="cabin", told=lambda *one: told.append(one)
    )
    second = made(short, wording, "zip")
    names = zipfile.ZipFile(io.BytesIO(first)).namelist()
    assert {"report.pdf", "report.docx"} <= {*names}
    assert sum(name.endswith(".csv") for name in names) == len(entries(short))
    assert sum(name.endswith(".svg") for name in names) == sum(len(one.result.charts) for one in entries(short))
    different = [
        name
        for name in names
        if zipfile.ZipFile(io.BytesIO(first)).read(name) != zipfile.ZipFile(io.BytesIO(second)).read(name)
    ]
    assert different == []
    assert [what for _, what, _, _ in told] == ["report.pdf", "report.docx", *names]
    assert [done for *_, done, _ in told[2:]] == [*range(1, len(names) + 1)]
    assert {of for *_, of in told[2:]} == {len(names)}
