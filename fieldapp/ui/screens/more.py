"""Everything else: the other records of the context, and the tablet."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters import more
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class MoreScreen(View):
    """Shows the two groups of buttons."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("here", "tablet", "back"):
            self.ids[name].heard = self.tapped

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        ids, layout, mm = self.ids, Layout(self), theme.mm
        whole, line, gap, high = layout.whole, mm(6), mm(theme.gap), mm(theme.target)
        x, width, top = whole.x + mm(4), whole.width - mm(8), whole.top - mm(3)
        # Room for words beside a sign.
        across = max(2, int((theme.in_mm(width) + theme.gap) // (max(24.0, theme.target) + theme.gap)))
        for name, pads in (("here", more.here(self.shell.desk)), ("tablet", more.tablet(self.shell.desk))):
            rows = in_rows(pads, across)
            ids[f"{name}_name"].text = say(f"more.{name}") if pads else ""
            deep = len(rows) * (high + gap)
            if pads:
                put(ids[f"{name}_name"], Box(x, top - line, width, line))
                put(ids[name], Box(x, top - line - deep + gap, width, deep - gap))
                top -= line + deep
            ids[name].show([[*row, *[Choice("", "")] * (across - len(row))] for row in rows])
        # Where the last row reaches down to it, the way back stands at its end.
        aside = width - mm(24) if top < whole.y + mm(4) + high else 0
        put(ids.back, Box(x + aside, whole.y + mm(4), mm(24), high))
        ids.back.show([[Choice("more.leave", say("action.back"), sign="leave")]])

    def tapped(self, ident: str) -> None:
        shell, (group, _, key) = self.shell, ident.partition(".")
        shell.said = ""
        desk = shell.desk
        if key == "leave":
            shell.home()
        elif ident == "go.lock":
            shell.lock()
        elif ident == "go.lab":
            shell.new_docket(depth="lab")
        elif group == "go":
            shell.show(key)
        elif key in ("tally", "sample", "group"):
            shell.new_card(key)
        elif key == "bag":
            shell.open_card(desk.bag or "")
        elif key == "context":
            shell.open_card(desk.context or "")
        elif key == "photo":
            shell.photograph()
        elif key == "print":
            shell.show("printing")
        else:
            shell.show(key)

    def back(self) -> None:
        self.shell.home()
