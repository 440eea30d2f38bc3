"""The tablet's app: opens the notebook, makes the screens, and lets go of everything at the end.

Call fieldapp.ui.environment.prepare before importing this: kivy reads its settings at import.
"""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.core.window import Window

from fieldapp import assets
from fieldapp.store.notebook import Notebook
from fieldapp.ui import scanning
from fieldapp.ui.device import Device, size_words
from fieldapp.ui.guard import TouchGuard
from fieldapp.ui.presenters import manner
from fieldapp.ui.presenters.cabin import Cabin
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.shell import SCREENS, Shell
from fieldapp.ui.texts import say
from fieldapp.ui.theme import DESKTOP_PPI, theme
from fieldapp.ui.widgets import touching

FEEL_EVERY = 30.0
"""Seconds between two looks at battery and room."""

FORMS = ("form", "quick", "lab")
"""The screens of an open docket."""

BACK = 27
BACKSPACE, ENTER, KEYPAD_ENTER = 8, 13, 271


class Views(dict[str, Any]):
    """The screens by name, each made when it is first asked for."""

    def __init__(self, make: Callable[[str], Any], manager: Any) -> None:
        super().__init__()
        self._make, self._manager = make, manager

    def __missing__(self, name: str) -> Any:
        view = self[name] = self._make(name)
        self._manager.add_widget(view)
        return view


def local_time() -> datetime:
    """Now, with the tablet's own zone."""
    return datetime.now().astimezone()


