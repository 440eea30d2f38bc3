"""A carry-file for the cabin, and the cabin's answer, off the screens' thread."""

from __future__ import annotations

from pathlib import Path
from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class CarryScreen(View):
    """Shows the carry presenter. `where`: the folder as it is typed."""

    def __init__(self, **kwargs: Any) -> None:
        self.where = ""
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped
        self.ids.text.bind(text=self._typed)

    def refresh(self) -> None:
        carry, ids = self.shell.carry, self.ids
        ids.title.text = say("carry.title")
        ids.lines.show([(say("blank"), text) for text in carry.words()])
        ids.text.hint_text = say("carry.where")
        if not self.where:
            self.where = carry.where
        if ids.text.text != self.where:
            ids.text.text = self.where
        free = not carry.running
        actions = [
            Choice("carry.leave", say("action.back"), sign="leave"),
            Choice("carry.write", say("carry.write"), sign="sync", tone="primary", enabled=free),
            Choice("carry.load", say("carry.load"), enabled=free),
        ]
        ids.actions.show(self.column(actions))

    def _typed(self, _: Any, text: str) -> None:
        self.where = text

    def tapped(self, ident: str) -> None:
        choose = self.shell.carry.choose
        if ident == "carry.leave":
            self.back()
        elif ident == "carry.load" and choose is not None and not Path(self.where).is_file():
            choose(lambda path: Clock.schedule_once(lambda _: self._begin("load", path)))
        elif ident in ("carry.write", "carry.load"):
            self._begin(ident.partition(".")[2], self.where)

    def _begin(self, what: str, where: str) -> None:
        begun: list[bool] = []
        if self.shell.do(lambda: begun.append(self.shell.carry.begin(what, where))) and begun[0]:
            heard = lambda: Clock.schedule_once(self._step)  # noqa: E731
            Thread(target=self.shell.carry.run, args=(heard,), daemon=True).start()
        self.shell.heard()

    def _step(self, _: float) -> None:
        """On the screens' own thread, after each step."""
        if not self.shell.carry.running:
            self.shell.carry.finished()
        self.shell.heard()

    def back(self) -> None:
        self.where = ""
        self.shell.show("sync")
