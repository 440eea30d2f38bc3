"""How this tablet is held and read."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters import manner
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class MannerScreen(View):
    """Shows the manner's buttons; a tap is seen at once, on this screen first."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("toggles", "languages", "back"):
            self.ids[name].heard = self.tapped

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        ids, whole, mm = self.ids, Layout(self).whole, theme.mm
        x, width, top, gap = whole.x + mm(4), whole.width - mm(8), whole.top - mm(3), mm(theme.gap)
        across = max(2, int((theme.in_mm(width) + theme.gap) // (30.0 + theme.gap)))
        ids.title.text, ids.languages_name.text = say("go.manner"), say("manner.languages")
        put(ids.title, Box(x, top - mm(9), width, mm(9)))
        top -= mm(11)
        for name, pads in zip(("toggles", "languages"), manner.choices(manner.read(self.shell.desk)), strict=True):
            if name == "languages":
                put(ids.languages_name, Box(x, top - mm(6), width, mm(6)))
                top -= mm(7)
            rows = in_rows([*pads, *[Choice("", "")] * (-len(pads) % across)], across)
            deep = len(rows) * (mm(theme.target) + gap) - gap
            put(ids[name], Box(x, top - deep, width, deep))
            ids[name].show(rows)
            top -= deep + mm(4)
        put(ids.back, Box(x, whole.y + mm(4), mm(24), mm(theme.target)))
        ids.back.show([[Choice("manner.leave", say("action.back"), sign="leave")]])

    def tapped(self, ident: str) -> None:
        shell = self.shell
        if ident == "manner.leave":
            shell.home()
        elif shell.do(lambda: manner.change(shell.desk, ident)):
            shell.restyled()
        else:
            shell.heard()

    def back(self) -> None:
        self.shell.home()