class TabletApp(App):  # type: ignore[misc]  # kivy has no types
    """The app over the notebook in a folder.

    clock      the present time, with its zone
    monotonic  seconds for telling a bounce from a tap
    ppi        the panel's pixels per inch
    new_id     makes random ids
    cabin      what talks to the cabin, made from the desk; by default the real one
    stage      the stage of work of new readings
    device     the machine's battery, room, click and buzz
    """

    def __init__(
        self,
        notebook_folder: Path,
        clock: Callable[[], datetime] = local_time,
        ppi: float = DESKTOP_PPI,
        *,
        monotonic: Callable[[], float] = time.monotonic,
        new_id: Callable[[], str] = lambda: str(uuid.uuid4()),
        cabin: Callable[[Desk], Cabin] | None = None,
        stage: str = "trench",
        device: Device | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        theme.ppi = ppi
        touching.guard = TouchGuard(monotonic)
        self.title = "Bonedocket"
        self.notebook = Notebook.open(notebook_folder, clock, new_id)
        self.desk = Desk(self.notebook, assets.knowledge(), stage)
        if cabin is None:
            from fieldapp.ui.cabin import RealCabin

            cabin = RealCabin
        self.shell = Shell(self.desk, cabin(self.desk))
        self._shown = ""
        self.device = device or Device(notebook_folder)
        self.manner = manner.read(self.desk)
        self._body: tuple[tuple[int, bool] | None, int | None] = None, None
        assets.speak(self.manner.language)

    def build(self) -> Any:
        Window.allow_screensaver = False
        Window.softinput_mode = ""
        Window.bind(on_keyboard=self._key, on_textinput=self._text)
        self._feel()
        Clock.schedule_interval(self._feel, FEEL_EVERY)
        self.shell.heard = self.show
        self.shell.restyled = self.restyle
        self.shell.acknowledged = self._acknowledge
        self.shell.camera = self.device.camera()
        self.shell.carry.shared = self.device.shared_folder()
        self.shell.carry.choose = self.device.chooser()
        self.shell.setup.scan = scanning.read if scanning.available() else None
        self.shell.photographs.folders += self.device.picture_folders()
        self._make()
        return self.frame

    def _make(self) -> None:
        """Makes frame and screens in the manner that the tablet is set to."""
        from fieldapp.ui import screens
        from fieldapp.ui.widgets.frame import Frame

        self.manner = manner.read(self.desk)
        assets.speak(self.manner.language)
        theme.wear(
            "dusk" if self.manner.dusk else "day", gloves=self.manner.gloves, left_handed=self.manner.left_handed
        )
        Window.clearcolor = theme.paper
        self.frame = Frame()
        self.views = Views(lambda name: screens.view_class(name)(shell=self.shell, name=name), self.frame.ids.screens)
        self._shown = ""
        self.show()
        self._prepare(self.views)

    def _prepare(self, views: Views) -> None:
        """Makes the screens that were not asked for yet, one in a while: the first tap that wants one finds it."""

        def one(_: float) -> bool:
            name = next((name for name in SCREENS if name not in views), None)
            if name is None or views is not self.views:
                return False
            views[name]
            return True

        Clock.schedule_interval(one, 0.1)

    def restyle(self) -> None:
        """Makes all anew in another manner. Nothing is lost: what is entered is the presenters' and on disk."""
        Window.remove_widget(self.frame)
        self._make()
        self.root = self.frame
        Window.add_widget(self.frame)

    def _acknowledge(self) -> None:
        self.device.saved(self.manner.sound, self.manner.buzz)

    def show(self) -> None:
        """Shows what the shell says now."""
        shell, frame = self.shell, self.frame
        view = self.views[shell.screen]
        if self._shown != shell.screen:
            self._shown = shell.screen
            frame.full = view.full
            if shell.screen in FORMS:
                view.opened()
            frame.ids.screens.current = shell.screen
        view.refresh()
        self._show_status(view)

    def _show_status(self, view: Any) -> None:
        bar, desk, shell = self.frame.ids.bar, self.desk, self.shell
        context = desk.record(desk.context or "")
        bag = desk.record(desk.bag or "")
        if shell.form is not None and shell.screen in FORMS:
            context, bag = desk.record(shell.form.state.context), desk.record(shell.form.state.bag or "")
        message, is_trouble = view.message()
        parts: list[tuple[str, str]] = []
        if desk.site:
            parts.append((say("status.site"), desk.code))
            if shell.screen not in ("contexts", "people", "sync"):
                parts.append(
                    (say("status.context"), str(context.value("number") or "") if context else say("status.none"))
                )
                parts.append(
                    (say("status.bag"), str(bag.value("label") or "").partition(" ")[2] if bag else say("status.none"))
                )
            parts.append((say("status.person"), desk.by["name"] or say("status.none")))
        if message and not is_trouble:
            # A narrow window says what was done, and of the rest only where.
            parts = [*(parts[1:2] if Window.width < theme.mm(140) else parts), ("", message)]
        bar.parts = parts
        bar.tells = self._tells()
        bar.trouble = shell.trouble or (message if is_trouble else "")

    def _tells(self) -> list[tuple[str, str]]:
        """What is told at the right: saved, not sent, battery, room. A narrow window has room for the signs."""
        narrow = Window.width < theme.mm(140)
        unsent = self.desk.unsent()
        found = [
            ("tick", "" if narrow else say("status.saved")),
            ("sync", str(unsent) if narrow else say("unsent", n=unsent)),
        ]
        battery, free = self._body
        if battery is not None:
            found.append(("charging" if battery[1] else "battery", say("status.battery", n=battery[0])))
        if free is not None:
            found.append(("room", size_words(free)))
        return found

    def _feel(self, *_: Any) -> None:
        """Asks the device how it is; now and then, for the status bar."""
        self._body = self.device.battery(), self.device.free_bytes()
        if self._shown:
            self._show_status(self.views[self.shell.screen])

    # -- keys --

    def _key(self, _: Any, key: int, *rest: Any) -> bool:
        view = self.views[self.shell.screen]
        if key == BACK:
            # Also the system's back: never out of the program.
            view.back()
            return True
        if not self._typing():
            if key == BACKSPACE:
                view.rubbed()
            elif key in (ENTER, KEYPAD_ENTER):
                view.entered()
        return False

    def _text(self, _: Any, text: str) -> None:
        if not self._typing():
            self.views[self.shell.screen].typed(text)

    def _typing(self) -> bool:
        """Whether a text box has the focus and takes the keys itself."""
        return any(getattr(one, "focus", False) for one in self.views[self.shell.screen].walk(restrict=True))

    # -- the system's calls --

    def open_settings(self, *_: Any) -> bool:
        """There is no settings panel."""
        return False

    def on_pause(self) -> bool:
        # Every tap is on disk already; this only tidies up.
        self.notebook.rest()
        return True

    def on_resume(self) -> None:
        Clock.schedule_once(lambda _: Window.canvas.ask_update(), 0)

    def on_stop(self) -> None:
        Window.unbind(on_keyboard=self._key, on_textinput=self._text)
        self.notebook.close()
