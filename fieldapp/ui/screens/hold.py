"""A hold: where it stands, its log that is only added to, the next step, and what else can be done about it."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters import licensed
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.fields import Room, paged
from fieldapp.ui.presenters.hold import HANDED_OVER, Hold
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say, word

load_kv(__file__)


class HoldScreen(View):
    """Shows the hold presenter. `mode`: "step", the next step is written; "more", what else there is to do; "place" or
    "skeleton", that is being typed. `sort`: the page of the steps."""

    LOG, LOG_TALL = 4, 2

    def __init__(self, **kwargs: Any) -> None:
        self.mode = "step"
        self.page = self.sort = 0
        self.number = ""
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
        ids.title.text = hold.title()
        ids.state.text = hold.state()
        closes = hold.in_place and not licensed.is_licensed(self.shell.desk)
        zone = say("hold.zone", zone=hold.zone()) if closes else ""
        ids.zone.text = " · ".join(part for part in (licensed.skeleton(hold), zone) if part)
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
        ids.note.disabled, ids.note.opacity = False, 1
        if self.mode == "step":
            self._show_step(actions)
        elif self.mode == "more":
            self._show_more()
        else:
            self._show_typing()

    def _show_step(self, actions: list[Choice]) -> None:
        hold, ids = self.hold, self.ids
        what = hold.choices("what")
        ids.step_name.text = say(f"need.{hold.wanted()}") if hold.wanted() and hold.what else say("hold.next")
        ids.what.show(paged("step", what, [], Room(4, 2), self.sort))
        handing = hold.what == HANDED_OVER
        ids.whom.show(in_rows(hold.parts(), 3) if handing else [hold.choices("whom"), hold.choices("how")])
        self._fill(hold.typed(), word("sheets.custody", hold.writing) if hold.writing else say("hold.note_hint"))
        if hold.unsaid:
            actions.append(Choice("hold.stop", say("hold.stop"), sign="stop", tone="clay"))
        actions += [
            Choice("hold.more", say("hold.more"), sign="more"),
            Choice("hold.add", say("hold.add"), sign="tick", tone="primary"),
        ]
        ids.actions.show(self.column(actions))

    def _show_more(self) -> None:
        hold, ids, desk = self.hold, self.ids, self.shell.desk
        ids.step_name.text = say("hold.more_title")
        found = [
            Choice("hold.docket", say("hold.docket"), sign="after"),
            Choice("hold.place", say("hold.place_kept" if hold.place_kept() else "hold.place"), sign="hold"),
        ]
        if desk.may("propose_assessment"):
            found.append(Choice("hold.assess", say("hold.assess"), sign="check"))
        if desk.site_value("hold_photos") is True:
            found.append(Choice("hold.photo", say("hold.photo"), sign="photo"))
        if licensed.is_licensed(desk):
            found.append(Choice("hold.skeleton", say("hold.skeleton"), note=licensed.skeleton(hold)))
            found.append(Choice("hold.charnel", say("hold.charnel"), chosen=licensed.is_charnel(hold)))
        self._fill("", "")
        ids.note.disabled, ids.note.opacity = True, 0
        rows = in_rows([*found, *[Choice("", "")] * (-len(found) % 3)], 3)
        ids.what.show(rows[:2])
        ids.whom.show(rows[2:])
        ids.actions.show(self.column([Choice("hold.back", say("action.back"), sign="leave")]))

    def _show_typing(self) -> None:
        hold, ids = self.hold, self.ids
        ids.what.show([])
        ids.whom.show([])
        keep = Choice("hold.number", say("hold.skeleton_keep"), sign="tick", tone="primary")
        if self.mode == "place":
            ids.step_name.text = hold.place_error or (say("place.how") if hold.can_seal() else say("place.no_key"))
            self._fill(hold.place, say("place.hint"))
            keep = Choice("hold.seal", say("place.seal"), sign="tick", tone="primary", enabled=hold.can_seal())
        else:
            ids.step_name.text = say("hold.skeleton_how")
            self._fill(self.number, say("hold.skeleton_hint"))
        ids.actions.show(self.column([Choice("hold.back", say("action.back"), sign="leave"), keep]))

    def _fill(self, text: str, hint: str) -> None:
        note = self.ids.note
        note.hint_text = hint
        if note.text != text:
            note.text = text

    def _typed_note(self, _: Any, text: str) -> None:
        if self.shell.hold is None:
            return
        if self.mode == "place":
            self.hold.place = text
        elif self.mode == "skeleton":
            self.number = text
        elif self.mode == "step":
            self.hold.type(text)

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
        elif key == "assess":
            self.mode = "step"
            shell.assess_hold()
            return
        elif key == "photo":
            self.mode = "step"
            shell.photograph_hold()
            return
        elif key in ("more", "place", "skeleton"):
            self.mode = key
        elif key == "back":
            self.mode, hold.place, hold.place_error, self.number = "step", "", "", ""
        elif key == "seal":
            done: list[bool] = []
            if shell.do(lambda: done.append(hold.keep_place())) and done[0]:
                self.mode = "step"
                shell.said = say("place.sealed")
        elif key == "stop":
            if shell.do(hold.stop):
                shell.said = say("hold.stopped")
        elif key == "charnel":
            shell.do(lambda: licensed.toggle_charnel(hold))
        elif key == "number":
            kept: list[bool] = []
            if shell.do(lambda: kept.append(licensed.keep_skeleton(hold, self.number))) and kept[0]:
                self.mode, self.number = "step", ""
        elif key == "add":
            if hold.wanted():
                shell.said = say(f"need.{hold.wanted()}")
            else:
                said = say("hold.word_opens_nothing" if hold.what == "word" else "hold.added")
                if shell.do(hold.add):
                    self.page = 0
                    shell.said = said
        shell.heard()

    def message(self) -> tuple[str, bool]:
        return self.shell.said, False

    def back(self) -> None:
        self.tapped("hold.leave" if self.mode == "step" else "hold.back")
