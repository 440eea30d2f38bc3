"""Who changed a docket, when, and what."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.history import history
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say

load_kv(__file__)


class HistoryScreen(View):
    """Shows the changes of the docket whose form is open."""

    PER_PAGE = 6

    def __init__(self, **kwargs: Any) -> None:
        self.page = 0
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped

    def refresh(self) -> None:
        form, ids = self.shell.form, self.ids
        if form is None:
            return
        found = history(self.shell.desk, form.state.docket)
        self.page, pages = pager(len(found), self.PER_PAGE, self.page)
        shown = found[self.page * self.PER_PAGE :][: self.PER_PAGE]
        ids.title.text = say("history.title", label=form.state.label)
        ids.entries.show([("·", say("history.line", at=one.at, by=one.by, what=one.what)) for one in shown])
        actions = [Choice("history.leave", say("action.back"), sign="leave")]
        if pages > 1:
            actions.append(Choice("history.page", say("page", n=self.page + 1, of=pages), sign="after"))
        ids.actions.show([[one] for one in actions])

    def tapped(self, ident: str) -> None:
        if ident == "history.page":
            form = self.shell.form
            count = len(history(self.shell.desk, form.state.docket)) if form else 0
            self.page = self.page + 1 if (self.page + 1) * self.PER_PAGE < count else 0
            self.shell.heard()
        else:
            self.back()

    def back(self) -> None:
        self.page = 0
        self.shell.show("form")
