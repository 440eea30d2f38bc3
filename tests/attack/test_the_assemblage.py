"""The assemblage under attack: possibly human bone counted among animals, first readings told to who is to read again,
names and figures that nobody would write, addresses that nobody would type."""

from __future__ import annotations

import argparse
import io
import shlex
import zipfile
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlencode

import pytest
from docx import Document
from pypdf import PdfReader

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.selection import Selection
from fieldapp.domain.assemblage.specimens import HUMAN
from server.analysis import charts, topics, writing
from server.analysis.asking import Asked, answers, settled
from server.analysis.count_crosstable import chances
from server.analysis.gathering import Assemblage, Gathered
from server.analysis.report import contents
from server.analysis.report.making import written
from server.analysis.wording import Wording
from server.commands.analysis import COUNT, new_file
from server.ledger import CABIN, Ledger
from tests.server.analysis.made import KINDS, RESULT
from tests.server.conftest import Clock
from tests.server.conftest import ledger as ledger
from tests.server.review.scene import Scene
from tests.server.review.test_second import drawn
from tests.server.tablets import SITE, Tablet, an_id, context_id, reading

ODD = ("a\x01b\x00c", "$\\frac{$", "\u202edlrow", "p" * 10_000, "x'; touch pwned #", "a\nb\x1b[31m", "=2+2", "_under")
"""Names of phases that no document, terminal, chart or command may stumble over."""


def send(ledger: Ledger, *tablets: Tablet, rules: bool = True) -> Gathered:
    for one in tablets:
        ledger.accept(one.entries(), one.id)
    while rules and ledger.check_due():
        pass
    return Assemblage(ledger).now()


def apart(gathered: Gathered, name: str) -> set[str]:
    return {one.apart for one in gathered.specimens if one.id == an_id(name)}


# The human question


def test_what_is_read_as_human_is_among_no_animals_before_any_rule_has_looked(ledger: Ledger) -> None:
    a, b = Tablet(), Tablet("tablet two")
    a.docket("plain", reading=reading("femur", "human"))
    a.docket("joined", reading=reading("femur", "pig"), **{f"same_as/{an_id('plain')}": True})
    for one, other in (("sheep", "human"), ("mammal_or_human", "human")):
        first = a.docket(f"{one} {other}", reading=reading("femur", "cattle"))
        for who, taxon in ((a, one), (b, other)):
            over = {"reading": [first.id]}
            who.write("docket", an_id(f"{one} {other}"), {"reading": reading("femur", taxon)}, over)
    a.write("tally", an_id("tally"), {"label": "T", "taxon": "human", "count": 12})
    a.write("tally", an_id("open"), {"label": "T", "taxon": "mammal_or_human", "count": 12})
    for rules in (False, True):
        gathered = send(ledger, a, b, rules=rules)
        for name in ("plain", "joined", "sheep human", "mammal_or_human human", "tally"):
            assert apart(gathered, name) == {HUMAN}, (name, rules)
        assert [one.excluded for one in gathered.specimens if one.id == an_id("open")] == [True]


def test_no_deletion_takes_a_possibly_human_bone_out_of_what_is_told(ledger: Ledger) -> None:
    tablet, kept = Tablet(), Assemblage(ledger)
    tablet.docket("gone", reading=reading("femur", "pig"), count=3)
    tablet.docket("gone too", reading=reading("femur", "pig"))
    tablet.human("gone", "query")
    send(ledger, tablet)
    assert kept.now().specimens
    for name in ("gone", "gone too"):
        seen = {path: [one.id] for one in tablet.changes if one.record == an_id(name) for path in one.set}
        tablet.write("docket", an_id(name), {"deleted": True}, {"deleted": [], **seen})
    send(ledger, tablet)
    for gathered in (kept.now(), Assemblage(ledger).now()):
        asked = Asked(gathered, Selection())
        assert [(one.why, one.records) for one in asked.left_out()] == [(HUMAN, (an_id("gone"),))]
        assert asked.animals == []


# Blindness


def test_no_question_tells_what_a_bone_was_read_as_that_is_to_be_read_again(scene: Scene) -> None:
    scene.a.docket("rare", label="TST26 A99-X", reading=reading("astragalus", "camel"), count=7, weight_g=777.5)
    scene.send()
    drawn(scene)
    visitor = scene.signed_in("human_osteologist")
    assert "camel" in scene.signed_in("director").get("/review/analysis/counts/pieces").text
    plain = visitor.get("/review/analysis/counts/pieces").text
    assert "camel" not in plain.casefold()
    said = []
    for asked in ({"taxon": "camel"}, {"taxon": "roe_deer"}, {"element": "astragalus"}, {"element": "atlas"}):
        for form in ("", "/file.json", "/file.csv"):
            text = visitor.get(f"/review/analysis/counts/pieces{form}?{urlencode(asked)}").text
            assert "777.5" not in text
            (word,) = asked.values()
            if form == "/file.json":
                said.append(text.replace(word, "?"))
    assert len({tuple(one for one in text.splitlines() if "selection" not in one) for text in said}) == 1


