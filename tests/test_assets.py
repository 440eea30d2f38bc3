"""What is shipped beside the code can be read, agrees with itself, and a fault in it is named by file and line."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldapp import assets
from fieldapp.assets import AssetError
from fieldapp.domain.knowledge import Knowledge

TABLES = sorted({path.stem for path in (assets.root() / "reference").iterdir()})


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return assets.knowledge()


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """A copy of the tables that a test may spoil."""
    shutil.copytree(assets.root() / "reference", tmp_path / "reference")
    return tmp_path


def change(base: Path, name: str, where: Callable[[dict[str, str]], bool], **cells: str) -> tuple[str, int]:
    """Overwrites cells of the first row of a table that fits; the file and line it stands on."""
    for path in sorted((base / "reference").glob(f"{name}/*.csv")) or [base / "reference" / f"{name}.csv"]:
        with path.open(newline="", encoding="utf-8") as opened:
            reader = csv.DictReader(opened)
            head = list(reader.fieldnames or [])
            rows = list(reader)
        at = next((index for index, row in enumerate(rows) if where(row)), None)
        if at is not None:
            rows[at].update(cells)
            with path.open("w", newline="", encoding="utf-8") as opened:
                writer = csv.DictWriter(opened, head, lineterminator="\n")
                writer.writeheader()
                writer.writerows(rows)
            return path.relative_to(base).as_posix(), at + 2
    raise AssertionError(f"no row of {name} fits")


@pytest.mark.parametrize("name", TABLES)
def test_every_row_of_every_table_says_where_it_is_from(name: str) -> None:
    for row in assets.table(name):
        assert row["source"]
        assert row["seen"] in ("memory", "-") or row["seen"].startswith("verified:http")
        if row["seen"] == "-":
            assert re.match(r"project decision|common practice, no source", row["source"]), row


def test_a_table_that_does_not_exist_is_named() -> None:
    with pytest.raises(AssetError, match=r"reference/no_such\.csv.*missing"):
        assets.table("no_such")


@pytest.mark.parametrize(
    ("name", "where", "cells", "what"),
    [
        ("portions", lambda row: row["centre"] == "distal", {"centre": "elbow"}, "'elbow'"),
        ("portions", lambda row: row["element"] == "tibia", {"element": "shin"}, "'shin'"),
        ("portions", lambda row: row["key"] == "trochlea", {"key": "capitulum"}, "'capitulum' twice"),
        ("portions", lambda row: row["kind"] == "epiphysis", {"centre": ""}, "no fusion centre"),
        ("portions", lambda row: row["key"] == "trochlea", {"share": "0.50"}, "add up to"),
        ("portions", lambda row: row["key"] == "trochlea", {"share": "much"}, "not a number"),
        ("centres", lambda row: row["element"] == "femur", {"metaphysis": "waist"}, "'waist'"),
        ("centres", lambda row: row["only"] == "human", {"only": "martian"}, "'martian'"),
        ("taxa", lambda row: row["key"] == "sheep", {"broader": "flock"}, "'flock'"),
        ("taxa", lambda row: row["key"] == "mammal", {"broader": "mammal"}, "circle"),
        ("taxa", lambda row: row["key"] == "bird", {"broader": ""}, "stands above all"),
        ("elements", lambda row: row["key"] == "tibia", {"key": "femur"}, "twice"),
        ("elements", lambda row: row["key"] == "tibia", {"sided": "maybe"}, "not one of"),
        ("element_taxon", lambda row: True, {"taxon": "dragon"}, "'dragon'"),
        ("fusion_ages", lambda row: row["chosen"] == "yes", {"chosen": "no"}, "does not follow"),
        ("fusion_ages", lambda row: row["max_months"] == "18", {"min_months": "30"}, "before it begins"),
        ("fusion_ages", lambda row: row["centre"] == "tuber", {"centre": "heel"}, "'heel'"),
        ("skeleton_counts", lambda row: row["chosen"] == "no", {"chosen": "yes"}, "two counts"),
        ("skeleton_counts", lambda row: True, {"count": "0"}, "cannot have"),
        ("roles", lambda row: True, {"allowed": "perhaps"}, "not one of"),
        ("words", lambda row: row["key"] == "left", {"key": "right"}, "twice"),
        ("rules", lambda row: True, {"level": "grave"}, "not one of"),
        ("taxa", lambda row: row["key"] == "cattle", {"seen": "surely"}, "`seen`"),
        ("taxa", lambda row: row["key"] == "cattle", {"source": ""}, "no source"),
    ],
)
def test_a_table_that_contradicts_another_is_named_with_its_line(
    copied: Path, name: str, where: Callable[[dict[str, str]], bool], cells: dict[str, str], what: str
) -> None:
    assets.knowledge_at(copied)
    file, line = change(copied, name, where, **cells)
    with pytest.raises(AssetError, match=what) as caught:
        assets.knowledge_at(copied)
    assert caught.value.file == file
    # A fault of a whole element is shown at its last row.
    assert caught.value.line >= line
    assert f"{file}, line {caught.value.line}" in str(caught.value)


def test_a_row_with_a_cell_too_few_is_named(copied: Path) -> None:
    path = copied / "reference" / "roles.csv"
    path.write_text(path.read_text().replace("raise,recorder,yes,", "raise,recorder,", 1))
    with pytest.raises(AssetError, match=r"roles\.csv, line 2: the row does not have 5 cells"):
        assets.knowledge_at(copied)


def test_a_missing_table_is_named(copied: Path) -> None:
    (copied / "reference" / "fusion_ages.csv").unlink()
    with pytest.raises(AssetError, match=r"fusion_ages\.csv: the table is missing"):
        assets.knowledge_at(copied)


def test_a_text_key_given_in_two_files_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "texts" / "en"
    folder.mkdir(parents=True)
    (folder / "a.json").write_text('{"side.left": "left"}')
    (folder / "b.json").write_text('{"side.right": "right"}')
    assert assets.texts_at(tmp_path, "en") == {"side.left": "left", "side.right": "right"}
    (folder / "b.json").write_text('{"side.left": "left again"}')
    with pytest.raises(AssetError, match=r"texts/en/b\.json.*'side\.left' is given twice"):
        assets.texts_at(tmp_path, "en")
    (folder / "b.json").write_text('{"side.right": "right", "side.right": "again"}')
    with pytest.raises(AssetError, match=r"'side\.right' is given twice"):
        assets.texts_at(tmp_path, "en")


def test_texts_that_are_no_sentences_are_refused(tmp_path: Path) -> None:
    folder = tmp_path / "texts" / "en"
    folder.mkdir(parents=True)
    for bad in ('{"side.left": 1}', '["side.left"]', '{"side.left": "left"', '{"side": {"left": "left"}}'):
        (folder / "a.json").write_text(bad)
        with pytest.raises(AssetError, match=r"texts/en/a\.json"):
            assets.texts_at(tmp_path, "en")
    with pytest.raises(AssetError, match="no texts in this language"):
        assets.texts_at(tmp_path, "xx")


def test_everything_in_the_tables_is_named_and_no_text_names_it_again(known: Knowledge) -> None:
    names = assets.names_of(known)
    assert all(name.strip() for name in names.values())
    assert not names.keys() & assets.texts_at(assets.root(), "en").keys()
    for key, wanted in {"taxon.pig": "pig", "element.tibia": "tibia", "side.left": "left"}.items():
        assert assets.texts()[key] == wanted


def test_the_font_and_its_licence_are_shipped() -> None:
    for bold in (False, True):
        assert assets.font(bold).read_bytes()[:4] == b"\x00\x01\x00\x00"
    assert "Bitstream Vera" in (assets.root() / "fonts" / "LICENCE-DejaVu.txt").read_text(encoding="utf-8")


def test_a_plate_is_read_as_it_lies_and_a_missing_one_is_named() -> None:
    assert "svg" in ET.fromstring(assets.plate_svg("ruminant", "tibia", "cranial")).tag
    for form, element in (("ruminant", "no_such_bone"), ("..", "tibia"), ("ruminant", "../tibia")):
        with pytest.raises(AssetError, match="no plate is drawn"):
            assets.plate_svg(form, element, "cranial")


def test_an_installed_package_finds_its_assets_inside_itself(tmp_path: Path) -> None:
    # As the wheel lays them out: the assets folder as fieldapp/_assets, and none beside the package.
    shutil.copytree(
        Path(assets.__file__).parent,
        tmp_path / "fieldapp",
        ignore=lambda at, names: (
            [name for name in names if name not in ("__init__.py", "assets.py", "domain")]
            if Path(at).name == "fieldapp"
            else ["__pycache__"]
        ),
    )
    shutil.copytree(assets.root() / "reference", tmp_path / "fieldapp" / "_assets" / "reference")
    done = subprocess.run(
        [sys.executable, "-c", "from fieldapp import assets; print(assets.root(), len(assets.knowledge().taxa))"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == [str((tmp_path / "fieldapp" / "_assets").resolve()), str(len(assets.table("taxa")))]
