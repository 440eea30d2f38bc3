"""Who is recording."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say

load_kv(__file__)


class PeopleScreen(View):
    """Shows the people presenter; `typing` while a name is typed."""

    PER_PAGE = 12

    def __init__(self, **kwargs: Any) -> None:
        self.typing = False
        self.page = 0
        super().__init__(**kwargs)
        for rows in (self.ids.people, self.ids.actions, self.ids.top):
            rows.heard = self.tapped
        self.ids.top.level = "big"
        self.ids.board.pressed = self._pressed

    def refresh(self) -> None:
        people, ids = self.shell.people, self.ids
        ids.empty.text = ids.totals.text = ""
        if self.typing:
            ids.title.text = ""
            ids.people.show([])
            ids.actions.show([])
            ids.top.show(
                [
                    [
                        Choice("people.cancel", say("action.back"), sign="leave"),
                        Choice("", people.name.text or say("blank"), note=say("people.name"), tone="words", weight=3),
                        Choice("people.add", say("people.add"), sign="tick", tone="primary", weight=1.4),
                    ]
                ]
            )
            for pad in ids.top.pads():
                pad.note_first = True
            ids.board.lay("name")
            return
        ids.title.text = say("people.title")
        ids.top.show([])
        ids.board.put_away()
        found = people.choices()
        self.page, pages = pager(len(found), self.PER_PAGE, self.page)
        shown = found[self.page * self.PER_PAGE :][: self.PER_PAGE]
        rows = in_rows([*shown, *([_EMPTY] * (-len(shown) % 3))], 3)
        ids.people.show(rows)
        for pad in ids.people.pads():
            pad.opacity = 1 if pad.ident else 0
        ids.empty.text = "" if found else say("people.none")
        ids.totals.text = people.totals()
        actions = [Choice("people.new", say("people.new"), sign="more")]
        if pages > 1:
            actions.append(Choice("people.page", say("page", n=self.page + 1, of=pages), sign="after"))
        if self.shell.desk.person is not None:
            actions.insert(0, Choice("people.back", say("action.back"), sign="leave"))
        ids.actions.show(self.column(actions))

    def tapped(self, ident: str) -> None:
        people = self.shell.people
        if ident.startswith("person."):
            before = self.shell.desk.by["name"]
            if self.shell.do(lambda: people.choose(ident)):
                self._handed_over(before)
                return
        elif ident == "people.new":
            self.typing = True
        elif ident == "people.cancel":
            self.typing = False
        elif ident == "people.page":
            self.page += 1
            if self.page * self.PER_PAGE >= len(people.choices()):
                self.page = 0
        elif ident == "people.back":
            self.shell.home()
            return
        elif ident == "people.add":
            added: list[bool] = []
            before = self.shell.desk.by["name"]
            if self.shell.do(lambda: added.append(people.add())) and added[0]:
                self.typing = False
                self._handed_over(before)
                return
        self.shell.heard()

    def _handed_over(self, before: str) -> None:
        """Somebody else has the tablet now; what the one before saved can no longer be undone as one's own."""
        now = self.shell.desk.by["name"]
        other = bool(before) and before != now
        if other:
            self.shell.desk.last = None
        self.shell.home(say("people.handed_over", before=before, now=now) if other else "")

    def _pressed(self, key: str) -> None:
        entry = self.shell.people.name
        if key == "<":
            entry.rub()
        else:
            # Names read as names: the first letter of each word is large.
            first = not entry.text or entry.text[-1] in " -."
            entry.press(key if first or len(key) > 1 else key.lower())
        self.shell.heard()

    def typed(self, text: str) -> None:
        self.typing = True
        self.shell.people.name.press(text)
        self.shell.heard()

    def rubbed(self) -> None:
        if self.typing:
            self._pressed("<")

    def entered(self) -> None:
        if self.typing:
            self.tapped("people.add")

    def back(self) -> None:
        if self.typing:
            self.tapped("people.cancel")
        elif self.shell.desk.person is not None:
            self.shell.home()


_EMPTY = Choice("", "")
