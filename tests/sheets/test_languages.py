"""Printed things in every language there is: longer words are not cut at the edge, nor broken in a column."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from fieldapp import assets
from fieldapp.sheets import compact, trench
from fieldapp.sheets.blank import render_blank
from fieldapp.sheets.compact import render_compact
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.edges import new_pen
from fieldapp.sheets.page import ROOM
from fieldapp.sheets.plate_drawing import Legend, bundled_plates
from fieldapp.sheets.trench import render_summary, summary_of
from fieldapp.sheets.type import TABLE
from fieldapp.sheets.words import Words
from tests.sheets.dig import PRINTED, SITE, sample

POINTS = 72 / 25.4
A4 = (210.0, 297.0)
MARGIN = 10.0


@pytest.mark.parametrize("language", assets.languages())
def test_no_word_lies_outside_the_margins(language: str, tmp_path: Path) -> None:
    program = shutil.which("pdftotext")
    assert program, "this test needs pdftotext (poppler-utils)"
    texts, plates = assets.texts(language), bundled_plates()
    dig, context = sample()
    sheet = dig.sheet(context)
    made = {
        "full": (render(sheet, plates, texts, PRINTED), A4),
        "compact": (render_compact(sheet, texts, PRINTED), A4[::-1]),
        "blank": (render_blank(dig.records()[SITE], 2, plates, texts, PRINTED, source="x"), A4),
        "trench": (render_summary(summary_of([sheet], assets.knowledge()), "B", texts, PRINTED), A4[::-1]),
    }
    for name, (pdf, (wide, _)) in made.items():
        file = tmp_path / f"{name}.pdf"
        file.write_bytes(pdf)
        done = subprocess.run([program, "-bbox", str(file), "-"], capture_output=True, text=True, check=True)
        words = re.findall(r'xMin="([\d.-]+)" yMin="[\d.-]+" xMax="([\d.-]+)" yMax="[\d.-]+">(.*?)<', done.stdout)
        assert len(words) > 30
        out = [word for left, right, word in words if not _inside(float(left), float(right), wide)]
        assert out == [], name


def _inside(left: float, right: float, wide: float) -> bool:
    return MARGIN * POINTS - 0.5 <= left and right <= (wide - MARGIN) * POINTS + 0.5


@pytest.mark.parametrize("language", assets.languages())
def test_no_word_of_a_heading_or_of_the_human_question_is_broken_in_its_column(language: str) -> None:
    words = Words(assets.texts(language))
    pen = new_pen(words, "x", "x", PRINTED)
    columns = [(f"compact.{one}", wide) for one, wide in compact.COLUMNS.items() if wide]
    columns += [(f"trench.{one}", wide) for one, wide in trench.COLUMNS.items() if wide]
    said = [(words.say(key), wide, True) for key, wide in columns]
    answers = [text for key, text in words.texts.items() if key.startswith("sheets.short_standing.")]
    assert answers
    said += [(one, compact.COLUMNS["human"], False) for one in answers]
    broken = [
        (word, wide)
        for text, wide, bold in said
        for word in text.split(" ")
        if (pen.bold_type if bold else pen.type).width(word[:1].upper() + word[1:], TABLE) > wide
    ]
    pen.close()
    assert broken == []
    assert Legend(pen, words, ROOM).between > Legend.CLOSE, "the legend of the plates fits between the margins"
