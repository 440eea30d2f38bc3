"""The first start: enrol at the cabin, or begin without it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from threading import Thread
from typing import Any

from kivy.clock import Clock

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)

SHOWN, PICTURES = 2, 4
"""Cabins and pictures that are offered at once; further ones are found by typing."""
GO = {"cabin": "setup.enrol", "alone": "setup.start", "moved": "setup.move"}
"""What the button that goes on is called, by the way taken."""


class SetupScreen(View):
    """Shows the setup presenter."""

    def __init__(self, **kwargs: Any) -> None:
        self._looked = False
        self._shown: list[Path] = []
        super().__init__(**kwargs)
        for rows in (self.ids.ways, self.ids.top):
            rows.heard = self.tapped
        self.ids.ways.fill = True
        self.ids.ways.level = self.ids.top.level = "big"
        self.ids.board.pressed = self._pressed

    def refresh(self) -> None:
        setup, ids = self.shell.setup, self.ids
        self._look()
        ids.refusal.text = ""
        if setup.way in ("", "picture"):
            ids.board.put_away()
            ids.top.show([])
            ids.words.text = "" if self.shell.desk.site or setup.way else say("setup.words")
            ids.ways.show(self._pictures() if setup.way else self._ways())
            title = "setup.picture" if setup.way else "setup.again" if self.shell.desk.site else "setup.title"
            ids.title.text = say(title)
            return
        ids.ways.show([])
        ids.title.text = ids.words.text = ""
        entries = [
            Choice(
                f"entry.{name}",
                setup.shown(name) or say("blank"),
                note=say(f"setup.{name}"),
                chosen=setup.at == name and not setup.refused,
                weight=2.4,
            )
            for name in setup.fields()
        ]
        go = say("setup.busy" if setup.busy else GO[setup.way])
        back = Choice("setup.back", say("action.back"), sign="leave")
        tone = "plain" if setup.ready() else "primary"
        on = Choice("setup.go", go, tone=tone, sign="tick", weight=1.4, enabled=not setup.busy)
        ids.top.show([[back, on], entries] if self.tall else [[back, *entries, on]])
        for pad in ids.top.pads():
            pad.note_first = True
        ids.refusal.text = setup.error if setup.refused else ""
        if setup.refused:
            # In full, in the place of the keyboard, until one of the entries is touched.
            ids.board.put_away()
        else:
            ids.board.lay(setup.at)

    def _ways(self) -> list[list[Choice]]:
        """How to begin; in the last row what the tablet can do by itself to spare typing."""
        setup = self.shell.setup
        other = Choice("setup.alone", say("setup.alone"), note=say("setup.alone.note"))
        if self.shell.desk.site:
            other = Choice("setup.back", say("action.back"), sign="leave")
        last = []
        if setup.scan is not None:
            last.append(Choice("setup.scan", say("setup.scan"), note=say("setup.scan.note"), sign="photo"))
        for at, one in enumerate((setup.found or ())[:SHOWN]):
            note = say("setup.found.note", address=one.addresses[0].partition("/")[0])
            last.append(Choice(f"setup.found.{at}", one.site_code, note=note))
        if not setup.found:
            looking = setup.found is None
            words = say("setup.looking") if looking else say("setup.none_found")
            last.append(Choice("", words, note=say("setup.none_found.note"), enabled=False))
        return [[Choice("setup.cabin", say("setup.cabin"), note=say("setup.cabin.note"))], [other], last]

    def _pictures(self) -> list[list[Choice]]:
        """The newest pictures, where there is no camera to take one."""
        self._shown = self.shell.photographs.files()[:PICTURES]
        pads = [Choice(f"setup.file.{at}", _short(path.name)) for at, path in enumerate(self._shown)]
        back = Choice("setup.back", say("action.back"), sign="leave")
        return [*in_rows(pads, 2), [back]]

    def _look(self) -> None:
        """Looks for cabins beside the screen, once for each time it is opened."""
        setup = self.shell.setup
        if self._looked or setup.way:
            return
        self._looked, setup.found = True, None

        def looking() -> None:
            setup.look()
            Clock.schedule_once(lambda _: self.refresh() if self.shell.screen == self.name and not setup.way else None)

        Thread(target=looking, daemon=True).start()

    def _scan(self) -> None:
        if self.shell.camera is not None:
            self.shell.camera(self._taken)
            return
        setup = self.shell.setup
        setup.begin("picture")
        if not self.shell.photographs.files():
            setup.error = say("setup.no_picture")
        self.shell.heard()

    def _taken(self, path: Path) -> None:
        """The camera has made a picture, which is read and then goes."""
        self.shell.setup.scanned(path)
        with suppress(OSError):
            path.unlink()
        self.shell.heard()

    def tapped(self, ident: str) -> None:
        setup = self.shell.setup
        if setup.busy or not ident:
            return
        if ident == "setup.scan":
            self._scan()
            return
        if ident.startswith("setup.found."):
            setup.choose(int(ident.rpartition(".")[2]))
        elif ident.startswith("setup.file."):
            setup.scanned(self._shown[int(ident.rpartition(".")[2])])
        elif ident in ("setup.cabin", "setup.alone"):
            setup.begin(ident.removeprefix("setup."))
        elif ident.startswith("entry."):
            setup.at = ident.removeprefix("entry.")
            if setup.refused:
                setup.forget()
        elif ident == "setup.back":
            if setup.way == "moved":
                self._moved()
                return
            leaves = not setup.way and self.shell.desk.site
            setup.begin("")
            if leaves:
                self._looked = False
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
            Thread(target=self._move if setup.way == "moved" else self._enrol, daemon=True).start()
        self.shell.heard()

    def _move(self) -> None:
        went = self.shell.setup.move()
        Clock.schedule_once(lambda _: self._moved() if went else self._enrolled(False))

    def _moved(self) -> None:
        """Back to syncing, with the new address or the one there was."""
        setup, sync = self.shell.setup, self.shell.sync
        if setup.busy:
            # What was said of the old address is no longer so.
            setup.busy, sync.result = False, None
        setup.begin("")
        self.shell.show("sync")

    def _enrol(self) -> None:
        went = self.shell.setup.enrol()
        Clock.schedule_once(lambda _: self._enrolled(went))

    def _enrolled(self, went: bool) -> None:
        self.shell.setup.busy = False
        if went:
            self.shell.setup.begin("")
            self._looked = False
            # What was refused before is no longer so.
            self.shell.sync.result = None
        if went and self.shell.sync.told():
            # Such as another letter than before: that has to be read.
            self.shell.show("sync")
        elif went:
            self.shell.home()
        else:
            self.shell.heard()

    def _pressed(self, key: str) -> None:
        if self.shell.setup.at not in self.shell.setup.fields():
            return
        entry = self.shell.setup.entries[self.shell.setup.at]
        self.shell.setup.forget()
        if key == "<":
            entry.rub()
        else:
            entry.press(key)
        self.shell.heard()

    def message(self) -> tuple[str, bool]:
        setup = self.shell.setup
        if setup.refused:
            return say("setup.refused"), True
        return setup.error or (say(f"setup.{setup.way}.how") if setup.fields() else ""), bool(setup.error)

    def typed(self, text: str) -> None:
        if self.shell.setup.way and not self.shell.setup.busy:
            self._pressed(text)

    def rubbed(self) -> None:
        if self.shell.setup.way:
            self._pressed("<")

    def entered(self) -> None:
        if self.shell.setup.fields():
            self.tapped("setup.go")

    def back(self) -> None:
        if (self.shell.setup.way or self.shell.desk.site) and not self.shell.setup.busy:
            self.tapped("setup.back")


def _short(name: str, most: int = 22) -> str:
    """A file's name, its beginning and its end."""
    return name if len(name) <= most else f"{name[: most // 2]}…{name[-most // 2 + 1 :]}"
