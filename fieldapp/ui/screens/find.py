"""Finding records: what is asked for at one side, the list, and the ways to move in it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import paged
from fieldapp.ui.presenters.finding import Line
from fieldapp.ui.screens.slip_layout import Box, Layout, away, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)

SLICE = 0.012
"""Seconds of a frame that may go into looking at dockets nobody waits for."""


class FindScreen(View):
    """Shows the finding presenter. `asking`: "" for the list, or what is being chosen: "text", "taxon", "element"."""

    def __init__(self, **kwargs: Any) -> None:
        self.asking = ""
        self.page = 0
        self._found: list[Line] = []
        self._look: Iterator[int] | None = None
        self._left = 0
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.chips, ids.actions, ids.offers):
            rows.heard = self.tapped
        ids.chips.fill = ids.actions.fill = ids.chips.even = True
        ids.lines.heard = self.tapped
        ids.board.pressed = self._pressed
        self.bind(on_leave=lambda *_: self._rest())

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        finding, ids, layout, mm = self.shell.finding, self.ids, Layout(self), theme.mm
        chips = finding.chips()
        across = 5 if layout.tall else 2
        side = layout.slip
        put(ids.chips, side)
        ids.chips.show([chips[at : at + across] for at in range(0, len(chips), across)])
        put(ids.actions, layout.actions)
        actions = self._actions()
        ids.actions.show(self.column(actions))
        middle, line = layout.middle, mm(7)
        put(ids.count, Box(middle.x, middle.top - line, middle.width, line))
        below = Box(middle.x, middle.y, middle.width, middle.height - line - mm(1))
        if self.asking == "text":
            self._show_keys(below)
        elif self.asking:
            self._show_offers(below, layout)
        else:
            self._show_lines(below)

    def _actions(self) -> list[Choice]:
        asking = bool(self.asking)
        shown = Choice("find.show", say("find.show", n=len(self.shell.finding.found())), sign="down", tone="primary")
        return [
            Choice("find.leave", say("action.back"), sign="leave"),
            Choice("chip.kind", say(f"kind.{self.shell.finding.kind}"), note=say("find.kind")),
            Choice("find.clear", say("find.clear"), sign="rub"),
            Choice("find.up", "", sign="up", enabled=not asking),
            shown if self.asking == "text" else Choice("find.down", "", sign="down", enabled=not asking),
        ]

    def _show_lines(self, box: Box) -> None:
        finding, ids = self.shell.finding, self.ids
        ids.offers.show([])
        ids.board.put_away()
        own = finding.marks & {"mine", "today", "unsent"}
        if own and finding.own_is_due() and not finding.waits:
            finding.waits = True
            Thread(target=self._read_own, daemon=True).start()
        self._found = finding.found()
        high = ids.lines.whole(box.height)
        put(ids.lines, Box(box.x, box.top - high, box.width, high))
        ids.lines.show_each(self._found, finding.row)
        if "problem" in finding.marks and self._look is None:
            self._look = finding.look()
            Clock.schedule_interval(self._go_on, 0)
        self._say()

    def _say(self) -> None:
        finding = self.shell.finding
        text = say("find.count", n=len(self._found), of=len(finding.lines()))
        if finding.waits:
            text = f"{text} {say('find.reading')}"
        if self._look is not None:
            text = f"{text} {say('find.looking', n=self._left)}"
        if "deleted" in finding.marks:
            text = f"{text} {say('find.bring_back')}"
        self.ids.count.text = self.shell.said or text

    def _show_keys(self, box: Box) -> None:
        ids = self.ids
        self._put_lines_away()
        ids.offers.show([])
        put(ids.board, Box(box.x, box.y, box.width, min(box.height, theme.mm(4 * (theme.target + theme.gap)))))
        ids.board.lay("marks")
        ids.count.text = say("find.asks_text", text=self.shell.finding.text.text or say("blank"))

    def _show_offers(self, box: Box, layout: Layout) -> None:
        ids = self.ids
        self._put_lines_away()
        ids.board.put_away()
        room = layout.room(box.width, box.height)
        put(ids.offers, box)
        ids.offers.show(paged("offers", self.shell.finding.offered(self.asking), [], room, self.page))
        ids.count.text = say("find.asks")

    def _put_lines_away(self) -> None:
        """The list lies over the keys: where it is not shown it takes no touch."""
        self.ids.lines.show([])
        away(self.ids.lines)

    # -- looking while nobody waits --

    def _read_own(self) -> None:
        """On a thread of its own: the journal is long."""
        finding = self.shell.finding
        try:
            finding.read_own()
        finally:
            Clock.schedule_once(lambda _: self._own_read())

    def _own_read(self) -> None:
        self.shell.finding.waits = False
        if self.shell.screen == self.name:
            self.refresh()

    def _go_on(self, _: float) -> bool:
        """A slice of looking at dockets; the list follows now and then."""
        if self._look is None or self.shell.screen != self.name:
            self._look = None
            return False
        end = time.perf_counter() + SLICE
        for left in self._look:
            self._left = left
            if time.perf_counter() > end:
                if self._left % 50 == 0:
                    self._say()
                return True
        self._look = None
        self.refresh()
        return False

    def _rest(self) -> None:
        self._look = None

    # -- taps --

    def tapped(self, ident: str) -> None:
        finding, shell = self.shell.finding, self.shell
        group, _, key = ident.partition(".")
        shell.said = ""
        if group == "chip":
            self._chip(key)
        elif group == "offer":
            finding.choose(self.asking, key)
            self.asking = ""
        elif group == "offers":
            self.page = int(key.removeprefix("page."))
        elif key == "leave":
            self.back()
            return
        elif key == "clear":
            finding.clear()
            self.asking = ""
        elif key == "show":
            self.asking = ""
        elif key in ("up", "down"):
            self.ids.lines.page(1 if key == "down" else -1)
            return
        elif "deleted" in finding.marks:
            self._bring_back(key)
        elif group == "docket":
            shell.open_docket(key)
            return
        else:
            shell.open_card(key)
            return
        shell.heard()

    def _chip(self, key: str) -> None:
        finding = self.shell.finding
        if key in ("text", "taxon", "element"):
            self.asking, self.page = ("" if self.asking == key else key), 0
            return
        self.asking = ""
        if key == "kind":
            finding.next_kind()
        else:
            self._look = None
            finding.toggle(key.removeprefix("mark."))

    def _bring_back(self, record_id: str) -> None:
        shell, said = self.shell, []
        if shell.do(lambda: said.append(shell.desk.bring_back(record_id))):
            shell.said = say("brought_back", label=said[0])

    def _pressed(self, key: str) -> None:
        entry = self.shell.finding.text
        if key == "<":
            entry.rub()
        else:
            entry.press(key)
        self.shell.heard()

    def typed(self, text: str) -> None:
        """A keyboard asks by number at once."""
        self._pressed(text)

    def rubbed(self) -> None:
        self._pressed("<")

    def entered(self) -> None:
        self.asking = ""
        self.shell.heard()

    def back(self) -> None:
        if self.asking:
            self.asking = ""
            self.shell.heard()
        else:
            self.shell.home()
