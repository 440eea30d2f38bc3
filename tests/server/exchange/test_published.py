"""Two published tables read by the maps that are shipped, against the figures that their publisher gives.

Sources (class P of published figures; data CC BY 3.0, see tests/data/outside/open_context/README.md):
Galik 2013, zooarchaeology of Barcin Höyük, Open Context, doi 10.6078/M7MS3QN7, with the publisher's counts of it;
Gourichon 2014, Neolithic Menteşe Faunal Data Table, Open Context, doi 10.6078/M7MG7MD8. The splits by fusion, the sums
and the age classes were counted in the published tables themselves, with nothing of ours.
"""

from __future__ import annotations

import csv
import lzma
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from fieldapp.records.fold import Record
from server.analysis.gathering import Assemblage
from server.commands.importing import SHIPPED
from server.config import Config
from server.exchange import maps, tables
from server.exchange.mapping import Mapped, Mapper
from server.ledger import Ledger
from tests.open_data.reading import FOLDER, rows
from tests.server.exchange.made import KNOW, SITE, typed

DATES = ("Early (Cal. BP)", "Late (Cal. BP)")
URI = "Has Biological Taxonomy [URI]"
ENDS = ("proximal", "distal")
SPLITS = {
    "barcin": {"proximal": (148, 5, 89), "distal": (161, 7, 140)},
    "mentese": {"proximal": (85, 11, 116), "distal": (83, 15, 150)},
}
UNSEEN = ("not_examined", "not_visible")
AGE_CLASSES = {"C": 45, "EF": 39, "D": 23, "G": 14, "B": 8, "HI": 7, "CD": 5, "A": 1, "A?": 1, "B?": 1}


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("published")
    for name in SPLITS:
        (folder / f"{name}.csv").write_bytes(lzma.decompress((FOLDER / f"{name}_whole.csv.xz").read_bytes()))
    return folder


@cache
def read(folder: Path, name: str) -> tuple[Mapped, ...]:
    by = maps.read((SHIPPED / f"{name}.toml").read_text(encoding="utf-8"), KNOW)
    table = tables.look(folder / f"{name}.csv", by.encoding, by.delimiter)
    mapper = Mapper(by, KNOW, SITE, f"{name}.csv", table.sha256)
    return tuple(mapper.read(row) for row in table)


def published() -> Counter[tuple[str, str, str]]:
    with (FOLDER / "published_counts.csv").open(encoding="utf-8", newline="") as text:
        return Counter({(r["taxon_uri"], r["start"], r["end"]): int(r["count"]) for r in csv.DictReader(text)})


def counted(columns: list[dict[str, str]]) -> Counter[tuple[str, str, str]]:
    return Counter((one.get(URI, "").rpartition("/")[2], one[DATES[0]], one[DATES[1]]) for one in columns)


def figures(columns: list[dict[str, str]], heading: str) -> float:
    return sum(float(one.get(heading) or 0) for one in columns)


def split(rows: tuple[Mapped, ...], end: str) -> tuple[int, int, int]:
    """Fused, fusing and unfused of an end, as the map reads them."""
    said = Counter(one.said[f"fusion.{end}"] for one in rows if f"fusion.{end}" in one.said)
    return said["fused"], said["fusing"], said["unfused"] + said["loose_epiphysis"]


def test_the_28_published_counts_of_barcin_come_out_row_by_row(unpacked: Path) -> None:
    columns = [one.values["imported"]["columns"] for one in read(unpacked, "barcin")]
    assert len(published()) == 28
    assert counted(columns) == published()


def test_no_animal_of_ours_stands_for_two_of_the_published_ones_or_for_none(unpacked: Path) -> None:
    ours: dict[str, set[str]] = {}
    for one in read(unpacked, "barcin"):
        if one.values["material"] == "not_bone":
            continue  # droppings have no reading
        taxon = (one.values.get("reading") or {}).get("taxon") or ""
        ours.setdefault(taxon, set()).add(one.values["imported"]["columns"].get(URI, "").rpartition("/")[2])
    assert {taxon: uris for taxon, uris in ours.items() if len(uris) != 1} == {}
    assert ours[""] == {""}


