"""The scan of a context: a pad an animal, a tap a piece."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class ScanScreen(View):
    """Shows the scan presenter."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("switches", "pads", "actions"):
            self.ids[name].heard = self.tapped
        self.ids.actions.fill = self.ids.pads.fill = self.ids.pads.even = True
        self.ids.pads.most_mm = 22.0

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        scan, ids, layout, mm = self.shell.scan, self.ids, Layout(self), theme.mm
        mine = scan.begin()
        put(ids.actions, layout.actions)
        box = layout.free
        top, high = box.top, mm(theme.target)
        wide = min(mm(60), box.width / 2)
        put(ids.title, Box(box.x, top - high, box.width - wide - mm(3), high))
        title = say("scan.grave" if scan.is_of_grave() else "scan.title", number=scan.number(), n=scan.total())
        ids.title.text = title if mine else say("scan.other", number=scan.number())
        put(ids.switches, Box(box.x + box.width - wide, top - high, wide, high))
        ids.switches.show([scan.switches()])
        top -= high + mm(3)
        pads = Box(box.x, box.y, box.width, top - box.y)
        put(ids.pads, pads)
        ids.pads.show(scan.pads(layout.room(pads.width, pads.height)))
        actions = [
            Choice("scan.leave", say("action.back"), sign="leave"),
            Choice("scan.undo", say("action.undo"), sign="undo", enabled=bool(scan.undone)),
            Choice("scan.save", say("action.save"), sign="tick", tone="primary", enabled=scan.total() > 0),
        ]
        ids.actions.show(self.column(actions))

    def tapped(self, ident: str) -> None:
        shell, scan = self.shell, self.shell.scan
        what, _, key = ident.removeprefix("scan.").partition(".")
        shell.said = ""
        if what == "leave":
            self.back()
            return
        if what == "one":
            shell.do(lambda: scan.count(key))
        elif what == "burning":
            scan.burning = key
        elif what == "page":
            scan.page = int(key)
        elif what == "undo":
            shell.do(scan.undo)
        elif what == "save":
            made: list[int] = []
            if shell.do(lambda: made.append(scan.save())):
                shell.acknowledged()
                shell.home(say("scan.saved", n=made[0]))
                return
        shell.heard()

    def back(self) -> None:
        """What was counted stays for the next time."""
        self.shell.home()