# Odd questions


@pytest.mark.parametrize("option", ["countable=count_countable_onyl", "colour=red", "countable="])
def test_a_mistyped_option_is_answered_by_no_figure(
    scene: Scene, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    parser = argparse.ArgumentParser()
    COUNT.register(parser)
    asked = ["--data", str(scene.cabin.config.data), "--table", "pieces", "--set"]
    assert COUNT.run(parser.parse_args([*asked, "countable=count_countable_only"])) == 0
    assert capsys.readouterr().out
    with pytest.raises(CommandError, match="Nothing was worked out"):
        COUNT.run(parser.parse_args([*asked, option]))
    assert not capsys.readouterr().out


def test_a_file_that_no_disk_had_room_for_is_not_left_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, mode: str) -> io.BufferedWriter:
        path.touch(exist_ok=False)
        return open("/dev/full", "wb", buffering=0)  # type: ignore[return-value]

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", full)
        for name in ("fusion.csv", "nowhere/fusion.csv"):
            with pytest.raises(CommandError, match="could not be written"):
                new_file(tmp_path / name, b"half")
    assert not (tmp_path / "fusion.csv").exists()
    new_file(tmp_path / "fusion.csv", b"whole")
    with pytest.raises(CommandError, match="is there already"):
        new_file(tmp_path / "fusion.csv", b"other")
    assert (tmp_path / "fusion.csv").read_bytes() == b"whole"


def test_no_address_of_the_assemblage_is_too_odd(scene: Scene) -> None:
    visitor, huge = scene.signed_in("director"), "9" * 4400
    for query in (
        f"rarefaction?option.least={huge}",
        f"pieces?page={huge}",
        f"pieces/0/records?row={huge}",
        f"pieces/{huge}/chart-{huge}.svg",
        "pieces?taxon=nobody&phase=%ff%00",
        "pieces?" + "&".join(["taxon=cattle"] * 400),
        "pieces/file.csv?context=" + "%5C%7C%2C" * 2000,
    ):
        assert visitor.get(f"/review/analysis/counts/{query}").status_code in (200, 400, 404), query[:40]


