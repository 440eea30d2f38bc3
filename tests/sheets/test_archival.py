"""The file as an archive and a printer meet it, judged by tools outside the project.

PDF/A-1b: Apache PDFBox Preflight (2.0.27 seen). Syntax: qpdf. Where words land: poppler's pdftotext.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from datetime import UTC, timedelta
from pathlib import Path

import pytest
from fpdf import FPDF
from pypdf import PdfReader

from fieldapp import assets
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.plate_drawing import bundled_plates
from tests.sheets.dig import PRINTED, sample
from tests.sheets.preflight import preflight


@pytest.fixture(scope="module")
def printed() -> bytes:
    dig, context = sample()
    return render(dig.sheet(context), bundled_plates(), assets.texts(), PRINTED)


@pytest.fixture(scope="module")
def file(printed: bytes, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "sheet.pdf"
    path.write_bytes(printed)
    return path


def _tool(name: str, package: str) -> str:
    found = shutil.which(name)
    assert found, f"{name} is missing: apt-get install {package}"
    return found


def test_an_outside_validator_finds_the_sheet_to_be_pdf_a_1b(file: Path) -> None:
    assert preflight(file) == f"The file {file.name} is a valid PDF/A-1b file"


def test_the_validator_does_find_fault_with_an_ordinary_pdf(tmp_path: Path) -> None:
    pdf = FPDF()
    pdf.add_page()
    pdf.add_font("plain", fname=assets.font())
    pdf.set_font("plain", size=12)
    pdf.text(20, 20, "no metadata, no colour profile")
    path = tmp_path / "ordinary.pdf"
    pdf.output(str(path))
    assert "is not a valid PDF/A-1b file" in preflight(path)


def test_qpdf_finds_no_error(file: Path) -> None:
    qpdf = _tool("qpdf", "qpdf")
    done = subprocess.run([qpdf, "--check", str(file)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No syntax or stream encoding errors found" in done.stdout


def test_nothing_is_smaller_than_nine_points_or_thinner_than_a_quarter_millimetre(printed: bytes) -> None:
    sizes: set[float] = set()
    lines: set[float] = set()
    for page in PdfReader(io.BytesIO(printed)).pages:
        content = page.get_contents()
        assert content is not None
        stream = content.get_data().decode("latin-1")
        sizes |= {float(one) for one in re.findall(r"/F\d+ ([\d.]+) Tf", stream)}
        lines |= {float(one) for one in re.findall(r"(?<![\d.])([\d.]+) w\b", stream)}
    assert min(sizes) >= 9
    assert 10 in sizes
    assert min(lines) >= 0.25 * 72 / 25.4 - 0.005


def test_every_font_is_embedded(printed: bytes) -> None:
    for page in PdfReader(io.BytesIO(printed)).pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            inner = font["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"]


def test_no_word_lies_outside_the_margins(file: Path) -> None:
    text = _tool("pdftotext", "poppler-utils")
    done = subprocess.run([text, "-bbox", str(file), "-"], capture_output=True, text=True, check=True)
    words = re.findall(r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', done.stdout)
    assert len(words) > 500
    margin, wide, high = 10 * 72 / 25.4, 210 * 72 / 25.4, 297 * 72 / 25.4
    for left, top, right, bottom in (tuple(map(float, one)) for one in words):
        assert left >= margin - 0.5
        assert right <= wide - margin + 0.5
        # poppler's boxes are as high as the font's tallest letter; the baseline is what must keep off the edge.
        assert top >= margin - 3
        assert bottom <= high - margin + 3


def test_the_files_own_date_is_that_of_printing_and_its_title_that_of_the_context(printed: bytes) -> None:
    about = PdfReader(io.BytesIO(printed)).xmp_metadata
    assert about is not None
    assert about.xmp_create_date == PRINTED.astimezone(UTC).replace(tzinfo=None)
    assert about.dc_title == {"x-default": "IVS26 Context 1042: Context bone sheet"}
    assert (about.pdfaid_part, about.pdfaid_conformance) == ("1", "B")


def test_another_time_of_printing_gives_another_file(printed: bytes) -> None:
    dig, context = sample()
    later = PRINTED + timedelta(minutes=1)
    assert render(dig.sheet(context), bundled_plates(), assets.texts(), later) != printed
