"""Compact sheets, blanks, labels, a trench's summary and many sheets in one file.

Judged by tools outside the project: PDF/A-1b by Apache PDFBox Preflight (2.0.27 seen), pages as pictures by poppler's
pdftoppm, codes read back by zbar, text in its order by pypdf.
"""

from __future__ import annotations

import hashlib
import io
import re
import shutil
import subprocess
import sys
from datetime import datetime
from functools import cache
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader
from pyzbar import pyzbar

from fieldapp import assets
from fieldapp.domain.labels import read
from fieldapp.sheets.blank import ROW, known_of, render_blank
from fieldapp.sheets.compact import render_compact
from fieldapp.sheets.context_sheet import render, render_all
from fieldapp.sheets.labels import SIZES, Tag, box_tags, render_labels, tags_of
from fieldapp.sheets.photo_box import printable, printed
from fieldapp.sheets.plate_drawing import bundled_plates
from fieldapp.sheets.trench import render_summary, summary_of
from fieldapp.sheets.words import Words
from tests.sheets.dig import CODE, PRINTED, SITE, Dig, reading, sample
from tests.sheets.preflight import preflight

PLATES = bundled_plates()
TEXTS = assets.texts()
WORDS = Words(TEXTS)


def picture(
    colour: str | tuple[int, ...], mode: str = "RGB", sort: str = "JPEG", size: tuple[int, int] = (900, 600)
) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, colour).save(out, sort)
    return out.getvalue()


RED = picture("red")


@cache
def scene() -> tuple[Dig, str, str]:
    """The sample's context with a tally, photographs, a check and a refit; and a second context of the same trench."""
    dig, context = sample()
    values = {"label": f"{CODE} T1", "context": context, "taxon": "medium_mammal", "element": "rib", "count": 40}
    dig.set("bo", "tally", dig.new_id(), {**values, "weight_g": 55.5, "stage": "scan"})
    dig.set("ada", "photo", dig.new_id(), {"context": context, "sha256": "a" * 64, "view": "overall", "scale": True})
    other = dig.context("1043", type="layer", trench="B")
    bag = dig.bag(other, 44, recovery="sieve", mesh_mm=2.0, box="4")
    dig.docket(bag, 900, material="bone", count=3)
    dig.context("1044", trench="B")
    return dig, context, other


@cache
def made(at: datetime = PRINTED) -> dict[str, bytes]:
    """One file of every kind."""
    dig, context, other = scene()
    gather = dig.gatherer()
    sheet, second = gather(context), gather(other)
    pictures = {"a" * 64: printable(RED, grey=True) or b""}
    bags = [(str(bag.box), one.number) for one in (sheet, second) for bag in one.bags if bag.box]
    tags = [*tags_of(sheet, WORDS), *tags_of(second, WORDS), *box_tags(CODE, bags, WORDS)]
    files = {
        "photos": render(sheet, PLATES, TEXTS, at, pictures),
        "compact": render_compact(sheet, TEXTS, at),
        "blank": render_blank(dig.records()[SITE], 6, PLATES, TEXTS, at, source="x"),
        "trench": render_summary(summary_of([sheet, second], assets.knowledge()), "B", TEXTS, at),
        "all": render_all([sheet, second], PLATES, TEXTS, at, title="IVS26 B"),
    }
    return files | {
        f"labels {one}": render_labels(tags * 2, size, TEXTS, at, title=CODE) for one, size in SIZES.items()
    }


KINDS = ("photos", "compact", "blank", "trench", "all", *(f"labels {one}" for one in SIZES))


def text(pdf: bytes) -> str:
    said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    return said.replace("\n", " ").replace("\u00a0", " ")


@pytest.mark.parametrize("kind", ["photos", "all", *(pytest.param(one, marks=pytest.mark.proof) for one in KINDS)])
def test_an_outside_validator_finds_every_kind_to_be_pdf_a_1b(kind: str, tmp_path: Path) -> None:
    assert tuple(made()) == KINDS
    file = tmp_path / f"{kind.replace(' ', '-')}.pdf"
    file.write_bytes(made()[kind])
    assert preflight(file) == f"The file {file.name} is a valid PDF/A-1b file"


def test_printed_again_a_file_is_the_same_to_the_byte() -> None:
    dig, context, _ = scene()
    sheet = dig.sheet(context)
    assert render_compact(sheet, TEXTS, PRINTED) == made()["compact"]
    blank = render_blank(dig.records()[SITE], 6, bundled_plates(), TEXTS, PRINTED, source="x")
    assert blank == made()["blank"]


