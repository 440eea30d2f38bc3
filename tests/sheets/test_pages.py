"""Pages: what fits is never cut, what does not fit is carried on under its heading."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from fieldapp import assets
from fieldapp.sheets.boxes import Box, Frame, Row, Space, Stack, Text, table
from fieldapp.sheets.page import paginate
from fieldapp.sheets.pen import Pen
from tests.sheets.dig import PRINTED


@pytest.fixture(scope="module")
def pen() -> Iterator[Pen]:
    pen = Pen(assets.font(), assets.font(bold=True), title="t", subject="s", lang="en", made_by="test", at=PRINTED)
    yield pen
    pen.close()


def _words(box: Box) -> str:
    if isinstance(box, Text):
        return " ".join(box.lines)
    if isinstance(box, Frame):
        return _words(box.inside)
    return " ".join(_words(one) for one in getattr(box, "boxes", ()))


def test_blocks_follow_each_other_and_none_is_cut() -> None:
    boxes: list[Box] = [Space(60) for _ in range(9)]
    pages = paginate(boxes, first_top=100, top=20, bottom=270, gap=3)
    assert [len(page.placed) for page in pages] == [2, 4, 3]
    assert [box for page in pages for box, _ in page.placed] == boxes
    for page in pages:
        assert all(y + box.height <= 270 for box, y in page.placed)


def test_a_note_longer_than_a_page_is_carried_on_under_its_heading(pen: Pen) -> None:
    words = [f"word{n}" for n in range(4000)]
    note = Stack([Text(pen, "Note of a docket", 180), Text(pen, " ".join(words), 180)], again=Text(pen, "Again", 180))
    pages = paginate([Space(100), note], first_top=10, top=20, bottom=270)
    assert len(pages) > 2
    found = [_words(page.placed[-1][0]) for page in pages]
    assert found[0].startswith("Note of a docket word0 ")
    assert all(text.startswith("Again ") for text in found[1:])
    assert " ".join(found).replace("Note of a docket ", "").replace("Again ", "").split() == words


def test_a_row_is_parted_column_by_column(pen: Pen) -> None:
    text = " ".join(f"n{n}" for n in range(300))
    row = Row([Text(pen, "name", 30), Text(pen, text, 40), Text(pen, text, 60)], 2)
    parts = row.split(50)
    assert parts is not None
    top, rest = parts
    assert top.height <= 50
    assert isinstance(top, Row)
    assert isinstance(rest, Row)
    assert [box.width for box in rest.boxes] == [30, 40, 60]
    assert f"{_words(top.boxes[1])} {_words(rest.boxes[1])}" == text
    assert f"{_words(top.boxes[2])} {_words(rest.boxes[2])}" == text


def test_the_head_of_a_table_comes_again_on_the_next_page(pen: Pen) -> None:
    whole = table(pen, ["label", "reading"], [[f"row{n}", "tibia"] for n in range(120)], [60, 60])
    pages = paginate([whole], first_top=10, top=20, bottom=270)
    texts = [_words(page.placed[0][0]) for page in pages]
    assert len(texts) > 1
    assert all(text.startswith("Label Reading") for text in texts)
    assert all(sum(f"row{n}" in text.split() for text in texts) == 1 for n in range(120))


def test_what_cannot_be_printed_is_an_error_and_no_endless_run(pen: Pen) -> None:
    with pytest.raises(ValueError, match="fits on no page"):
        paginate([Space(400)], first_top=10, top=20, bottom=270)
    with pytest.raises(ValueError, match="fits on no page"):
        paginate([Stack([Space(5), Space(400)], again=Space(5))], first_top=10, top=20, bottom=270)


def test_a_line_too_thin_for_a_copier_is_refused(pen: Pen) -> None:
    pen.page()
    with pytest.raises(ValueError, match="too thin"):
        pen.line(10, 10, 20, 10, 0.1)
