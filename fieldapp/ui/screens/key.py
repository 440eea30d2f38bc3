"""A specialist's own key: whether it is on this tablet, fetching it, and taking it off."""

from __future__ import annotations

from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class KeyScreen(View):
    """Shows the key presenter. `password`: as typed, gone as soon as it was used or the screen is left."""

    def __init__(self, **kwargs: Any) -> None:
        self.password = ""
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped
        self.ids.text.bind(text=self._typed)

    def refresh(self) -> None:
        key, ids = self.shell.key, self.ids
        ids.title.text = say("key.title")
        ids.lines.show([(say("blank"), text) for text in key.words()])
        ids.text.hint_text = say("key.password")
        if ids.text.text != self.password:
            ids.text.text = self.password
        actions = [Choice("key.leave", say("action.back"), sign="leave")]
        fetch = say("key.running" if key.running else "key.fetch")
        actions.append(Choice("key.fetch", fetch, sign="sync", tone="primary", enabled=not key.running))
        if key.kept() is not None:
            actions.append(Choice("key.forget", say("key.forget"), sign="clear"))
        ids.actions.show(self.column(actions))

    def _typed(self, _: Any, text: str) -> None:
        self.password = text

    def tapped(self, ident: str) -> None:
        key = self.shell.key
        if ident == "key.leave":
            self.back()
            return
        if ident == "key.forget":
            self.shell.do(key.forget)
        elif ident == "key.fetch":
            password, self.password = self.password, ""
            if key.begin(password):
                heard = lambda: Clock.schedule_once(lambda _: self.shell.heard())  # noqa: E731
                Thread(target=key.run, args=(password, heard), daemon=True).start()
        self.shell.heard()

    def back(self) -> None:
        self.password = ""
        self.shell.show(self.shell.key.back)