@pytest.mark.proof
def test_every_kind_printed_again_is_the_same_file_to_the_byte_in_another_run_too(tmp_path: Path) -> None:
    script = (
        "import hashlib\nfrom tests.sheets.test_variants import made\n"
        "for name, data in made().items(): print(name, hashlib.sha256(data).hexdigest(), sep='\\t')\n"
    )
    env = {"PYTHONHASHSEED": "4711"}
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", script], check=True, cwd=root, env=env, capture_output=True, text=True)
    again = dict(line.split("\t") for line in done.stdout.splitlines())
    assert again == {name: hashlib.sha256(data).hexdigest() for name, data in made().items()}


def test_nothing_is_smaller_than_nine_points_or_thinner_than_a_quarter_millimetre() -> None:
    for name, data in made().items():
        for page in PdfReader(io.BytesIO(data)).pages:
            content = page.get_contents()
            assert content is not None
            stream = content.get_data().decode("latin-1")
            assert all(float(one) >= 9 for one in re.findall(r"/F\d+ ([\d.]+) Tf", stream)), name
            lines = [float(one) for one in re.findall(r"(?<![\d.])([\d.]+) w\b", stream)]
            assert all(one >= 0.25 * 72 / 25.4 - 0.005 for one in lines), name
    assert ROW >= 8, "a line to write on"


@pytest.mark.parametrize("size", SIZES)
def test_every_code_is_read_back_from_a_picture_of_the_page(size: str, tmp_path: Path) -> None:
    tool = shutil.which("pdftoppm")
    assert tool, "apt-get install poppler-utils"
    (tmp_path / "labels.pdf").write_bytes(made()[f"labels {size}"])
    command = [tool, "-gray", "-r", "150", "-png", str(tmp_path / "labels.pdf"), str(tmp_path / "page")]
    subprocess.run(command, check=True)
    codes: dict[str, int] = {}
    for page in sorted(tmp_path.glob("page*.png")):
        with Image.open(page) as raster:
            for one in pyzbar.decode(raster, symbols=[pyzbar.ZBarSymbol.QRCODE]):
                codes[one.data.decode()] = codes.get(one.data.decode(), 0) + 1
    dig, context, other = scene()
    bags = [bag.label for one in (context, other) for bag in dig.sheet(one).bags]
    assert codes == dict.fromkeys([*bags, f"{CODE} BOX 4"], 4), "each on two labels, in two corners"
    assert all(str(read(one)) == one for one in bags)


def test_a_label_says_in_letters_what_its_codes_say_and_a_long_one_still_fits() -> None:
    said = text(made()["labels 3x8"])
    assert said.count("A12-H") == 2
    assert said.count("Context 1042") == 4
    assert "by sieve 4 mm" in said
    long = Tag("ABCDEFGHIJ AB1234567-K", "ABCDEFGHIJ", "AB1234567-K", ("Context " + "9" * 70, "by\rsieve"))
    for size in SIZES.values():
        said = text(render_labels([long], size, TEXTS, PRINTED, title="t"))
        assert "AB1234567-K" in said
        (number,) = re.findall(r"Context (9+…?)", said)
        assert number == "9" * 70 or number.endswith("…"), "what was cut does not pass for another number"
    with pytest.raises(ValueError, match="no labels"):
        render_labels([], SIZES["2x5"], TEXTS, PRINTED, title="t")


def test_a_compact_sheet_has_a_line_for_each_fragment_in_reading_order() -> None:
    said = text(made()["compact"])
    assert said.index("HOLD") < said.index("A101-") < said.index("A102-") < said.index("B7-") < said.index("T1")
    assert "tibia left cf. sheep/goat lower shaft, distal metaphysis" in said
    assert "≠ cattle / red deer" in said
    assert "~ sheep/goat" in said
    assert "A104-Y femur" in said
    assert "POSSIBLE: STOP" in said
    dig, context, _ = scene()
    for docket in dig.sheet(context).dockets:
        short = docket.label.partition(" ")[2]
        assert (short in said) == (docket.life != "deleted"), short


def test_a_blank_sheet_has_the_caution_and_the_sites_own_words_and_room_for_every_fragment() -> None:
    dig = Dig()
    site = dig.records()[SITE]
    said = {
        "zone_text": "ten paces round it",
        "place_text": "Ring the duty desk (invented).",
        "place_source": "a leaflet",
    }
    assert "ten paces" not in text(render_blank(site, 1, PLATES, TEXTS, PRINTED, source="x"))
    dig.set("fay", "site", SITE, said)
    printed_one = text(render_blank(dig.records()[SITE], 7, PLATES, TEXTS, PRINTED, source="x", number="77"))
    for words in (
        "Context 77",
        "POSSIBLE HUMAN? STOP",
        "Stop digging here",
        "ten paces round it",
        "Ring the duty desk",
    ):
        assert words in printed_one
    assert printed_one.count("Any long bone") == printed_one.count("POSSIBLE: STOP") == 7
    # What is known of the context stands on it, so that five fragments are two pages and not three.
    assert "pit fill" in printed_one
    context = dig.context("77", trench="B", type="midden", phase="3")
    dig.set("ada", "context", context, {"trench": "B", "phase": "4"})
    known = known_of(dig.records()[context])
    assert known == {"trench": "B", "type": "midden"}, "a phase in dispute is left to write"
    pdf = render_blank(site, 5, PLATES, TEXTS, PRINTED, source="x", number="77", known=known)
    assert "midden" in text(pdf)
    assert "pit fill" not in text(pdf)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 2
    dig.license("Tell the office each week.")
    licensed = text(render_blank(dig.records()[SITE], 1, PLATES, TEXTS, PRINTED, source="x"))
    assert "under licence L-77" in licensed
    assert "Tell the office each week." in licensed
    assert "Stop digging here" not in licensed


