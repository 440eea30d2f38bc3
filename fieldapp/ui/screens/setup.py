"""The first start: enrol at the cabin, or begin without it."""

from __future__ import annotations

from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class SetupScreen(View):
    """Shows the setup presenter."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for rows in (self.ids.ways, self.ids.top):
            rows.heard = self.tapped
        self.ids.ways.fill = True
        self.ids.ways.level = self.ids.top.level = "big"
        self.ids.board.pressed = self._pressed

    def refresh(self) -> None:
        setup, ids = self.shell.setup, self.ids
        if not setup.way:
            ids.title.text, ids.words.text = say("setup.title"), say("setup.words")
            ids.ways.show(
                [
                    [Choice("setup.cabin", say("setup.cabin"), note=say("setup.cabin.note"))],
                    [Choice("setup.alone", say("setup.alone"), note=say("setup.alone.note"))],
                ]
            )
            ids.top.show([])
            ids.board.put_away()
            return
        ids.ways.show([])
        ids.title.text = ids.words.text = ""
        entries = [
            Choice(
                f"entry.{name}",
                setup.shown(name) or say("blank"),
                note=say(f"setup.{name}"),
                chosen=setup.at == name,
                weight=2.4,
            )
            for name in setup.fields()
        ]
        go = say("setup.busy") if setup.busy else say("setup.enrol" if setup.way == "cabin" else "setup.start")
        back = Choice("setup.back", say("action.back"), sign="leave")
        tone = "plain" if setup.ready() else "primary"
        on = Choice("setup.go", go, tone=tone, sign="tick", weight=1.4, enabled=not setup.busy)
        ids.top.show([[back, on], entries] if self.tall else [[back, *entries, on]])
        for pad in ids.top.pads():
            pad.note_first = True
        ids.board.lay(setup.at)

    def tapped(self, ident: str) -> None:
        setup = self.shell.setup
        if setup.busy:
            return
        if ident in ("setup.cabin", "setup.alone"):
            setup.begin(ident.removeprefix("setup."))
        elif ident.startswith("entry."):
            setup.at = ident.removeprefix("entry.")
        elif ident == "setup.back":
            setup.begin("")
            if self.shell.desk.site:
                self.shell.home()
                return
        elif ident == "setup.go":
            self._go()
            return
        self.shell.heard()

    def _go(self) -> None:
        setup = self.shell.setup
        if setup.way == "alone":
            done: list[bool] = []
            if self.shell.do(lambda: done.append(setup.start_alone())) and done[0]:
                self.shell.home()
            else:
                self.shell.heard()
            return
        setup.error = setup.ready()
        if not setup.error:
            setup.busy = True
            Thread(target=self._enrol, daemon=True).start()
        self.shell.heard()

    def _enrol(self) -> None:
        went = self.shell.setup.enrol()
        Clock.schedule_once(lambda _: self._enrolled(went))

    def _enrolled(self, went: bool) -> None:
        self.shell.setup.busy = False
        if went:
            self.shell.home()
        else:
            self.shell.heard()

    def _pressed(self, key: str) -> None:
        entry = self.shell.setup.entries[self.shell.setup.at]
        self.shell.setup.error = ""
        if key == "<":
            entry.rub()
        else:
            entry.press(key)
        self.shell.heard()

    def message(self) -> tuple[str, bool]:
        setup = self.shell.setup
        return setup.error or (say(f"setup.{setup.way}.how") if setup.way else ""), bool(setup.error)

    def typed(self, text: str) -> None:
        if self.shell.setup.way and not self.shell.setup.busy:
            self._pressed(text)

    def rubbed(self) -> None:
        if self.shell.setup.way:
            self._pressed("<")

    def entered(self) -> None:
        if self.shell.setup.way:
            self.tapped("setup.go")

    def back(self) -> None:
        if self.shell.setup.way and not self.shell.setup.busy:
            self.tapped("setup.back")
