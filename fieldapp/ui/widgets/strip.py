"""A strip with the sentence of the worst problem and its source. Which problem that is: presenters.problems."""

from __future__ import annotations

from kivy.graphics import Color
from kivy.properties import StringProperty

from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import signs
from fieldapp.ui.widgets.pad import Drawn
from fieldapp.ui.widgets.type import Setting, set_type


class Strip(Drawn):
    """The sentence of the worst problem, with its source; nothing while there is none."""

    text = StringProperty("")
    source = StringProperty("")
    level = StringProperty("")
    more = StringProperty("")
    redraws = ("text", "source", "level", "more")

    def draw(self) -> None:
        if not self.text:
            return
        tone = theme.tones["clay" if self.level in ("impossible", "check") else "sheet"]
        x, y, right, top = self.x + 1, self.y + 1, self.right - 1, self.top - 1
        corners = [(x, top), (right, top), (right, y), (x, y)]
        Color(*tone.ground)
        signs.polygon(corners)
        Color(*tone.line)
        signs.outline(corners, theme.mm(theme.line))
        size = theme.mm(4.6)
        sign = "tick" if not self.level else "check"
        signs.draw(sign, x + theme.mm(1.6), self.y + (self.height - size) / 2, size, tone.words)
        left = x + size + theme.mm(3.2)
        wide, high = right - theme.mm(1.6) - left, self.height - theme.mm(1.4)
        big, small = _fitted(self.text, "  ·  ".join(part for part in (self.source, self.more) if part), wide, high)
        y = self.y + (self.height + big.height + (small.height if small else 0)) / 2 - big.height
        self.write(big, left, y, tone.words, "left")
        if small:
            self.write(small, left, y - small.height, tone.words, "left")


def _fitted(text: str, tail: str, wide: float, high: float) -> tuple[Setting, Setting | None]:
    """A sentence and its source set into a box. What has no room is left to the list of problems, and shows as …"""
    for source in (tail, shortened(tail, 48), ""):
        small = set_type(source, wide, high, theme.least_text) if source else None
        big = set_type(text, wide, high - (small.height if small else 0), theme.text)
        if big.fits:
            return big, small
    words = text.split()
    while words:
        words.pop()
        big = set_type(" ".join(words) + " …", wide, high, theme.least_text)
        if big.fits:
            break
    return big, None


def shortened(text: str, limit: int) -> str:
    """`text` cut at a word so that no more than `limit` characters stand."""
    return text if len(text) <= limit else text[:limit].rsplit(" ", 1)[0].rstrip(",;:(") + " …"
