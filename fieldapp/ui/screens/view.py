"""What all screens share: the shell, showing anew, keys, one step back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kivy.lang import Builder
from kivy.uix.screenmanager import Screen

from fieldapp.ui.shell import Shell
from fieldapp.ui.texts import say

# Loaded so that kv knows them by name.
from fieldapp.ui.widgets import box, frame, keyboard, lines, pad, paper, plate, rows, skeleton, strip  # noqa: F401


class View(Screen):  # type: ignore[misc]  # kivy has no types
    """A screen. `refresh` shows what its presenter says now; `tapped` takes the idents of pads."""

    full = False

    def __init__(self, shell: Shell, **kwargs: Any) -> None:
        self.shell = shell
        super().__init__(**kwargs)

    def refresh(self) -> None:
        """Shows the present state."""

    def tapped(self, ident: str) -> None:
        """A pad was tapped."""

    def typed(self, text: str) -> None:
        """Characters from a keyboard, while no text box has the focus."""

    def rubbed(self) -> None:
        """Backspace, likewise."""

    def entered(self) -> None:
        """Enter, likewise."""

    def message(self) -> tuple[str, bool]:
        """A sentence for the status bar, and whether it tells of trouble."""
        return "", False

    def back(self) -> None:
        """Esc or the system's back: one step back, and never out of the program."""

    def say(self, key: str, **fields: Any) -> str:
        """A text, for kv."""
        return say(key, **fields)


def load_kv(py: str) -> None:
    """Loads the .kv beside a screen's .py, once."""
    Builder.load_file(str(Path(py).with_suffix(".kv")))


def pager(count: int, per_page: int, page: int) -> tuple[int, int]:
    """(page kept within bounds, number of pages)."""
    pages = max(1, -(-count // per_page))
    return min(max(page, 0), pages - 1), pages
