"""Type: how wide a text is and how it breaks into lines, in the bundled font.

For: measuring before anything is drawn, so that a block's height is known before its page is chosen.
Not for: drawing (pen) or choosing words.

Nothing that was written may vanish: a character that the font lacks, or a control character, is printed as its number,
`[U+1F9B4]`. Only marks that are invisible anywhere (joiners, direction marks, soft hyphens) are left out.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field

from fpdf.bidi import BidiParagraph

MM = 25.4 / 72
"""One point in millimetres."""
BODY, TABLE, LEAD = 10.0, 9.0, 1.28
"""Points of running text and of tables (x-height of 9 pt DejaVu Sans: 1.74 mm), and line pitch in sizes."""

_BREAKS = {"\t": "    ", "\r\n": "\n", "\r": "\n", "\u2028": "\n", "\u2029": "\n", "\x0b": "\n", "\x0c": "\n"}
_SPACES = frozenset("\u00a0\u2007\u202f")


@dataclass(frozen=True)
class Type:
    """The metrics of a font.

    widths  {code point: thousandths of the size} of every character the font can show
    """

    widths: Mapping[int, float]
    # The same names and words come on every page.
    _wide: dict[str, float] = field(default_factory=dict, repr=False, compare=False)
    _lines: dict[tuple[str, float, float], tuple[str, ...]] = field(default_factory=dict, repr=False, compare=False)

    def width(self, text: str, size: float) -> float:
        """Width in millimetres of one printable line at `size` points."""
        wide = self._wide.get(text)
        if wide is None:
            widths = self.widths
            wide = self._wide[text] = sum([widths[ord(one)] for one in text]) * MM / 1000
        return wide * size

    def printable(self, text: str) -> str:
        """`text` in composed form, with what the font cannot show written as its number. Line breaks stay."""
        if text.isascii() and text.isprintable():
            return text
        text = _composed(text)
        visible = (one for one in text if unicodedata.category(one) != "Cf")
        return "".join(one if self._shows(one) else f"[U+{ord(one):04X}]" for one in visible)

    def _shows(self, one: str) -> bool:
        if one == "\n":
            return True
        return ord(one) in self.widths and (one.isprintable() or one in _SPACES)

    def lines(self, text: str, size: float, width: float) -> tuple[str, ...]:
        """`text` broken into lines no wider than `width` mm; a word too long for a line is cut. At least one line."""
        key = (text, size, width)
        if key not in self._lines:
            self._lines[key] = tuple(self._broken(text, size, width))
        return self._lines[key]

    def shortened(self, text: str, size: float, width: float) -> str:
        """`text` on one line no wider than `width` mm; where something had to go, it ends in an ellipsis."""
        line = self.printable(text).replace("\n", " ").strip(" ")
        if self.width(line, size) > width:
            line = f"{line[: self._cut(line, size, width - self.width('…', size))].rstrip(' ')}…"
        return _as_seen(line)

    def _broken(self, text: str, size: float, width: float) -> list[str]:
        found: list[str] = []
        for paragraph in self.printable(text).split("\n"):
            found += self._fold(paragraph.strip(" "), size, width)
        while len(found) > 1 and not found[-1]:
            found.pop()
        return [_as_seen(line) for line in found]

    def _fold(self, paragraph: str, size: float, width: float) -> list[str]:
        if self.width(paragraph, size) <= width:
            return [paragraph]
        found: list[str] = []
        line, used, space = "", 0.0, self.width(" ", size)
        for word in paragraph.split(" "):
            wide = self.width(word, size)
            if line and used + space + wide <= width:
                line, used = f"{line} {word}", used + space + wide
                continue
            if line:
                found.append(line)
            while wide > width:
                cut = self._cut(word, size, width)
                found.append(word[:cut])
                word = word[cut:]
                wide = self.width(word, size)
            line, used = word, wide
        return [*found, line]

    def _cut(self, word: str, size: float, width: float) -> int:
        """How many characters of `word` fit; at least one, and no mark is parted from its letter."""
        used, fit = 0.0, 0
        for one in word:
            used += self.widths[ord(one)] * size * MM / 1000
            if used > width:
                break
            fit += 1
        while 1 < fit < len(word) and unicodedata.combining(word[fit]):
            fit -= 1
        return max(fit, 1)


def _composed(text: str) -> str:
    """Letters and their marks as one where they can be, and all breaks of lines as one kind."""
    text = unicodedata.normalize("NFC", text)
    for one, instead in _BREAKS.items():
        text = text.replace(one, instead)
    return text


def _as_seen(line: str) -> str:
    """The line in the order the eye meets it, for scripts that run from right to left."""
    # Hebrew is the first script that does.
    if line and max(line) >= "\u0590" and any(unicodedata.bidirectional(one) in ("R", "AL", "AN") for one in line):
        return BidiParagraph(text=line).get_reordered_string()
    return line