def test_a_trench_has_a_line_a_context_and_never_mixes_hand_and_sieve_unsaid() -> None:
    said = text(made()["trench"])
    assert "1042 pit fill 3 (late) by hand; by sieve 4 mm 8–9" in said  # noqa: RUF001
    assert "1043 layer" in said
    for way in ("NISP by hand", "NISP by sieve 4 mm", "NISP by sieve 2 mm"):
        assert way in said
    assert "Possible human remains are on hold here" in said


def test_a_docket_in_dispute_between_two_contexts_counts_once_in_the_trench() -> None:
    dig = Dig()
    one, other = dig.context("1", trench="A"), dig.context("2", trench="A")
    here, there = dig.bag(one, 1, recovery="hand"), dig.bag(other, 2, recovery="hand")
    docket = dig.docket(here, 3, material="bone", count=1, reading=reading("tibia", "pig", "left", most="lower_shaft"))
    dig.set("bo", "docket", docket, {"bag": there})
    sheets = [dig.sheet(one), dig.sheet(other)]
    assert [sheet.figures.total.nisp.high for sheet in sheets] == [1, 1]
    assert summary_of(sheets, assets.knowledge()).whole.total.nisp.high == 1


def test_tallies_that_are_called_alike_are_all_counted_in_the_trench_and_one_in_dispute_once() -> None:
    dig = Dig()
    one, other = dig.context("1", trench="A"), dig.context("2", trench="A")
    here, there = dig.bag(one, 1, recovery="hand"), dig.bag(other, 2, recovery="hand")
    for bag, count in ((here, 3), (there, 4), (there, 5)):
        told = {"label": "T2", "bag": bag, "taxon": "cattle", "element": "rib", "count": count}
        dig.set("bo", "tally", dig.new_id(), told)
    moved = dig.new_id()
    dig.set("bo", "tally", moved, {"bag": here, "taxon": "cattle", "element": "rib", "count": 20})
    dig.set("cem", "tally", moved, {"bag": there})
    summary = summary_of([dig.sheet(one), dig.sheet(other)], assets.knowledge())
    assert (summary.whole.total.pieces.low, summary.whole.total.pieces.high) == (32, 32)


def test_many_sheets_in_one_file_have_a_bookmark_and_pages_of_their_own() -> None:
    pdf = PdfReader(io.BytesIO(made()["all"]))
    assert [one.title for one in pdf.outline] == ["IVS26 Context 1042", "IVS26 Context 1043"]
    starts = [pdf.get_destination_page_number(one) for one in pdf.outline]
    assert [pdf.pages[n].extract_text().count("Page 1 of") for n in starts] == [1, 1]


def _with(**values: object) -> tuple[Dig, str, str]:
    dig = Dig()
    context = dig.context("5", **values)
    docket = dig.docket(dig.bag(context, 1), 2, material="bone", count=1)
    return dig, context, docket


def test_a_check_stands_until_something_changes_and_a_note_changes_nothing() -> None:
    dig, context, docket = _with()

    def seen() -> dict[str, list[str]]:
        heads = dig.records()[docket].heads
        return {"seen": sorted({change for path, by in heads.items() if path != "checked" for change in by})}

    dig.set("dora", "docket", docket, {"checked": seen()})
    dig.note("ada", docket, "Looked at again.")
    assert "CHECKED by Dóra" in text(render(dig.sheet(context), PLATES, TEXTS, PRINTED))
    assert "checked" in text(render_compact(dig.sheet(context), TEXTS, PRINTED))
    dig.set("ada", "docket", docket, {"weight_g": 4.0})
    said = text(render(dig.sheet(context), PLATES, TEXTS, PRINTED))
    assert "Checked by Dóra" in said
    assert "changed since: to be checked again" in said
    # Two who checked do not disagree.
    dig.set("eve", "docket", docket, {"checked": seen()})
    sheet = dig.sheet(context)
    assert sheet.figures.disagreements == 0
    assert sheet.dockets[0].checked
    assert sheet.dockets[0].unknown == 0


