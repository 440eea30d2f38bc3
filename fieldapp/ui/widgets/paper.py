"""Surfaces: the paper ground, the docket's slip, the hazard band, a line of a list."""

from __future__ import annotations

from typing import Any

from kivy.graphics import Color, Ellipse, Line, Rectangle, StencilPop, StencilPush, StencilUnUse, StencilUse
from kivy.properties import ListProperty, NumericProperty, StringProperty
from kivy.uix.recycleview.views import RecycleDataViewBehavior

from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import signs
from fieldapp.ui.widgets.pad import Drawn, Pad
from fieldapp.ui.widgets.type import set_type


class Slip(Drawn):
    """The paper of a docket: cut corners at the top, a hole for the string, the label written large."""

    label = StringProperty("")
    site = StringProperty("")
    redraws = ("label", "site")
    head_mm = 12.0

    def draw(self) -> None:
        cut, edge = theme.mm(4.0), theme.mm(theme.line)
        x, y, right, top = self.x + edge / 2, self.y + edge / 2, self.right - edge / 2, self.top - edge / 2
        corners = [(x + cut, top), (right - cut, top), (right, top - cut), (right, y), (x, y), (x, top - cut)]
        Color(*theme.sheet)
        signs.polygon(corners)
        Color(*theme.rule)
        signs.outline(corners, edge)
        hole, head = theme.mm(2.6), theme.mm(self.head_mm)
        middle = top - head / 2
        Color(*theme.paper)
        Ellipse(pos=(x + theme.mm(3.2), middle - hole / 2), size=(hole, hole))
        Color(*theme.rule)
        Line(circle=(x + theme.mm(3.2) + hole / 2, middle, hole / 2), width=edge / 2)
        left = x + theme.mm(7.4)
        wide = right - theme.mm(3.0) - left
        big = set_type(self.label, wide, head * 0.66, theme.title, True, least_mm=3.0)
        small = set_type(self.site, wide, head * 0.4, theme.small)
        total = big.height * 0.92 + small.height
        self.write(big, left, middle + total / 2 - big.height, theme.ink, "left")
        self.write(small, left, middle - total / 2, theme.faint, "left")


class Ground(Drawn):
    """The paper under what is typed."""

    def draw(self) -> None:
        edge = theme.mm(theme.edge)
        x, y, right, top = self.x + edge / 2, self.y + edge / 2, self.right - edge / 2, self.top - edge / 2
        corners = [(x, y), (right, y), (right, top), (x, top)]
        Color(*theme.sheet)
        signs.polygon(corners)
        Color(*theme.accent)
        signs.outline(corners, edge)


class Hazard(Drawn):
    """The black and yellow band. For in-situ stops and nothing else."""

    def draw(self) -> None:
        StencilPush()
        Rectangle(pos=self.pos, size=self.size)
        StencilUse()
        Color(*theme.hazard)
        Rectangle(pos=self.pos, size=self.size)
        Color(*theme.black)
        step, slant = theme.mm(8.0), self.height
        x = self.x - slant - step
        while x < self.right + slant:
            signs.polygon(
                [(x, self.y), (x + step / 2, self.y), (x + step / 2 + slant, self.top), (x + slant, self.top)]
            )
            x += step
        StencilUnUse()
        Rectangle(pos=self.pos, size=self.size)
        StencilPop()


class Band(Hazard):
    """The band over a hold whose bone is in the ground; of no height over any other."""

    height_mm = NumericProperty(0.0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(size_hint_y=None, height=0, **kwargs)

    def on_height_mm(self, *_: Any) -> None:
        self.height = theme.mm(self.height_mm)


class Steps(Drawn):
    """Numbered sentences under each other, as large as fits, all of one size."""

    texts = ListProperty([])
    level = StringProperty("big")
    redraws = ("texts", "level")

    def show(self, texts: list[tuple[str, str]]) -> None:
        """Shows (number or mark, sentence) pairs."""
        self.texts = texts

    def draw(self) -> None:
        if not self.texts:
            return
        number, gap = theme.mm(6.0), theme.mm(1.6)
        size = getattr(theme, self.level)
        while True:
            found = [set_type(text, self.width - number, self.height, size, least_mm=size) for _, text in self.texts]
            high = sum(one.height for one in found) + gap * (len(found) - 1)
            if (high <= self.height and all(one.fits for one in found)) or size <= theme.least_text:
                break
            size -= 0.1
        y = self.top
        gap = min(theme.mm(4.0), (self.height - high + gap * (len(found) - 1)) / max(1, len(found)))
        for (mark, _), one in zip(self.texts, found, strict=True):
            y -= one.height
            head = set_type(mark, number, self.height, size, True)
            self.write(head, self.x, y + one.height - head.height, theme.ink, "left")
            self.write(one, self.x + number, y, theme.ink, "left")
            y -= gap


class RowPad(RecycleDataViewBehavior, Pad):  # type: ignore[misc]  # kivy has no types
    """A line of a list: a title, what it says, a side note, and drawn signs with their words."""

    title = StringProperty("")
    words = StringProperty("")
    side = StringProperty("")
    signs = ListProperty([])
    redraws = (*Pad.redraws, "title", "words", "side", "signs")
    owner: Any = None

    def refresh_view_attrs(self, rv: Any, index: int, data: Any) -> Any:
        self.owner = rv
        self.pressed = False
        if "made" in data:
            data = data["made"](data["of"]).data()
        return super().refresh_view_attrs(rv, index, data)

    def on_tap(self) -> None:
        self.owner.heard(self.ident)

    def _write_all(self, tone: Any) -> None:
        pad, high = theme.mm(2.0), self.height
        columns = ((self.title, 0.13, True), (self.words, 0.26, False), (self.side, 0.09, False))
        x = self.x + pad
        for text, share, bold in columns:
            wide = self.width * share
            if text:
                found = set_type(text, wide - pad, high, theme.text, bold)
                self.write(found, x, self.center_y - found.height / 2, tone.words, "left")
            x += wide
        size = theme.mm(3.6)
        attention = tone.words if self.pressed else theme.clay
        each = (self.right - pad - x) / max(1, len(self.signs))
        for name, text in self.signs:
            signs.draw(name, x, self.center_y - size / 2, size, attention)
            found = set_type(text, each - size - theme.mm(2.4), high, theme.small)
            self.write(found, x + size + theme.mm(1.2), self.center_y - found.height / 2, attention, "left")
            x += each
