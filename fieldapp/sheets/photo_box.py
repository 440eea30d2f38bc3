"""Photographs on a sheet: made small for paper, and set in rows with what they show.

For: open pictures that somebody asked to have printed. Not for: which pictures are closed (gather) or where they are
kept (the caller).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from io import BytesIO

from PIL import Image, ImageOps

from fieldapp.sheets.boxes import Box, Row, Stack, Text
from fieldapp.sheets.entries import Photo
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.type import TABLE
from fieldapp.sheets.words import Words

WIDE, HIGH = 60.0, 60.0
"""The largest that a picture is printed, mm."""
DPI = 200
_MOST = 60_000_000
"""Pixels; what claims to be larger is no photograph and is not opened."""
GAP = 3.0


def printable(data: bytes, *, grey: bool = False) -> bytes | None:
    """A picture as a small JPEG without the camera's notes; None for what is no picture. The same bytes each time."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(BytesIO(data)) as picture:
                if picture.width * picture.height > _MOST:
                    return None
                most = round(WIDE / 25.4 * DPI), round(HIGH / 25.4 * DPI)
                picture.draft("RGB", most)
                turned = ImageOps.exif_transpose(picture)
                turned.thumbnail(most)
                flat = _flat(turned).convert("L" if grey else "RGB")
                out = BytesIO()
                flat.save(out, "JPEG", quality=82)
                return out.getvalue()
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None


def _flat(picture: Image.Image) -> Image.Image:
    """Without what shines through: paper is white, and the archive's form of file knows no transparency."""
    if picture.mode not in ("RGBA", "LA", "PA") and "transparency" not in picture.info:
        return picture
    ground = Image.new("RGB", picture.size, (255, 255, 255))
    clear = picture.convert("RGBA")
    ground.paste(clear, mask=clear.getchannel("A"))
    return ground


def printed(photos: Iterable[Photo], find: Callable[[str], bytes | None], *, grey: bool = False) -> dict[str, bytes]:
    """{SHA-256: JPEG} of those photographs that can be found and are pictures. `find` gives a file as it was kept."""
    found = {}
    for one in photos:
        if one.sha256 not in found and (data := find(one.sha256)) is not None and (small := printable(data, grey=grey)):
            found[one.sha256] = small
    return found


class PhotoBox(Box):
    """One picture."""

    def __init__(self, data: bytes) -> None:
        with Image.open(BytesIO(data)) as picture:
            wide, high = picture.size
        scale = min(WIDE / wide, HIGH / high)
        self.data, self.width, self.height = data, wide * scale, high * scale

    def draw(self, pen: Pen, x: float, y: float) -> None:
        pen.image(self.data, x, y, self.width, self.height)


def photo_boxes(
    pen: Pen, words: Words, photos: Sequence[Photo], pictures: Mapping[str, bytes], width: float
) -> list[Box]:
    """Rows of pictures, each with what it shows and who took it; one that has not come says so."""
    cells: list[Box] = []
    for one in photos:
        data = pictures.get(one.sha256)
        what = [words.word("view", one.view)] if one.view else []
        if one.scale is True:
            what.append(words.say("photo.scale"))
        if one.north is True:
            what.append(words.say("photo.north"))
        said = Text(pen, ", ".join([*what, words.said(*one.said)]), WIDE, TABLE)
        missing = Text(pen, words.say("photo.missing"), WIDE, TABLE, bold=True)
        cell = Stack([PhotoBox(data) if data else missing, said], gap=0.8)
        cell.width = WIDE
        cells.append(cell)
    across = int((width + GAP) // (WIDE + GAP))
    return [Row(cells[at : at + across], GAP) for at in range(0, len(cells), across)]
