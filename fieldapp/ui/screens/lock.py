"""The screen locked for wiping: nothing but two buttons in opposite corners, one after the other, opens it again."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.slip_layout import Box, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class LockScreen(View):
    """Locked. `half`: the first button was pressed, and nothing since."""

    full = True

    def __init__(self, **kwargs: Any) -> None:
        self.half = False
        super().__init__(**kwargs)
        self.ids.first.heard = self.ids.second.heard = self.tapped

    def refresh(self) -> None:
        ids, mm = self.ids, theme.mm
        wide, high, rim = mm(30), mm(20), mm(6)
        ids.title.text, ids.how.text = say("lock.title"), say("lock.half" if self.half else "lock.how")
        put(ids.title, Box(self.x, self.center_y, self.width, mm(12)))
        put(ids.how, Box(self.x + rim, self.center_y - mm(12), self.width - 2 * rim, mm(12)))
        put(ids.first, Box(self.x + rim, self.y + rim, wide, high))
        put(ids.second, Box(self.right - rim - wide, self.top - rim - high, wide, high))
        ids.first.row_mm = ids.second.row_mm = 20
        ids.first.show([[Choice("lock.first", say("lock.first"), chosen=self.half, sign="lock")]])
        ids.second.show([[Choice("lock.second", say("lock.second"), enabled=self.half, sign="lock")]])

    def tapped(self, ident: str) -> None:
        if ident == "lock.second" and self.half:
            self.half = False
            self.shell.unlock()
            return
        self.half = ident == "lock.first"
        self.shell.heard()

    def on_touch_down(self, touch: Any) -> bool:
        # A wipe that strays over a button begins anew.
        taken = bool(super().on_touch_down(touch))
        if not taken and self.half:
            self.half = False
            self.refresh()
        return taken

    def back(self) -> None:
        """Wiping over the system's back changes nothing."""
