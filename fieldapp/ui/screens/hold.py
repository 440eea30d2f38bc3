"""A hold: where it stands, its log that is only added to, the next step, and the exact place."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import Room, paged
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class HoldScreen(View):
    """Shows the hold presenter. `placing`: the exact place is being entered; `sort`: the page of what can be done."""

    LOG, LOG_TALL = 4, 2

    def __init__(self, **kwargs: Any) -> None:
        self.placing = False
        self.page = self.sort = 0
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.what, ids.whom, ids.actions):
            rows.heard = self.tapped
        ids.what.fill = ids.whom.fill = True
        ids.note.bind(text=self._typed_note)

    @property
    def hold(self) -> Hold:
        """The hold that is open."""
        assert self.shell.hold is not None
        return self.shell.hold

    def refresh(self) -> None:
        if self.shell.hold is None:
            return
        hold, ids = self.hold, self.ids
        ids.band.height_mm = 4 if hold.in_place else 0
        ids.title.text = say("hold.title" if hold.in_place else "hold.query_title", label=hold.label())
        ids.state.text = hold.state()
        ids.zone.text = say("hold.zone", zone=hold.zone()) if hold.in_place else ""
        ids.reminders.show([(say("blank"), text) for text in hold.reminders()])
        log = hold.log()
        each = self.LOG_TALL if self.tall else self.LOG
        pages = -(-len(log) // each) or 1
        self.page %= pages
        shown = log[self.page * each :][:each]
        ids.log.show([("·", one.words()) for one in shown])
        ids.log_name.text = say("hold.log", n=len(log)) if log else say("hold.no_log")
        actions = [Choice("hold.leave", say("go.context"), sign="leave")]
        if pages > 1:
            actions.append(Choice("hold.page", say("page", n=self.page + 1, of=pages), sign="after"))
        if self.placing:
            self._show_place(actions)
        else:
            self._show_step(actions)

    def _show_step(self, actions: list[Choice]) -> None:
        hold, ids = self.hold, self.ids
        what = hold.choices("what")
        ids.step_name.text = say(f"need.{hold.wanted()}") if hold.wanted() and hold.what else say("hold.next")
        ids.what.show(paged("step", what, [], Room(4, 2), self.sort))
        ids.whom.show([hold.choices("whom"), hold.choices("how")])
        self._fill(hold.note, say("hold.note_hint"))
        actions += [
            Choice("hold.docket", say("hold.docket"), sign="after"),
            Choice("hold.place", say("hold.place_kept" if hold.place_kept() else "hold.place"), sign="hold"),
            Choice("hold.add", say("hold.add"), sign="tick", tone="primary"),
        ]
        ids.actions.show(self.column(actions))

    def _show_place(self, actions: list[Choice]) -> None:
        hold, ids = self.hold, self.ids
        ids.what.show([])
        ids.whom.show([])
        ids.step_name.text = hold.place_error or (say("place.how") if hold.can_seal() else say("place.no_key"))
        self._fill(hold.place, say("place.hint"))
        actions = [Choice("hold.back", say("action.back"), sign="leave")]
        actions.append(Choice("hold.seal", say("place.seal"), sign="tick", tone="primary", enabled=hold.can_seal()))
        ids.actions.show(self.column(actions))

    def _fill(self, text: str, hint: str) -> None:
        note = self.ids.note
        note.hint_text = hint
        if note.text != text:
            note.text = text

    def _typed_note(self, _: Any, text: str) -> None:
        if self.shell.hold is None:
            return
        if self.placing:
            self.hold.place = text
        else:
            self.hold.note = text

    def tapped(self, ident: str) -> None:
        shell, hold = self.shell, self.hold
        group, _, key = ident.partition(".")
        shell.said = ""
        if group == "step":
            part, _, key = key.partition(".")
            if part == "page":
                self.sort = int(key)
            else:
                hold.choose(part, key)
        elif key == "leave":
            shell.home()
            return
        elif key == "docket":
            shell.open_docket(hold.docket)
            return
        elif key == "page":
            self.page += 1
        elif key == "place":
            self.placing = True
        elif key == "back":
            self.placing, hold.place, hold.place_error = False, "", ""
        elif key == "seal":
            done: list[bool] = []
            if shell.do(lambda: done.append(hold.keep_place())) and done[0]:
                self.placing = False
                shell.said = say("place.sealed")
        elif key == "add":
            if hold.wanted():
                shell.said = say(f"need.{hold.wanted()}")
            elif shell.do(hold.add):
                self.page = 0
                shell.said = say("hold.added")
        shell.heard()

    def message(self) -> tuple[str, bool]:
        return self.shell.said, False

    def back(self) -> None:
        self.tapped("hold.back" if self.placing else "hold.leave")
