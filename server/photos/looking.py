"""Pictures to look at: what sort a file is, and small copies of it.

A copy stands upright, and carries nothing of the camera's notes: no place, no time, no words. A file that is broken, or
would unpack to more than a photograph can be, gives a drawn placeholder. Not here: which picture, and who may see it.
"""

from __future__ import annotations

import threading
from io import BytesIO

from PIL import Image, ImageDraw, ImageOps

SIZES = {"small": 240, "middle": 1280}
"""{name: pixels of the longer side}."""

SORTS = {"jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp"}
"""{sort: media type} of what is shown as it came."""

PIXELS = 60_000_000
"""The most that is unpacked of one picture."""

_PAPER, _INK = (244, 239, 227), (138, 127, 110)
_one_at_a_time = threading.Semaphore(2)


def sort_of(data: bytes) -> str:
    """What a file is by its own first bytes: a key of SORTS, or "other"."""
    if data.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    return "other"


def small(data: bytes, size: str) -> bytes:
    """A JPEG of at most SIZES[size]."""
    with _one_at_a_time:
        try:
            picture = _shrunk(data, SIZES[size])
        except Exception:
            # Whatever a broken file makes the library do: that it is broken is all there is to show.
            picture = _placeholder(SIZES[size])
    out = BytesIO()
    picture.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()


def _shrunk(data: bytes, longest: int) -> Image.Image:
    with Image.open(BytesIO(data), formats=tuple(one.upper() for one in SORTS)) as opened:
        # A JPEG can be unpacked at a part of its size to begin with.
        opened.draft("RGB", (longest * 2, longest * 2))
        if opened.width * opened.height > PIXELS:
            raise ValueError("too many pixels")
        opened.thumbnail((longest, longest), reducing_gap=2.0)
        upright = ImageOps.exif_transpose(opened).convert("RGBA")
    # A new image has no notes to carry over.
    clean = Image.new("RGB", upright.size, _PAPER)
    clean.paste(upright, mask=upright.getchannel("A"))
    return clean


def _placeholder(longest: int) -> Image.Image:
    wide, high = longest, longest * 3 // 4
    picture = Image.new("RGB", (wide, high), _PAPER)
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, 0, wide - 1, high - 1), outline=_INK, width=2)
    draw.line((0, 0, wide, high), fill=_INK, width=2)
    draw.line((0, high, wide, 0), fill=_INK, width=2)
    return picture
