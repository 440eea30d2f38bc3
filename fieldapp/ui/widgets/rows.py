"""Pads in rows that fill a box, with the theme's gaps; and a text over them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import floor
from typing import Any

from kivy.uix.widget import Widget

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.pad import Pad


class PadRows(Widget):  # type: ignore[misc]  # kivy has no types
    """Shows rows of choices as pads and reports taps by ident. Pads are kept and told anew where they can be.

    row_mm   height of a row; less if there is not the room
    fill     rows share the whole height instead
    most_mm  no row is higher than this, however much room there is
    even     all texts in one size
    """

    def __init__(self, heard: Callable[[str], None] | None = None, row_mm: float | None = None, **kwargs: Any) -> None:
        self.heard = heard or (lambda ident: None)
        self.row_mm = theme.target if row_mm is None else row_mm
        self.fill = False
        self.most_mm = 999.0
        self.even = False
        self.level = "text"
        self.halign = "center"
        self._rows: list[list[Choice]] = []
        self._pads: list[Pad] = []
        super().__init__(**kwargs)
        self.bind(pos=self._place, size=self._place)

    def show(self, rows: Sequence[Sequence[Choice]]) -> None:
        """Shows these rows from now on."""
        same_shape = [len(row) for row in rows] == [len(row) for row in self._rows]
        told = [list(row) for row in rows]
        flat = [one for row in told for one in row]
        self._rows = []  # adding pads may move this widget while it has too few of them
        while len(self._pads) > len(flat):
            self.remove_widget(self._pads.pop())
        while len(self._pads) < len(flat):
            pad = Pad()
            pad.bind(on_tap=self._tapped)
            self._pads.append(pad)
            self.add_widget(pad)
        for pad, one in zip(self._pads, flat, strict=True):
            tell(pad, one)
            pad.level, pad.halign = self.level, self.halign
        self._rows = told
        if same_shape:
            self._even_out()
        else:
            self._place()

    def pads(self) -> list[Pad]:
        """The pads in order."""
        return list(self._pads)

    def _tapped(self, pad: Pad) -> None:
        self.heard(pad.ident)

    def _place(self, *_: Any) -> None:
        if not self._rows:
            return
        gap = theme.mm(theme.gap)
        count = len(self._rows)
        room = (self.height - gap * (count - 1)) / count
        high = min(room, theme.mm(self.most_mm)) if self.fill else min(theme.mm(self.row_mm), room)
        pads = iter(self._pads)
        # Not self.top: kivy keeps that value and may not have renewed it yet when the height changes.
        top = self.y + self.height
        for row in self._rows:
            weights = sum(one.weight for one in row)
            unit = (self.width - gap * (len(row) - 1)) / weights if row else 0
            x = self.x
            for one in row:
                pad = next(pads)
                wide = unit * one.weight
                left, low = _whole(x), _whole(top - high)
                pad.pos, pad.size = (left, low), (_whole(x + wide) - left, _whole(top) - low)
                x += wide + gap
            top -= high + gap
        self._even_out()

    def _even_out(self) -> None:
        """Where it is asked for, sets the texts of all pads in one size."""
        texts = [pad for pad in self._pads if pad.text and pad.width > 1 and pad.height > 1]
        cap = min((pad.own_em_mm() for pad in texts), default=0.0) if self.even else 0.0
        for pad in self._pads:
            pad.cap_mm = cap


def _whole(pixels: float) -> int:
    """The nearest pixel; halves always go up, so that whole gaps stay whole."""
    return floor(pixels + 0.5)


def tell(pad: Pad, choice: Choice) -> None:
    """Makes a pad say what a choice says."""
    pad.ident, pad.text, pad.note = choice.ident, choice.text, choice.note
    pad.chosen, pad.tone, pad.sign = choice.chosen, choice.tone, choice.sign
    pad.enabled = choice.enabled