def test_a_locked_context_says_that_its_analysis_is_finished() -> None:
    dig, context, _ = _with(locked=True)
    for data in (
        render(dig.sheet(context), PLATES, TEXTS, PRINTED),
        render_compact(dig.sheet(context), TEXTS, PRINTED),
    ):
        assert "analysis finished (locked)" in text(data)


def _photo(dig: Dig, sha256: str, **values: object) -> None:
    dig.set("ada", "photo", dig.new_id(), {"sha256": sha256 * 64, **values})


def test_only_open_photographs_are_given_and_what_is_closed_by_any_record_is_closed() -> None:
    dig, context, docket = _with()
    raised = dig.docket(dig.bag(context, 9), 10)
    dig.ask("ada", raised, "query")
    far = dig.docket(dig.bag(dig.context("6"), 11), 12)
    named = dig.new_id()
    dig.set("ada", "docket", docket, {f"photo/{named}": True})
    dig.set("ada", "photo", named, {"sha256": "1" * 64})
    _photo(dig, "2", docket=docket, closed=True)
    _photo(dig, "3", docket=raised)
    _photo(dig, "4", docket=docket)
    _photo(dig, "4", docket=far, closed=True)
    _photo(dig, "5", context=context)
    _photo(dig, "6", docket=far)
    _photo(dig, "7", docket=docket)
    _photo(dig, "7", docket=far)
    sheet = dig.sheet(context)
    assert {one.sha256[0]: one.docket for one in sheet.photos} == {"1": docket, "5": ""}
    assert sheet.photos_closed == 4
    asked: list[str] = []
    found = printed(sheet.photos, lambda sha256: asked.append(sha256[0]) or (RED if sha256[0] == "1" else None))
    assert sorted(asked) == ["1", "5"]
    said = text(render(sheet, PLATES, TEXTS, PRINTED, found))
    assert "The picture has not come" in said
    assert "Closed, and never printed: 4." in said
    assert "Photographs" not in text(render(sheet, PLATES, TEXTS, PRINTED))


def test_pictures_are_made_small_flat_and_plain_and_what_is_none_is_left_out() -> None:
    small = printable(RED)
    assert small is not None
    with Image.open(io.BytesIO(small)) as shown:
        assert (shown.size, shown.mode, shown.format) == ((472, 315), "RGB", "JPEG")
        assert not shown.getexif()
    clear = printable(picture((255, 0, 0, 0), "RGBA", "PNG"))
    assert clear is not None
    with Image.open(io.BytesIO(clear)) as shown:
        assert min(shown.getpixel((9, 9))) > 250, "what shines through is paper"  # type: ignore[arg-type, type-var]
    grey = printable(picture("blue"), grey=True)
    assert grey is not None
    with Image.open(io.BytesIO(grey)) as shown:
        assert shown.mode == "L"
    for no_picture in (b"", b"not a picture", RED[:200], b"%PDF-1.4"):
        assert printable(no_picture) is None


def test_tallies_and_refits_and_one_bone_twice_are_counted_as_defined() -> None:
    dig, context, docket = _with()
    bag = dig.bag(context, 20, recovery="sieve", mesh_mm=4.0)
    one = dig.docket(bag, 21, material="bone", count=1, reading=reading("tibia", "pig", "left", most="lower_shaft"))
    half = dig.docket(bag, 22, material="bone", count=1, reading=reading("tibia", "pig", "left", most="upper_shaft"))
    dig.set("ada", "docket", half, {f"joins/{one}": {"break": "old"}})
    again = dig.docket(bag, 23, material="bone", count=1, reading=reading("tibia", "pig", "left", most="lower_shaft"))
    dig.set("ada", "docket", again, {f"same_as/{one}": True})
    tally = {"label": f"{CODE} T2", "bag": bag, "taxon": "cattle", "element": "rib", "count": 6, "weight_g": 60.0}
    dig.set("bo", "tally", dig.new_id(), tally)
    figures = dig.sheet(context).figures
    # The first docket, two halves, one of them under a second docket too, six of a tally.
    assert (figures.total.dockets.high, figures.total.pieces.high) == (4, 9)
    assert (figures.nsp.high, figures.total.nisp.high) == (8, 7)
    assert {row.heading[1]: row.nisp.high for row in figures.rows} == {"pig": 1, "cattle": 6, None: 0}
    by_way = {(row.recovery, row.mesh_mm): (row.pieces.high, row.nisp.high) for row in figures.by_recovery}
    assert by_way == {(None, None): (1, 0), ("sieve", 4.0): (8, 7)}
    said = text(render(dig.sheet(context), PLATES, TEXTS, PRINTED))
    assert "Tallies: counted, not recorded one by one" in said
    assert "cattle rib 6 60 g" in said
    assert "NISP: those of them whose element and animal" in said
    assert docket
