"""Leaving a form or card in which something was entered: save it as it is, throw it away, or go on."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens import saving
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)

HIGH, LINE = 22.0, 12.0
"""Millimetres of a way on, and of the line over them."""


class LeaveScreen(View):
    """Asks what becomes of what was entered."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.ids.ways.heard = self.tapped
        self.ids.ways.fill = True

    def refresh(self) -> None:
        shell, ids, mm = self.shell, self.ids, theme.mm
        if not shell.leaving() or self.width < mm(60):
            return
        whole, form = Layout(self).whole, shell.form
        ids.title.text = say("leave.title", label=shell.leaving().partition(" ")[2] or shell.leaving())
        wants = form is not None and bool(form.missing())
        ways = [
            Choice("leave.stay", say("leave.stay"), sign="up"),
            Choice(
                "leave.save",
                say("leave.save"),
                note=say("need.material") if wants else say("leave.save.note"),
                enabled=not wants,
                sign="tick",
                tone="primary",
            ),
            Choice("leave.drop", say("leave.drop"), note=say("leave.drop.note"), sign="rub", tone="clay"),
        ]
        side = mm(6)
        deep = min(whole.height - mm(LINE + 4), len(ways) * mm(HIGH))
        put(ids.title, Box(whole.x + side, whole.top - mm(LINE), whole.width - 2 * side, mm(LINE)))
        put(ids.ways, Box(whole.x + side, whole.top - mm(LINE) - deep, whole.width - 2 * side, deep))
        ids.ways.show([[one] for one in ways])

    def tapped(self, ident: str) -> None:
        shell = self.shell
        if ident == "leave.stay":
            self.back()
        elif ident == "leave.drop":
            shell.leave(sure=True)
        elif shell.form is not None:
            saving.save(shell, again=False)
        else:
            shell.save_card()

    def back(self) -> None:
        """To what was being recorded."""
        self.shell.show("card" if self.shell.form is None else self.shell.form_screen())
