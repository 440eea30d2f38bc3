"""Setting type: lines that fit a box, and their textures. One font file carries every script; no fallback is needed.

Text is wrapped here and not by kivy, so that whether it fits is known before it is drawn.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from kivy.core.text import Label as CoreLabel

from fieldapp import assets
from fieldapp.ui.theme import theme


@dataclass(frozen=True, slots=True)
class Setting:
    """Text as it will be drawn. Pixels. `fits`: nothing runs over the box it was set for."""

    lines: tuple[str, ...]
    em: float
    bold: bool
    width: float
    height: float
    fits: bool


@lru_cache(maxsize=64)
def _measure(em: float, bold: bool) -> Any:
    return CoreLabel(font_name=str(assets.font(bold)), font_size=em)


@lru_cache(maxsize=16384)
def extent(text: str, em: float, bold: bool) -> tuple[float, float]:
    """Width and height of one line in pixels."""
    width, height = _measure(em, bold).get_extents(text or " ")
    return float(width), float(height)


def _parted(word: str, width: float, em: float, bold: bool) -> str:
    """A word that no line can hold, parted by hyphens: hyomandibu-lar, Verwach-sung. Unchanged if it cannot be."""
    found = ""
    while extent(word, em, bold)[0] > width:
        cuts = [at for at in _cuts(word) if extent(word[:at] + "-", em, bold)[0] <= width]
        if not cuts:
            break
        found, word = f"{found}{word[: cuts[-1]]}-\u200b", word[cuts[-1] :]
    return found + word


_VOWELS = "aeiouyäöüéèáàóíú"
_TOGETHER = frozenset(
    {"ch", "ph", "th", "sh", *(stop + glide for stop in "bcdfgkptw" for glide in "lr" if stop + glide != "dl")}
)


def _cuts(word: str) -> list[int]:
    """Where a word may be parted: before a consonant that a vowel follows; after a vowel if there is no such place."""
    low = word.lower()
    places = [at for at in range(3, len(word) - 2) if low[at].isalpha() and low[at] not in _VOWELS]
    good = [at for at in places if low[at + 1] in _VOWELS and low[at - 1].isalpha()]
    # What is spoken together stays together: Schulter-blatt, Spei-chern.
    good = [at - 1 if low[at - 1 : at + 1] in _TOGETHER and at > 3 else at for at in good]
    return good or [at for at in places if low[at - 1] in _VOWELS]


_FINGERPRINT = re.compile(r"(?:[0-9A-F]{2}:){6,}[0-9A-F]{2}")
"""A certificate's, as people compare it: parted between its pairs, never by a hyphen that would be read with it."""


def _breaks(text: str) -> str:
    """The text with a mark at each place where a line may end."""
    text = text.replace("/", "/\u200b").replace(" ", " \u200b")
    return _FINGERPRINT.sub(lambda found: found[0].replace(":", ":\u200b"), text)


def _wrapped(text: str, width: float, em: float, bold: bool) -> list[str]:
    lines: list[str] = []
    for paragraph in text.split("\n"):
        line = ""
        for piece in _breaks(paragraph).split("\u200b"):
            if line and extent((line + piece).rstrip(), em, bold)[0] > width:
                lines.append(line.rstrip())
                line = piece
            else:
                line += piece
        lines.append(line.rstrip())
    return lines


@lru_cache(maxsize=4096)
def set_type(
    text: str, width: float, height: float, em_mm: float, bold: bool = False, least_mm: float = 0.0
) -> Setting:
    """`text` wrapped into the box, at `em_mm` or as little smaller as fits, down to the theme's least text."""
    least = least_mm or min(em_mm, theme.least_text)
    size = em_mm
    while True:
        em = size * theme.ppi / 25.4
        lines = _wrapped(text, width, em, bold)
        wide = max(extent(line, em, bold)[0] for line in lines)
        high = extent("Ag", em, bold)[1] * len(lines)
        fits = wide <= width and high <= height
        if not fits and size - 0.1 < least and "\u200b" not in text:
            # The last resort: long words are parted, once.
            parted = " ".join(_parted(word, width, em, bold) for word in text.split(" "))
            if parted != text:
                return set_type(parted, width, height, size, bold, size)
        if fits or size - 0.1 < least:
            return Setting(tuple(lines), em, bold, wide, high, fits)
        size -= 0.1


@lru_cache(maxsize=1024)
def texture(lines: tuple[str, ...], em: float, bold: bool, halign: str) -> Any:
    """The lines as a white texture, to be tinted."""
    label = CoreLabel(text="\n".join(lines), font_name=str(assets.font(bold)), font_size=em, halign=halign)
    label.refresh()
    return label.texture
