"""Which screen is shown, and what passes between screens. Free of kivy.

A tablet that was killed opens where it was: at a pending stop before all else, then at an open form.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fieldapp.records.changes import UnreadableChange
from fieldapp.store.errors import StoreError
from fieldapp.ui.presenters.cabin import Cabin, Setup, Sync
from fieldapp.ui.presenters.context import Context
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form, Saved
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.presenters.people import People

SCREENS = ("setup", "people", "contexts", "context", "form", "stop", "hold", "sync", "history", "beside")
_REMEMBERED = ("contexts", "context", "hold")


class Shell:
    """The screens' common ground.

    screen   name of the one shown
    form     the form that is open, None for none
    said     a sentence about what was just done, "" for none
    trouble  why the last save failed, "" while all that was entered is on disk
    heard    called when `screen` changes or something on it did
    """

    def __init__(self, desk: Desk, cabin: Cabin, heard: Callable[[], None] | None = None) -> None:
        self.desk = desk
        self.cabin = cabin
        self.heard = heard or (lambda: None)
        self.setup = Setup(desk, cabin)
        self.people = People(desk)
        self.contexts = Contexts(desk)
        self.context = Context(desk)
        self.sync = Sync(desk, cabin)
        self.form: Form | None = Form.resumed(desk) if desk.site else None
        self.hold: Hold | None = None
        self.said = ""
        self.trouble = ""
        self.screen = self._first()

    def _first(self) -> str:
        if not self.desk.site:
            return "setup"
        if self.form is not None:
            return "stop" if self.form.state.stop else "form"
        if self.desk.person is None:
            return "people"
        kept = self.desk.place.get("screen")
        if kept == "hold" and self.desk.place.get("hold"):
            self.hold = Hold(self.desk, self.desk.place["hold"])
            return "hold"
        return "context" if kept in ("context", "hold") and self.desk.context else "contexts"

    def do(self, action: Callable[[], Any]) -> bool:
        """Does what saves something. If the notebook cannot, says why; what was entered stays on the screen."""
        try:
            action()
        except (StoreError, UnreadableChange, OSError) as error:
            self.trouble = str(error)
            return False
        self.trouble = ""
        return True

    def show(self, name: str, said: str = "") -> None:
        """Goes to a screen."""
        self.said = said
        self.screen = name
        if name in _REMEMBERED:
            self.do(lambda: self.desk.go(screen=name))
        self.heard()

    def home(self, said: str = "") -> None:
        """Goes to the open context, or to the contexts."""
        if not self.desk.site:
            self.show("setup")
        elif self.desk.person is None:
            self.show("people")
        else:
            self.show("context" if self.desk.context else "contexts", said)

    # -- dockets --

    def new_docket(self, carry: dict[str, Any] | None = None, said: str = "") -> None:
        """Opens a form for a new docket in the open context."""
        context = self.desk.context
        if context is None:
            return
        if self.do(lambda: setattr(self, "form", Form.new(self.desk, context, self.desk.bag, carry))):
            self.show("form", said)
        else:
            self.heard()

    def open_docket(self, docket: str) -> None:
        """Opens a form over a stored docket."""
        record = self.desk.record(docket)
        if record is not None and self.do(lambda: setattr(self, "form", Form.of(self.desk, record))):
            self.show("form")

    def save(self) -> Saved | None:
        """Saves the open form; None if the notebook could not."""
        found: list[Saved] = []
        form = self.form
        if form is None or not self.do(lambda: found.append(form.save())):
            self.heard()
            return None
        self.form = None
        return found[0]

    def leave_form(self) -> None:
        """Gives the open form up."""
        form = self.form
        if form is not None and self.do(form.leave):
            self.form = None
            self.home()
        else:
            self.heard()

    def open_hold(self, docket: str, said: str = "") -> None:
        """Goes to a docket's hold."""
        self.hold = Hold(self.desk, docket)
        self.do(lambda: self.desk.go(hold=docket))
        self.show("hold", said)
