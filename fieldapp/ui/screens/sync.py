"""Syncing with the cabin, off the screens' thread."""

from __future__ import annotations

from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class SyncScreen(View):
    """Shows the sync presenter."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped

    def refresh(self) -> None:
        sync, ids = self.shell.sync, self.ids
        ids.title.text = say("sync.title")
        ids.address.text = say("sync.address", address=sync.address) if sync.address else ""
        ids.unsent.text = f"{sync.waits()} {sync.last()}"
        ids.result.show([(say("blank"), text) for text in [*sync.words(), *([] if sync.running else sync.after())]])
        actions = [Choice("sync.leave", say("action.back"), sign="leave")]
        if sync.running:
            actions.append(Choice("sync.cancel", say("sync.cancel")))
        elif sync.address:
            actions.append(Choice("sync.now", say("sync.now"), sign="sync", tone="primary"))
        else:
            actions.append(Choice("sync.enrol", say("sync.enrol"), sign="sync"))
        if sync.address and not sync.running:
            actions.append(Choice("sync.carry", say("carry.title")))
        if not sync.running and self.shell.desk.notebook.disputed():
            actions.append(Choice("sync.differ", say("sync.show_differ"), sign="differ"))
        if self.shell.key.wanted() and not sync.running:
            actions.append(Choice("sync.key", say("key.title"), sign="hold"))
        ids.actions.show(self.column(actions))

    def tapped(self, ident: str) -> None:
        sync = self.shell.sync
        if ident == "sync.leave":
            self.shell.home()
        elif ident == "sync.enrol":
            self.shell.setup.begin("cabin")
            self.shell.show("setup")
        elif ident == "sync.differ":
            self.shell.finding.clear()
            self.shell.finding.kind = "docket"
            self.shell.finding.marks = {"differ", "mine"}
            self.shell.show("find")
        elif ident == "sync.carry":
            self.shell.show_carry()
        elif ident == "sync.key":
            self.shell.show_key()
        elif ident == "sync.cancel":
            sync.cancel()
        elif ident == "sync.now" and sync.begin():
            Thread(target=sync.run, args=(lambda: Clock.schedule_once(self._step),), daemon=True).start()
            self.shell.heard()

    def _step(self, _: float) -> None:
        """On the screens' own thread, after each step of the exchange."""
        if not self.shell.sync.running:
            self.shell.sync.finished()
        self.shell.heard()

    def back(self) -> None:
        self.shell.home()
