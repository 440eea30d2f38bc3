"""What all screens share: the shell, showing anew, keys, one step back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from kivy.lang import Builder
from kivy.properties import BooleanProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.screenmanager import Screen

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.problems import Found
from fieldapp.ui.shell import Shell
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

# Loaded so that kv knows them by name.
from fieldapp.ui.widgets import box, frame, keyboard, lines, pad, paper, plate, rows, skeleton, strip  # noqa: F401

Entry = TypeVar("Entry")


class View(Screen):  # type: ignore[misc]  # kivy has no types
    """A screen. `refresh` shows what its presenter says now; `tapped` takes the idents of pads."""

    full = False
    tall = BooleanProperty(False)
    """Whether the tablet stands: then what lies beside each other stands over each other."""

    def __init__(self, shell: Shell, **kwargs: Any) -> None:
        self.shell = shell
        super().__init__(**kwargs)
        self._order = list(self.children[0].children) if self.children else []
        self.bind(size=self._turned, pos=self._turned)

    def _turned(self, *_: Any) -> None:
        """Another size: the parts are put where they belong, and shown anew."""
        self.tall = self.height > self.width
        parts = self.children[0] if self.children else None
        if isinstance(parts, BoxLayout) and self._order:
            # A left hand finds the actions at the left.
            mirrored = theme.left_handed and parts.orientation == "horizontal"
            wanted = self._order[::-1] if mirrored else self._order
            if parts.children != wanted:
                parts.children[:] = wanted
                parts.do_layout()
        if self.shell.screen == self.name and self.width >= theme.mm(60):
            self.refresh()

    def show_found(self, found: Sequence[Found], otherwise: str) -> None:
        """The strip: the worst of what the rules found and how many more there are, or else `otherwise`."""
        line, worst = self.ids.strip, found[0] if found else None
        line.text, line.level = (worst.text, worst.level) if worst else (otherwise, "")
        line.source = say("source", source=worst.source) if worst else ""
        line.more = say("more_problems", n=len(found) - 1) if len(found) > 1 else ""

    def column(self, choices: Sequence[Choice]) -> list[list[Choice]]:
        """Actions in a column, on a standing tablet in a row."""
        return [list(choices)] if self.tall else [[one] for one in choices]

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


class PagesOfForm(View):
    """A screen that lists something about the open form, page by page, and is left to the form again.

    Its kv has Pads `actions`. Their idents are `<name>.leave` and `<name>.page`.
    """

    PER_PAGE: int

    def __init__(self, **kwargs: Any) -> None:
        self.page, self.pages = 0, 1
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped

    def leaf(self, entries: Sequence[Entry]) -> Sequence[Entry]:
        """Those of the present page; the pads are shown with them, that for turning only where there is more."""
        self.page, self.pages = pager(len(entries), self.PER_PAGE, self.page)
        actions = [Choice(f"{self.name}.leave", say("action.back"), sign="leave")]
        if self.pages > 1:
            actions.append(Choice(f"{self.name}.page", say("page", n=self.page + 1, of=self.pages), sign="after"))
        self.ids.actions.show(self.column(actions))
        return entries[self.page * self.PER_PAGE :][: self.PER_PAGE]

    def tapped(self, ident: str) -> None:
        if ident == f"{self.name}.page":
            self.page = (self.page + 1) % self.pages
            self.shell.heard()
        else:
            self.back()

    def back(self) -> None:
        self.page = 0
        self.shell.show("form")


def load_kv(py: str) -> None:
    """Loads the .kv beside a screen's .py, once."""
    Builder.load_file(str(Path(py).with_suffix(".kv")))


def pager(count: int, per_page: int, page: int) -> tuple[int, int]:
    """(page kept within bounds, number of pages)."""
    pages = max(1, -(-count // per_page))
    return min(max(page, 0), pages - 1), pages
