"""The same plate on the tablet, in a browser and on paper: three programs draw it, and it is one picture.

Each is brought to a raster of one size, 8 pixels to the millimetre: kivy by the widget, Chromium by the page's SVG,
poppler by the sheet's PDF. Ink is compared; a pixel counts as different if the other has no ink within one pixel.
"""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageFilter

from fieldapp import assets
from fieldapp.domain.plates import STATES, Plate, svg
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.plate_drawing import PlateDrawing, bundled_plates
from fieldapp.ui.theme import theme
from tests.plates.shelf import ROWS, drawn

PX = 8
"""Pixels to the millimetre."""
INK = 150
"""A pixel darker than this is ink: fills are lighter, the light lines darker."""
ROWS_SEEN = [row for row in ROWS if row.element in ("femur", "scapula", "atlas", "mandible") and row.place == 1][::4]


def states_of(plate: Plate) -> dict[str, str]:
    names = list(STATES)
    return {key: names[at % 4] for at, key in enumerate(plate.portions)}


def size_of(plate: Plate) -> tuple[int, int]:
    """Pixels of the raster: 80 mm on the longer side."""
    times = 80 * PX / max(plate.width, plate.height)
    return round(plate.width * times), round(plate.height * times)


def on_the_tablet(plate: Plate, folder: Path) -> Image.Image:
    from kivy.graphics import Color, Rectangle
    from kivy.uix.widget import Widget

    from fieldapp.ui.widgets.plate import PlateView

    wide, high = size_of(plate)
    before, theme.ppi = theme.ppi, PX * 25.4
    try:
        ground = Widget(size=(wide, high))
        with ground.canvas:
            Color(1, 1, 1)
            Rectangle(size=(wide, high))
        view = PlateView(size=(wide, high))
        view.show(plate, states_of(plate))
        view._draw()
        ground.add_widget(view)
        ground.export_to_png(str(folder / "tablet.png"))
    finally:
        theme.ppi = before
    return Image.open(folder / "tablet.png")


def in_the_browser(plate: Plate, folder: Path) -> Image.Image:
    wide, high = size_of(plate)
    picture = svg(plate, states_of(plate), title="x", shown_mm=high / PX)
    picture = picture.replace("<svg ", f'<svg width="{wide}" height="{high}" style="display:block" ', 1)
    page = folder / "plate.html"
    page.write_text(f'<body style="margin:0;background:#fff">{picture}</body>', encoding="utf-8")
    subprocess.run(
        [
            *("chromium", "--headless", "--no-sandbox", "--hide-scrollbars", "--force-device-scale-factor=1"),
            *(f"--user-data-dir={folder / 'profile'}", f"--window-size={max(wide, 600)},{max(high, 600)}"),
            *(f"--screenshot={folder / 'page.png'}", page.as_uri()),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return Image.open(folder / "page.png").crop((0, 0, wide, high))


def on_paper(plate: Plate, folder: Path) -> Image.Image:
    wide, high = size_of(plate)
    book = bundled_plates()
    pen = Pen(
        assets.font(),
        assets.font(bold=True),
        title="x",
        subject="x",
        lang="en",
        made_by="x",
        at=datetime(2026, 6, 1, tzinfo=UTC),
    )
    pen.page()
    PlateDrawing(book, book.key(plate, (wide / PX, high / PX)), states_of(plate)).draw(pen, 10, 10)
    (folder / "sheet.pdf").write_bytes(pen.bytes())
    pen.close()
    shot = subprocess.run(
        [
            *("pdftoppm", "-r", str(PX * 25.4), "-png", "-singlefile", "-x", str(10 * PX), "-y", str(10 * PX)),
            *("-W", str(wide), "-H", str(high), str(folder / "sheet.pdf")),
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    return Image.open(BytesIO(shot.stdout))


def ink(picture: Image.Image) -> Image.Image:
    return picture.convert("RGB").convert("L").point(lambda value: 255 if value < INK else 0)


def unlike(one: Image.Image, other: Image.Image) -> float:
    """Share of pixels that are ink in one and further than a pixel from any ink of the other, both ways."""
    assert one.size == other.size
    apart = 0
    for a, b in ((one, other), (other, one)):
        lost = ImageChops.subtract(a, b.filter(ImageFilter.MaxFilter(3)))
        apart += lost.histogram()[255]
    return apart / (one.width * one.height)


@pytest.mark.ui
@pytest.mark.parametrize("row", ROWS_SEEN, ids=[row.key for row in ROWS_SEEN])
def test_tablet_browser_and_paper_draw_one_picture(row, tmp_path):
    plate = drawn(row)
    tablet, page, sheet = (ink(make(plate, tmp_path)) for make in (on_the_tablet, in_the_browser, on_paper))
    for picture in (tablet, page, sheet):
        share = picture.histogram()[255] / (picture.width * picture.height)
        assert 0.02 < share < 0.5
    for one, other in ((tablet, page), (tablet, sheet), (page, sheet)):
        assert unlike(one, other) <= 0.01
    # The measure can tell: a picture moved by four pixels is another one.
    assert unlike(tablet, ImageChops.offset(tablet, 4, 0)) > 0.01
