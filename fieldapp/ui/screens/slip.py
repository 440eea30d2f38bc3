"""What the screens of a slip share: a paper with tabs, the open one's body, and actions.

For dockets (form) and every other record (card). Not here: what they show, and where it stands (slip_layout).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import Body, Room
from fieldapp.ui.screens import slip_body
from fieldapp.ui.screens.slip_layout import Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.theme import theme

load_kv(__file__)


class SlipView(View):
    """A screen with a slip. `body_shown`: the body that is shown, None where the screen shows something else."""

    def __init__(self, **kwargs: Any) -> None:
        self.body_shown: Body | None = None
        super().__init__(**kwargs)
        self.layout = Layout(self)
        ids = self.ids
        for rows in (ids.tabs, ids.body, ids.actions):
            rows.heard = self.tapped
            rows.fill = True
        ids.body.even = True
        ids.board.pressed = self.keyed
        ids.note.bind(text=self._note_typed)
        self._filling = False

    def keyed(self, key: str) -> None:
        """A key of the keypad."""

    def wrote(self, text: str) -> None:
        """The text box holds another text."""

    def fill_note(self, text: str) -> None:
        """Puts a text into the text box, which is not heard as typing."""
        if self.ids.note.text != text:
            self._filling = True
            self.ids.note.text = text
            self._filling = False

    def _note_typed(self, _: Any, text: str) -> None:
        if not self._filling:
            self.wrote(text)

    def has_size(self) -> bool:
        """Whether there is a window to show something in."""
        return bool(self.width >= theme.mm(2 * theme.target) and self.height >= theme.mm(2 * theme.target))

    def _turned(self, *_: Any) -> None:
        self.layout = Layout(self)
        super()._turned()

    def show_slip(self, label: str, tabs: Sequence[Choice], actions: Sequence[Choice]) -> None:
        """Shows the paper, its tabs and the actions."""
        ids, layout = self.ids, self.layout
        put(ids.slip, layout.slip)
        put(ids.tabs, layout.tabs)
        put(ids.actions, layout.actions)
        ids.slip.label = label.partition(" ")[2] or label
        ids.slip.site = label.partition(" ")[0] if " " in label else self.shell.desk.code
        across = 4 if layout.tall else 2
        ids.tabs.show([tabs[at : at + across] for at in range(0, len(tabs), across)])
        for pad in ids.tabs.pads():
            pad.note_first = True
        ids.actions.show(self.column(actions))

    def show_body(self, ask: Callable[[Room], Body]) -> Body:
        """Shows what `ask` gives for the room there is."""
        self.body_shown = slip_body.show(self.ids, ask, self.layout)
        if self.body_shown.text is not None:
            self.fill_note(self.body_shown.text)
        return self.body_shown

    def typed(self, text: str) -> None:
        """A keyboard, or callipers and a balance that type what they read, into the keypad that is open."""
        if self.body_shown is not None and self.body_shown.keys:
            self.keyed(text)

    def rubbed(self) -> None:
        self.typed("<")

    def entered(self) -> None:
        self.typed("=")
