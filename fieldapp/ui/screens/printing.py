"""Printing of the open context into files, off the screens' thread."""

from __future__ import annotations

from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class PrintingScreen(View):
    """Shows the printing presenter."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("kinds", "back"):
            self.ids[name].heard = self.tapped

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        ids, whole, mm = self.ids, Layout(self).whole, theme.mm
        x, width, top, gap = whole.x + mm(4), whole.width - mm(8), whole.top - mm(3), mm(theme.gap)
        printing = self.shell.printing
        ids.title.text, ids.told.text = printing.title(), printing.words()
        put(ids.title, Box(x, top - mm(9), width, mm(9)))
        top -= mm(11)
        across = max(2, int((theme.in_mm(width) + theme.gap) // (30.0 + theme.gap)))
        pads = printing.choices()
        rows = in_rows([*pads, *[Choice("", "")] * (-len(pads) % across)], across)
        deep = len(rows) * (mm(theme.target) + gap) - gap
        put(ids.kinds, Box(x, top - deep, width, deep))
        ids.kinds.show(rows)
        top -= deep + mm(4)
        foot = whole.y + mm(4)
        put(ids.told, Box(x, foot + mm(theme.target) + mm(2), width, top - foot - mm(theme.target) - mm(2)))
        put(ids.back, Box(x, foot, mm(24), mm(theme.target)))
        ids.back.show([[Choice("printing.leave", say("action.back"), sign="leave")]])

    def tapped(self, ident: str) -> None:
        if ident == "printing.leave":
            self.back()
            return
        if self.shell.printing.begin(ident.partition(".")[2]):
            heard = lambda: Clock.schedule_once(lambda _: self.shell.heard())  # noqa: E731
            Thread(target=self.shell.printing.run, args=(heard,), daemon=True).start()
        self.shell.heard()

    def back(self) -> None:
        self.shell.printing.told = ""
        self.shell.home()