def test_no_address_is_answered_with_itself_a_thousand_times(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    for query in ("context=" + ",".join(map(str, range(3000))), "&".join(f"phase={n}" for n in range(3000))):
        for form in ("", "/file.csv", "/0/records"):
            answer = visitor.get(f"/review/analysis/counts/pieces{form}?row=0&{query}")
            assert answer.status_code == 400
            assert len(answer.data) < 80_000
        assert visitor.get(f"/review/analysis/report/docx?{query}").status_code == 400
    odd = visitor.get(f"/review/analysis/counts/pieces?option.no_such={'x' * 20_000}")
    # The form of languages leads back to where one is.
    assert (odd.status_code, odd.text.count("x" * 20_000)) == (200, 1)


# Odd records


def phases(ledger: Ledger) -> Gathered:
    tablet = Tablet()
    for n, name in enumerate(ODD):
        pit, bag = context_id(SITE, str(n)), an_id(f"bag {n}")
        tablet.write("context", pit, {"number": str(n), "phase": name, "trench": name})
        tablet.write("bag", bag, {"label": name, "context": pit, "recovery": "sieve", "mesh_mm": 10**400})
        tooth = {"tooth": "m1", "jaw": "lower", "side": "left", "seat": "in_jaw", "scheme": "grant", "wear": "g"}
        for m, (element, taxon) in enumerate((("tibia", "sheep"), ("mandible", "cattle"), ("no such bone", "nobody"))):
            more = {f"tooth/{an_id(f'{n} {m}')}": tooth} if element == "mandible" else {}
            many = 10**9 - 1 if m else 1
            tablet.docket(
                f"{n} {m}", bag=bag, reading=reading(element, taxon), count=many, weight_g=1e14, context=None, **more
            )
    return send(ledger, tablet)


def test_odd_names_and_huge_figures_stop_no_table_and_no_form_of_the_report(scene: Scene, clock: Clock) -> None:
    gathered = phases(scene.cabin.ledger)
    said = Wording(texts(), gathered.numbers)
    asked = Asked(gathered, Selection(by="phase"))
    for table in (one for topic in topics.TOPICS for one in topics.tables(topic)):
        options = {one.key: "\x00 no such choice" for one in table.options}
        results = (*table.make(asked), *table.make(replace(asked, selection=Selection(), options=options)))
        assert writing.as_csv(results, said)
        assert writing.as_json(results, said)
        assert writing.as_text(results, said).replace("\n", "").isprintable()
    report = contents.made(Asked(gathered, Selection(phase=ODD)), said)
    report = replace(report, parts=tuple(replace(one, entries=one.entries[:3]) for one in report.parts))
    made = zipfile.ZipFile(io.BytesIO(written(report, said, "zip", clock(), source="s", data="cabin")))
    assert PdfReader(io.BytesIO(made.read("report.pdf"))).pages
    assert Document(io.BytesIO(made.read("report.docx"))).tables
    assert all(one.replace("/", "_").replace(".", "_").isidentifier() for one in (f"n{n}" for n in made.namelist()))


def test_odd_standards_and_measurements_stop_no_table_and_no_document(scene: Scene, clock: Clock) -> None:
    ledger, tablet = scene.cabin.ledger, Tablet()
    standard = {"taxon": "cattle", "element": "tibia", "code": "Bd", "source": "Mine\x0b1987"}
    figures = {ODD[0]: 5e-324, ODD[3]: 9e14, ODD[5]: 55, "none": {"mm": []}}
    said = {f"standard/{an_id(name)}": {**standard, "name": name, "mm": mm} for name, mm in figures.items()}
    ledger.write("site", SITE, said, {}, CABIN)
    for n, mm in enumerate((5e-324, 1e-300, 55, 56, 9e14, 10**400, -3, "x", True) * 2):
        measure = {f"measure/{an_id(f'm {n}')}": {"code": "Bd", "mm": mm}}
        tablet.docket(f"odd {n}", reading=reading("tibia", "cattle"), **measure)
    asked = Asked(send(ledger, tablet), Selection(ways="together"))
    words = Wording(texts(), asked.gathered.numbers)
    (log_size,) = (one for one in topics.tables("sizes") if one.key == "log_size")
    names = settled(log_size, asked).choices["standard"]
    assert {*figures} - {"none"} <= {*names}
    for name in names:
        results = [*answers(settled(log_size, replace(asked, options={"standard": name})))]
        assert results[0].rows or name not in figures
        assert writing.as_text(results, words).replace("\n", "").isprintable()
    report = contents.made(replace(asked, options={}), words)
    assert any("Mine" in one for one in report.sources)
    told = written(replace(report, parts=()), words, "docx", clock(), source="s", data="cabin")
    assert any("Mine·1987" in one.text for one in Document(io.BytesIO(told)).paragraphs)


def test_a_file_of_figures_leaves_out_none_of_their_digits() -> None:
    row = replace(RESULT.rows[0], cells=(RESULT.rows[0].cells[0], Span(1234567.0, 7654321.0), 62.5, "x"))
    assert "1234567,7654321" in writing.as_csv([replace(RESULT, rows=(row,))], Wording(texts(), {}))


def test_versions_without_end_of_one_bone_are_no_specimens_without_end(ledger: Ledger) -> None:
    tablet = Tablet()
    for n in range(40):
        read = reading("tibia", "sheep", sex=f"odd {n}")
        tablet.write("docket", an_id("one"), {"reading": read, "material": f"odd {n}", "count": n + 1})
    assert len(send(ledger, tablet).specimens) == 80


@pytest.mark.parametrize("kind", ["bars", "lines"])
@pytest.mark.parametrize("name", [ODD[1], "$a$", "_under"])
def test_a_name_is_no_formula_in_a_chart_and_stands_in_its_legend(kind: str, name: str) -> None:
    chart = replace(KINDS[kind], series=tuple(replace(one, name=name) for one in KINDS[kind].series))
    said = Wording(texts(), {})
    drawn_so = charts.draw(chart, said, name)
    without = replace(chart, series=tuple(replace(one, name=None) for one in chart.series))
    assert drawn_so.count(b"<use") > charts.draw(without, said, name).count(b"<use")


def test_no_name_of_a_phase_ends_the_command_that_a_report_gives() -> None:
    entry = contents.Entry("counts", "pieces", replace(RESULT, selection=Selection(phase=(ODD[4],))), {"taxon": "a b"})
    assert shlex.split(entry.command("my cabin")) == [
        "bonedocket", "count", "--data", "my cabin", "--by", "site", "--where", f"phase={ODD[4]}",
        "--table", "pieces", "--set", "taxon=a b", "--json",
    ]  # fmt: skip


def test_no_mistyped_count_ends_the_server_that_compares_animals_by_chance() -> None:
    table = [[999_999_999 if (row + column) % 3 else 1 for column in range(12)] for row in range(12)]
    assert [one.how for one in chances(table)] == ["chi_square"]
    assert [one.how for one in chances([[1, 40, 2], [3, 1, 30]])] == ["chi_square", "drawn_tables"]
