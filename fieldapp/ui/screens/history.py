"""Who changed a docket, when, and what."""

from __future__ import annotations

from fieldapp.ui.presenters.history import history
from fieldapp.ui.screens.view import PagesOfForm, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class HistoryScreen(PagesOfForm):
    """Shows the changes of the docket whose form is open."""

    PER_PAGE = 6

    def refresh(self) -> None:
        form, ids = self.shell.form, self.ids
        if form is None:
            return
        found = history(self.shell.desk, form.state.docket)
        ids.title.text = say("history.title", label=form.state.label)
        ids.entries.show([("·", say("history.line", at=one.at, by=one.by, what=one.what)) for one in self.leaf(found)])
