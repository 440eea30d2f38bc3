"""Reads the cabin's QR code from a picture, where this machine can (zbar). The picture is nobody's to keep.

Not here: taking the picture (device), what the code's text means (records.enrolment).
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageOps

LARGEST = 1600
"""Pixels of a picture's longer side; a larger one is read no better and takes a tablet seconds."""


def available() -> bool:
    """Whether QR codes can be read here at all."""
    try:
        import pyzbar.pyzbar  # noqa: F401
    except (ImportError, OSError):
        return False
    return True


def read(path: Path) -> list[str]:
    """The texts of the codes in a picture; none where it is no picture, or no code is to be seen."""
    try:
        from pyzbar.pyzbar import ZBarSymbol, decode

        with Image.open(path) as picture:
            plain = ImageOps.exif_transpose(picture).convert("L")
        plain.thumbnail((LARGEST, LARGEST))
        return [one.data.decode("utf-8", "replace") for one in decode(plain, symbols=[ZBarSymbol.QRCODE])]
    except (ImportError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return []
