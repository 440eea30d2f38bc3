"""The whole path, once, as `bonedocket demo --headless` plays it: what it says, what it leaves, what holds afterwards.

Everything is checked from what a person gets: the summary, pictures, PDFs, and the notebooks and ledger as the other
commands read them.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from demo_data.site import last_season
from fieldapp import assets
from fieldapp.commands.source import read_folder
from fieldapp.domain.human import CAUTION, RAISED
from fieldapp.records.standing import authority, standing_of
from server.demo.story import label


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> tuple[Path, dict]:
    """The demonstration's folder and its summary."""
    out = tmp_path_factory.mktemp("demo") / "out"
    done = subprocess.run(
        [sys.executable, "-m", "fieldapp", "demo", "--headless", "--json", "--out", str(out)],
        capture_output=True,
        text=True,
        timeout=500,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-4000:]
    summary = json.loads(done.stdout)
    assert json.loads((out / "summary.json").read_text("utf-8")) == summary
    return out, summary


def test_the_summary_tells_of_a_disagreement_settled_one_open_and_two_holds(played):
    _, summary = played
    assert summary["disagreements"] == {"open": 1, "settled": 1}
    assert summary["precision_differences"] == 1
    assert summary["holds"] == {"stop": 1, "query": 1}
    assert summary["problems"]["check"] > 0
    assert summary["ledger_folds_to_what_it_holds"] is True


def test_nothing_that_a_tablet_wrote_is_missing_at_the_cabin(played):
    out, summary = played
    ledger = read_folder(out / "cabin")
    assert ledger.faults == []
    assert summary["changes"] == len(ledger.who)
    for letter in "AB":
        notebook = read_folder(out / f"tablet-{letter}")
        assert notebook.faults == []
        assert set(notebook.who) <= set(ledger.who)


def test_tablet_a_holds_what_the_cabin_holds_after_its_last_sync_but_for_the_exact_place(played):
    out, _ = played
    tablet, cabin = read_folder(out / "tablet-A"), read_folder(out / "cabin")
    later = {change.record for change in last_season(assets.knowledge())}
    assert set(tablet.fold.records) == set(cabin.fold.records) - later
    sealed = []
    for one in (one for one in cabin.fold if one.id not in later):
        mine, theirs = tablet.fold.records[one.id].as_json(), one.as_json()
        sealed += [one.id] if theirs["heads"].pop("place_sealed", None) else []
        assert mine == theirs
    assert len(sealed) == 1, "the hold's exact place is at the cabin, and at no other tablet"


def test_every_screen_and_page_is_a_picture_with_something_on_it(played):
    out, summary = played
    assert len(summary["screens"]) == len(set(summary["screens"])) >= 30
    assert len(summary["pages"]) >= 10
    for folder, names in (("screens", summary["screens"]), ("pages", summary["pages"])):
        for name in names:
            with Image.open(out / folder / name) as picture:
                assert picture.width >= 1280
                assert len(picture.convert("L").getcolors(256) or range(256)) > 20, f"{name} is blank"


def test_the_in_situ_stop_shows_the_hazard_band_and_no_other_recording_screen_does(played):
    out, _ = played

    def hazard(name: str) -> float:
        with Image.open(out / "screens" / name) as picture:
            colours = picture.convert("RGB").getcolors(picture.width * picture.height)
        pixels = sum(count for count, _ in colours)
        yellow = sum(n for n, (red, green, blue) in colours if red > 220 and 170 < green < 220 and blue < 60)
        return yellow / pixels

    assert hazard("B-06-stop.png") > 0.03
    assert hazard("B-10-query.png") == 0
    assert hazard("A-09-portions.png") == 0


def test_every_context_has_a_sheet_and_they_say_what_is_in_dispute_and_on_hold(played):
    out, summary = played
    assert summary["sheets"] == ["1038.pdf", "1042.pdf", "1057.pdf", "1061.pdf"]
    text = {
        name: " ".join(page.extract_text() for page in PdfReader(out / "sheets" / name).pages)
        for name in summary["sheets"]
    }
    assert all(label("A", n) in text["1042.pdf"] for n in (2, 3, 4))
    assert "DISAGREEMENT" in text["1042.pdf"].upper()
    assert "POSSIBLE HUMAN REMAINS" in text["1061.pdf"].upper()
    assert "peg 7" not in "".join(text.values()), "an exact place was printed"


def test_the_report_draws_on_the_washed_bone_and_leaves_out_what_is_on_hold(played):
    out, _ = played
    text = " ".join(page.extract_text() for page in PdfReader(out / "report.pdf").pages)
    assert "draft" in text.casefold()
    assert "possibly human: 2 dockets" in " ".join(text.split())
    assert "Survival" in text
    assert "peg 7" not in text


def test_the_exact_place_is_nowhere_in_the_clear(played):
    out, _ = played
    for file in [*out.rglob("journal"), *out.rglob("*.sqlite*"), *out.rglob("snapshot/*")]:
        assert b"peg 7" not in file.read_bytes(), f"{file} holds the exact place"


def test_the_raised_dockets_stand_raised_wherever_they_are_read(played):
    out, _ = played
    for where in ("cabin", "tablet-B"):
        folder = read_folder(out / where)
        who = authority(folder.site(), folder.records("person"), assets.knowledge().names)
        answers = Counter(standing_of(one, who).answer for one in folder.records("docket"))
        assert sum(answers[one] for one in RAISED) == 2
        assert set(answers) <= set(CAUTION)


def test_a_folder_that_is_no_demonstration_s_is_not_cleared(tmp_path):
    (tmp_path / "thesis.txt").write_text("years of work", "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "fieldapp", "demo", "--headless", "--out", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "is not empty" in done.stderr
    assert (tmp_path / "thesis.txt").read_text("utf-8") == "years of work"
