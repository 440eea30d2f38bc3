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
from fieldapp.ui.guard import TouchGuard
from fieldapp.ui.presenters.cabin import Cabin
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.shell import SCREENS, Shell
from fieldapp.ui.texts import say
from fieldapp.ui.theme import DESKTOP_PPI, theme
from fieldapp.ui.widgets import touching

BACK = 27
BACKSPACE, ENTER, KEYPAD_ENTER = 8, 13, 271


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

    def build(self) -> Any:
        from fieldapp.ui import screens
        from fieldapp.ui.widgets.frame import Frame

        Window.clearcolor = theme.paper
        Window.allow_screensaver = False
        Window.softinput_mode = ""
        self.frame = Frame()
        self.views = {name: screens.view_class(name)(shell=self.shell, name=name) for name in SCREENS}
        for view in self.views.values():
            self.frame.ids.screens.add_widget(view)
        Window.bind(on_keyboard=self._key, on_textinput=self._text)
        self.shell.heard = self.show
        self.show()
        return self.frame

    def show(self) -> None:
        """Shows what the shell says now."""
        shell, frame = self.shell, self.frame
        view = self.views[shell.screen]
        if self._shown != shell.screen:
            self._shown = shell.screen
            frame.full = view.full
            if shell.screen == "form":
                view.opened()
            frame.ids.screens.current = shell.screen
        view.refresh()
        self._show_status(view)

    def _show_status(self, view: Any) -> None:
        bar, desk, shell = self.frame.ids.bar, self.desk, self.shell
        context = desk.record(desk.context or "")
        bag = desk.record(desk.bag or "")
        if shell.form is not None and shell.screen == "form":
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
            parts.append(("", message))
        bar.parts = parts
        bar.unsent = say("unsent", n=desk.unsent())
        bar.saved = say("status.saved")
        bar.trouble = shell.trouble or (message if is_trouble else "")

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
