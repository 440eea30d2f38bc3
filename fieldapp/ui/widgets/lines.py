"""A long list of lines of one height, moved a page at a time by pads: no drag is needed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from kivy.lang import Builder
from kivy.properties import NumericProperty
from kivy.uix.recycleview import RecycleView

from fieldapp.ui.presenters.choices import Row
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.paper import RowPad

__all__ = ["Lines", "RowPad"]


WINDOW = 120
"""Rows of a long list that are laid out at a time."""


class Lines(RecycleView):  # type: ignore[misc]  # kivy has no types
    """Shows rows; a tapped one is reported by ident."""

    row_mm = NumericProperty(12.0)

    def __init__(self, **kwargs: Any) -> None:
        self.heard: Callable[[str], None] = lambda ident: None
        self._found: Sequence[Any] = ()
        self._row: Callable[[Any], Row] = lambda one: one
        self._at = 0
        super().__init__(**kwargs)

    def show(self, rows: Sequence[Row]) -> None:
        """Shows these rows."""
        self._found, self._at = (), 0
        self.data = [row.data() for row in rows]

    def show_each(self, found: Sequence[Any], row: Callable[[Any], Row]) -> None:
        """Shows a row for each of these, however many; what a row says is worked out only when it comes into sight."""
        same = len(found) == len(self._found)
        self._found, self._row = found, row
        self._show_window(self._at if same else 0)

    def _show_window(self, at: int) -> None:
        """Kivy lays out every row there is: it is given a part of a long list at a time."""
        self._at = at if at < len(self._found) else 0
        self.data = [{"made": self._row, "of": one} for one in self._found[self._at :][:WINDOW]]

    @property
    def step(self) -> float:
        """Pixels from one row to the next."""
        return theme.mm(self.row_mm) + theme.mm(theme.gap)

    def whole(self, height: float) -> float:
        """As much of a height as whole rows take: no row is cut off half way."""
        gap = theme.mm(theme.gap)
        return max(0.0, (height + gap) // self.step * self.step - gap)

    def fits(self) -> bool:
        """Whether all rows are in sight."""
        return bool(len(self.data) * self.step - theme.mm(theme.gap) <= self.height)

    scroll_y: Any
    """How far up the list stands, from 0 to 1."""

    def page(self, pages: int) -> None:
        """Moves on by whole pages, down being positive; whole rows stay in sight."""
        at: Any = self.scroll_y
        if self._found and pages > 0 and at <= 0.0 and self._at + WINDOW < len(self._found):
            self._show_window(self._at + WINDOW)
            self.scroll_y = 1.0
            return
        if self._found and pages < 0 and at >= 1.0 and self._at:
            self._show_window(max(0, self._at - WINDOW))
            self.scroll_y = 0.0
            return
        hidden = len(self.data) * self.step - theme.mm(theme.gap) - self.height
        if hidden <= 0:
            self.scroll_y = 1.0
            return
        by = max(1, int((self.height + theme.mm(theme.gap)) // self.step)) * self.step
        self.scroll_y = min(1.0, max(0.0, at - pages * by / hidden))


Builder.load_file(str(Path(__file__).with_suffix(".kv")))
