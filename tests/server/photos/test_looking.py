"""Small copies of pictures: upright, without the camera's notes, and never a fault. Everything invented.

EXIF tag numbers (0x0112 orientation, 0x8825 GPS) from memory of the standard; that they are gone is read by Pillow.
"""

from __future__ import annotations

import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image, ImageCms

from server.photos import looking

ORIENTATION, GPS = 0x0112, 0x8825


def made(sort: str = "JPEG", size: tuple[int, int] = (800, 400), **more) -> bytes:
    """A picture whose left half is red and whose right half is blue."""
    picture, out = Image.new("RGB", size, "blue"), BytesIO()
    picture.paste("red", (0, 0, size[0] // 2, size[1]))
    picture.save(out, sort, **more)
    return out.getvalue()


def opened(data: bytes) -> Image.Image:
    found = Image.open(BytesIO(data))
    found.load()
    return found


@pytest.mark.parametrize("sort", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("size", sorted(looking.SIZES))
def test_a_copy_is_as_small_as_it_is_to_be(sort, size):
    data = made(sort, (3000, 1500))
    assert looking.sort_of(data) == sort.lower()
    copy = opened(looking.small(data, size))
    longest = looking.SIZES[size]
    assert (copy.format, copy.size) == ("JPEG", (longest, longest // 2))
    red, _, blue = copy.getpixel((5, 5))
    assert red > 200 > 60 > blue


def test_a_picture_taken_with_the_tablet_turned_stands_upright():
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # to be turned right by a quarter
    copy = opened(looking.small(made(exif=exif), "small"))
    assert copy.size == (120, 240)
    assert copy.getpixel((60, 20))[0] > 200  # what was left is above


@pytest.mark.parametrize("sort", ["JPEG", "PNG", "WEBP"])
def test_a_copy_carries_no_place_no_words_and_no_profile(sort):
    exif = Image.Exif()
    exif[0x010E] = "description-otter"
    exif.get_ifd(GPS)[1] = "N"
    exif.get_ifd(GPS)[2] = (51.0, 7.0, 3.0)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    more = {"comment": b"comment-otter"} if sort == "JPEG" else {}
    data = made(sort, exif=exif, icc_profile=profile, **more)
    assert b"otter" in data
    assert opened(data).getexif().get_ifd(GPS)
    copy = looking.small(data, "middle")
    assert b"otter" not in copy
    read = opened(copy)
    assert dict(read.getexif()) == {}
    assert not {"exif", "icc_profile", "comment", "xmp"} & read.info.keys()


def png_of(wide: int, high: int) -> bytes:
    """A PNG that says it is so large, with next to nothing in it."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(100_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no picture",
        b"\xff\xd8\xff\xe0",
        made()[:300],
        made("PNG")[:60],
        png_of(60_000, 60_000),
        png_of(9_000, 9_000),
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
    ],
    ids=["empty", "words", "head only", "cut jpeg", "cut png", "bomb", "large", "svg", "gif"],
)
def test_what_cannot_or_must_not_be_unpacked_gives_a_placeholder(data):
    assert opened(looking.small(data, "small")).size == (240, 180)


def test_what_a_file_is_is_told_by_its_own_bytes():
    assert looking.sort_of(b"<html><script>") == "other"
    assert looking.sort_of(b"RIFF\x00\x00\x00\x00WAVE") == "other"
