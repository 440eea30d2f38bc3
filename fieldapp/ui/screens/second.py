"""The bones that who records is to read a second time: a tap opens the blank form."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class SecondScreen(View):
    """Shows the list."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for rows in (self.ids.actions, self.ids.pages, self.ids.lines):
            rows.heard = self.tapped
        self.ids.lines.bind(size=lambda *_: self._show_pages())

    def refresh(self) -> None:
        ids, rows = self.ids, self.shell.second.rows()
        ids.title.text = say("second.title", n=self.shell.second.left())
        ids.what.text = say("second.what" if rows else "second.none")
        ids.lines.show(rows)
        self._show_pages()
        ids.actions.show(self.column([Choice("second.leave", say("action.back"), sign="leave")]))

    def _show_pages(self) -> None:
        paged = not self.ids.lines.fits()
        turn = [[Choice("lines.up", "", sign="up"), Choice("lines.down", "", sign="down")]]
        self.ids.pages.show(turn if paged else [])

    def tapped(self, ident: str) -> None:
        group, _, key = ident.partition(".")
        if group == "lines":
            self.ids.lines.page(1 if key == "down" else -1)
        elif ident == "second.leave":
            self.back()
        else:
            self.shell.read_again(key)

    def message(self) -> tuple[str, bool]:
        return self.shell.said, False

    def back(self) -> None:
        self.shell.show("more")
