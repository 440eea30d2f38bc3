"""Which screen is shown, and what passes between screens. Free of kivy.

A tablet that was killed opens where it was: at a pending stop before all else, then at an open form.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from fieldapp.records.changes import UnreadableChange
from fieldapp.store.errors import StoreError
from fieldapp.ui.presenters.assess import Assess
from fieldapp.ui.presenters.cabin import Cabin, Setup, Sync
from fieldapp.ui.presenters.cards import Card
from fieldapp.ui.presenters.carry import Carry
from fieldapp.ui.presenters.context import Context
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.finding import Finding
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.form_state import Saved
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.presenters.key import Key
from fieldapp.ui.presenters.lab import Lab
from fieldapp.ui.presenters.people import People
from fieldapp.ui.presenters.photographs import Photographs
from fieldapp.ui.presenters.printing import Printing
from fieldapp.ui.presenters.scan import Scan
from fieldapp.ui.presenters.second import Seconds
from fieldapp.ui.texts import say

SCREENS = (
    "setup", "people", "contexts", "context", "form", "quick", "card", "more", "find", "manner", "lock", "photo",
    "scan", "lab", "stop", "hold", "sync", "history", "beside", "leave", "aid",
    "assess", "key", "carry", "printing", "second",
)  # fmt: skip
_REMEMBERED = ("contexts", "context", "hold")


class Shell:
    """The screens' common ground.

    screen   name of the one shown
    form     the docket's form that is open, None for none
    card     the card of another record that is open, None for none
    said     a sentence about what was just done, "" for none
    trouble  why the last save failed, "" while all that was entered is on disk
    heard    called when `screen` changes or something on it did
    restyled called when the tablet's manner changed, so that every screen is made anew
    acknowledged  called when a record is on disk
    camera   takes a picture and tells where the file is; None on a machine without one
    """

    def __init__(self, desk: Desk, cabin: Cabin, heard: Callable[[], None] | None = None) -> None:
        self.desk = desk
        self.cabin = cabin
        self.heard = heard or (lambda: None)
        self.restyled: Callable[[], None] = lambda: None
        self.acknowledged: Callable[[], None] = lambda: None
        self._before_lock = self._opened_from = ""
        self.setup = Setup(desk, cabin)
        self.people = People(desk)
        self.contexts = Contexts(desk)
        self.context = Context(desk)
        self.finding = Finding(desk)
        self.photographs = Photographs(desk, [desk.notebook.folder / "photos-in"])
        self.scan = Scan(desk)
        self.lab = Lab(desk)
        self.second = Seconds(desk)
        self.camera: Callable[[Callable[[Path], None]], None] | None = None
        self.sync = Sync(desk, cabin)
        self.key = Key(desk, cabin)
        self.carry = Carry(desk)
        self.printing = Printing(desk, self.carry)
        self.assess: Assess | None = None
        self.form: Form | None = Form.resumed(desk) if desk.site else None
        self.card: Card | None = Card.resumed(desk) if desk.site else None
        self.hold: Hold | None = None
        self.said = ""
        self.trouble = ""
        self.screen = self._first()

    def _first(self) -> str:
        if not self.desk.site:
            return "setup"
        if self.form is not None:
            return "stop" if self.form.state.stop else self.form_screen()
        if self.card is not None:
            return "card"
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

    def photograph(self) -> None:
        """Goes to the pictures of the open docket, or of the context."""
        self.photographs.begin(self.form)
        self.show("photo")

    def after_photo(self) -> None:
        """Back to what is photographed."""
        if self.photographs.hold and self.hold is not None:
            self.show("hold")
        elif self.form is not None:
            self.show(self.form_screen())
        else:
            self.home()

    def lock(self) -> None:
        """Locks the screen, for wiping."""
        self._before_lock = self.screen
        self.show("lock")

    def unlock(self) -> None:
        """Back to where it was locked."""
        self.show(self._before_lock or self._first())

    def home(self, said: str = "") -> None:
        """Goes to the open context, or to the contexts."""
        if not self.desk.site:
            self.show("setup")
        elif self.desk.person is None:
            self.show("people")
        else:
            self.show("context" if self.desk.context else "contexts", said)

    # -- dockets --

    def form_screen(self) -> str:
        """The screen of the form that is open: the full one, the short one, or that of a lab session."""
        depth = self.form.state.depth if self.form is not None else ""
        return depth if depth in ("quick", "lab") else "form"

    def new_docket(self, carry: dict[str, Any] | None = None, said: str = "", depth: str = "full") -> None:
        """Opens a form for a new docket in the open context."""
        context = self.desk.context
        if context is None:
            return
        self._opened_from = ""
        if self.do(lambda: setattr(self, "form", Form.new(self.desk, context, self.desk.bag, carry, depth))):
            self.show(self.form_screen(), said)
        else:
            self.heard()

    def open_docket(self, docket: str) -> None:
        """Opens a form over a stored docket; saved or left, it goes back to where it was opened from."""
        record, again = self.desk.record(docket), self.desk.hiding().get(docket)
        if again is not None:
            self.read_again(again.id)
        elif record is not None and self.do(lambda: setattr(self, "form", Form.of(self.desk, record))):
            self._opened_from = self.screen
            self.show("form")

    def read_again(self, reading: str) -> None:
        """Opens the form of a second reading."""
        record = self.desk.record(reading)
        if record is not None and self.do(lambda: setattr(self, "form", Form.again(self.desk, record))):
            self._opened_from = self.screen
            self.show("form")

    def back_from_docket(self, said: str = "") -> None:
        """To the list that the docket was found in, else to the context."""
        found, self._opened_from = self._opened_from, ""
        if found in ("find", "second"):
            self.show(found, said)
        else:
            self.home(said)

    def save(self) -> Saved | None:
        """Saves the open form; None if the notebook could not."""
        found: list[Saved] = []
        form = self.form
        if form is None or not self.do(lambda: found.append(form.save())):
            self.heard()
            return None
        self.form = None
        self.acknowledged()
        return found[0]

    def leave_form(self) -> None:
        """Leaves the open form; asks first if something was entered."""
        self.leave()

    def leaving(self) -> str:
        """The label of what is open, "" for nothing."""
        open_ = self.form or self.card
        return open_.state.label if open_ is not None else ""

    def leave(self, sure: bool = False) -> None:
        """Gives the open form or card up, or asks whether to."""
        open_ = self.form or self.card
        if open_ is not None and not sure and open_.is_begun():
            self.show("leave")
        elif open_ is not None and self.do(open_.leave):
            self.form, self.card = (None, self.card) if open_ is self.form else (self.form, None)
            self.lab.line = ""
            self.back_from_docket()
        else:
            self.heard()

    # -- other records --

    def new_card(self, kind: str, values: dict[str, Any] | None = None, said: str = "") -> None:
        """Opens a card for a new record in the open context."""
        context = self.desk.context
        if context is not None and self.do(lambda: setattr(self, "card", Card.new(self.desk, kind, context, values))):
            self.show("card", said)
        else:
            self.heard()

    def open_card(self, record_id: str) -> None:
        """Opens a card over a stored record."""
        record = self.desk.record(record_id)
        if record is not None and self.do(lambda: setattr(self, "card", Card.of(self.desk, record))):
            self.show("card")

    def save_card(self, again: bool = False) -> None:
        """Saves the open card, and goes on with another of its kind or to the context."""
        card, label = self.card, []
        if card is None or not self.do(lambda: label.append(card.save())):
            self.heard()
            return
        self.card = None
        self.acknowledged()
        said = say("saved", label=label[0])
        if again:
            self.new_card(card.state.kind, card.carry(), said)
        else:
            self.home(said)

    def leave_card(self) -> None:
        """Leaves the open card; asks first if something was entered."""
        self.leave()

    # -- holds --

    def open_hold(self, docket: str, said: str = "") -> None:
        """Goes to a docket's hold."""
        self.hold = Hold(self.desk, docket)
        self.do(lambda: self.desk.go(hold=docket))
        self.show("hold", said)

    def assess_hold(self) -> None:
        """Begins an assessment over all that is said of the docket on hold now."""
        if self.hold is not None and self.desk.record(self.hold.docket) is not None:
            self.assess = Assess(self.desk, self.hold.docket)
            self.show("assess")

    def photograph_hold(self) -> None:
        """Goes to the pictures of the docket on hold: each is sealed as it is taken."""
        if self.hold is not None:
            self.photographs.begin(None, self.hold.docket)
            self.show("photo")

    def show_carry(self) -> None:
        """Goes to the carry-files."""
        self.carry.told = []
        self.show("carry")

    def show_key(self) -> None:
        """Goes to the key of the one who records, and back to where it was asked for."""
        self.key.back, self.key.told = self.screen, ""
        self.show("key")