@pytest.mark.parametrize("name", SPLITS)
@pytest.mark.parametrize("end", ENDS)
def test_what_is_fused_comes_out_as_published_and_stands_in_the_readings(unpacked: Path, name: str, end: str) -> None:
    rows_of = read(unpacked, name)
    assert split(rows_of, end) == SPLITS[name][end]
    heading = f"Has fusion character ({end}) [Label]"
    without = sum(miss.column == heading and miss.why == "no_centre" for one in rows_of for miss in one.misses)
    kept = sum(
        one.said.get(f"fusion.{end}") in one.values["reading"]["fusion"].values()
        for one in rows_of
        if f"fusion.{end}" in one.said and not any(miss.column == heading for miss in one.misses)
    )
    # Ends of bones that have no centre there (a carpal, a tooth, an ankle bone) are told and not read.
    assert kept + without == sum(SPLITS[name][end])
    assert without < 0.1 * kept


def test_the_sums_of_barcin_come_out_with_its_half_specimens(unpacked: Path) -> None:
    found = read(unpacked, "barcin")
    columns = [one.values["imported"]["columns"] for one in found]
    assert len(found) == 3742
    assert figures(columns, "Nisp [Source]") == 7807.5
    assert figures(columns, "# Of Fragments [Source]") == 7202.5
    assert sum(one.counted or 0 for one in found) == 7807.5
    halves = [one for one in found if any(miss.why == "half" for miss in one.misses)]
    assert sum(one.values.get("count", 0) for one in found) == 7807.5 + 0.5 * len(halves)


def test_the_age_classes_of_mentese_stay_in_the_analysts_words(unpacked: Path) -> None:
    found = read(unpacked, "mentese")
    notes = [value["text"] for one in found for path, value in one.values.items() if path.startswith("note/")]
    told = Counter(text.partition(": ")[2] for text in notes if text.startswith("Age Class [Source]: "))
    assert told == AGE_CLASSES


@pytest.mark.parametrize("name", SPLITS)
def test_a_map_reads_as_the_tables_of_words_do_that_were_made_apart_from_it(unpacked: Path, name: str) -> None:
    apart = {one.line: one.values for one in rows(KNOW) if one.assemblage == name}
    differ: Counter[str] = Counter()
    for one in read(unpacked, name):
        ours, theirs = one.values.get("reading") or {}, apart[one.row.number].get("reading") or {}
        for field in ("element", "taxon", "sex", "age"):
            differ[field] += ours.get(field) != theirs.get(field)
        states: tuple[dict[str, Any], dict[str, Any]] = tuple(
            {key: state for key, state in (each.get("fusion") or {}).items() if state not in UNSEEN}
            for each in (ours, theirs)
        )  # type: ignore[assignment]
        differ["fusion"] += states[0] != states[1]
    assert not +differ


def test_nineteen_human_pieces_are_read_as_human_and_nothing_else_is(unpacked: Path) -> None:
    found = [one for name in SPLITS for one in read(unpacked, name)]
    assert sum(one.human for one in found) == 19
    assert not any(path.startswith(("human/", "assessment/")) for one in found for path in one.values)


@pytest.mark.proof
@pytest.mark.parametrize("name", SPLITS)
def test_in_the_ledger_the_published_figures_come_out_too(
    unpacked: Path, name: str, config: Config, capsys: pytest.CaptureFixture[str]
) -> None:
    path = unpacked / f"{name}.csv"
    assert typed(path, "--map", name, "--data", config.data) == 1
    ledger = Ledger.open(config.place, clock=config.clock)
    dockets: list[Record] = ledger.records("docket")
    columns = [one.value("imported")["columns"] for one in dockets]
    with path.open(encoding="utf-8-sig", newline="") as text:
        whole = list(csv.DictReader(text))
    kept = {tuple(sorted(one.items())) for one in columns}
    assert len(kept) == len(columns) == len(whole)
    assert kept == {tuple(sorted((heading, cell) for heading, cell in row.items() if cell)) for row in whole}
    if name == "barcin":
        assert counted(columns) == published()
        assert figures(columns, "Nisp [Source]") == 7807.5
    raised = [one for one in ledger.holds() if one.raised]
    assert len(raised) == {"barcin": 1, "mentese": 18}[name]
    assert all(one.answer == "query" and one.hold_record is not None for one in raised)
    gathered = Assemblage(ledger).now()
    assert len(gathered.specimens) == len(whole)
    assert sum(one.apart == "possible_human" for one in gathered.specimens) == len(raised)
    assert gathered.late == 0
    before = ledger.names().head
    ledger.close()
    assert typed(path, "--map", name, "--data", config.data) == 1
    ledger = Ledger.open(config.place, clock=config.clock)
    assert ledger.names().head == before
    assert ledger.rebuild_matches()
    ledger.close()
