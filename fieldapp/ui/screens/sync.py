"""Syncing with the cabin, off the screens' thread."""

from __future__ import annotations

from threading import Thread
from typing import Any

from kivy.clock import Clock
from kivy.properties import NumericProperty

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)

SOON = 0.2
"""Seconds between two looks at how far the exchange is."""


COLUMN, WIDE, MARGINS = 90.0, 22.0, 8.0
"""Millimetres: the height of a column of buttons, the width of a button in a row, and what lies beside a row."""


class SyncScreen(View):
    """Shows the sync presenter. `lines`: columns or rows that the buttons take."""

    lines = NumericProperty(1)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped
        # However often the line tells of a few more bytes.
        self._soon = Clock.create_trigger(self._step, SOON)

    def refresh(self) -> None:
        sync, ids = self.shell.sync, self.ids
        ids.title.text = say("sync.title")
        ids.address.text = say("sync.address", address=sync.address) if sync.address else ""
        ids.unsent.text = f"{sync.waits()} {sync.last()}"
        busy = sync.running or sync.renewing
        said = sync.words() if busy else [*sync.told(), *sync.words(), *sync.after()]
        ids.result.show([(say("blank"), text) for text in said])
        actions = [Choice("sync.leave", say("action.back"), sign="leave")]
        if sync.running:
            actions.append(Choice("sync.cancel", say("sync.cancel")))
        elif sync.address and not busy:
            tone = "plain" if sync.wants_code else "primary"
            actions.append(Choice("sync.now", say("sync.now"), sign="sync", tone=tone))
        if not busy and (sync.wants_code or not sync.address):
            tone = "primary" if sync.wants_code else "plain"
            actions.append(Choice("sync.enrol", say("sync.enrol"), sign="sync", tone=tone))
        if sync.address and not busy:
            actions.append(Choice("sync.carry", say("carry.title")))
        if not busy and sync.copied and sync.address:
            actions.append(Choice("sync.renew", say("sync.renew")))
        elif not busy and sync.told():
            actions.append(Choice("sync.read", say("sync.read"), sign="tick"))
        if not busy and sync.away:
            actions.append(Choice("sync.elsewhere", say("sync.elsewhere"), sign="find"))
        # What can be done elsewhere, or only with a cabin, waits for the enrolling.
        if not busy and not sync.wants_code and self.shell.desk.notebook.disputed():
            actions.append(Choice("sync.differ", say("sync.show_differ"), sign="differ"))
        if self.shell.key.wanted() and not busy and not sync.wants_code:
            actions.append(Choice("sync.key", say("key.title"), sign="hold"))
        self._lay(actions)

    def _lay(self, actions: list[Choice]) -> None:
        """As many lines as leave every button its size: columns of a lying tablet, rows of a standing one."""
        room = theme.in_mm(self.width) - MARGINS if self.tall else COLUMN
        least = WIDE if self.tall else theme.target
        each = max(1, int((room + theme.gap) // (least + theme.gap)))
        self.lines = -(-len(actions) // each)
        lines = in_rows(actions, -(-len(actions) // self.lines))
        if not self.tall:
            lines = [[line[at] for line in lines if at < len(line)] for at in range(len(lines[0]))]
        self.ids.actions.show(lines)

    def tapped(self, ident: str) -> None:
        sync = self.shell.sync
        if ident == "sync.leave":
            self.shell.home()
        elif ident == "sync.enrol":
            self.shell.setup.begin("")
            self.shell.show("setup")
        elif ident == "sync.elsewhere":
            self.shell.setup.begin("moved")
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
        elif ident == "sync.read":
            self.shell.do(sync.read)
            self.shell.heard()
        elif ident == "sync.renew" and not sync.renewing:
            sync.renewing = True
            Thread(target=self._renew, daemon=True).start()
            self.shell.heard()
        elif ident == "sync.now" and sync.begin():
            Thread(target=self._run, daemon=True).start()
            self.shell.heard()

    def _run(self) -> None:
        sync = self.shell.sync
        sync.run(lambda: Clock.schedule_once(self._end) if not sync.running else self._soon())

    def _renew(self) -> None:
        self.shell.sync.renew()
        Clock.schedule_once(lambda _: self.shell.heard())

    def _step(self, _: float) -> None:
        """On the screens' own thread, now and then while the exchange goes on; whoever records is left alone."""
        if self.shell.screen == self.name and self.shell.sync.running:
            self.refresh()

    def _end(self, _: float) -> None:
        self.shell.sync.finished()
        self.shell.heard()

    def back(self) -> None:
        self.shell.home()
