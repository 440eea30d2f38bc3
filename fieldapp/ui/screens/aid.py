"""The aid: one question at a time beside the pictures, then what the answers come to and what can be answered."""

from __future__ import annotations

from typing import Any

from kivy.properties import NumericProperty
from kivy.uix.boxlayout import BoxLayout

from fieldapp.domain.aid import STOP, YES
from fieldapp.domain.plates import PLAIN, Plate
from fieldapp.ui.presenters import aid
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.pad import Words
from fieldapp.ui.widgets.plate import PlateView

load_kv(__file__)


class AidScreen(View):
    """Shows the aid over the open form. `at`: the place of the question, None for the one that is open first."""

    PER_PAGE, PER_PAGE_TALL = 4, 6
    answers_high = NumericProperty(0)

    def __init__(self, **kwargs: Any) -> None:
        self.at: int | None = None
        self.page = 0
        self._pictured: Any = None
        super().__init__(**kwargs)
        self.ids.answers.heard = self.ids.actions.heard = self.tapped
        self.ids.answers.fill = True

    def refresh(self) -> None:
        form, ids = self.shell.form, self.ids
        if form is None:
            return
        keys = aid.asked(form)
        at = aid.next_open(form) if self.at is None else self.at
        pages = 1
        if at < len(keys):
            key = keys[at]
            ids.title.text = say("aid.title", n=at + 1, of=len(keys))
            ids.question.text = word("criterion", key)
            ids.pitfall.text = aid.beneath(form, key)
            ids.reasons.show([])
            ids.unseen.text = say("aid.so_far", outcome=aid.text(f"aid.says.{aid.verdict(form).outcome}"))
            self._show_pictures(aid.pictures(form, key))
            rows = in_rows(aid.pads(form, key), 2 if self.tall else 4)
        else:
            lines = aid.reasons(form)
            each = self.PER_PAGE_TALL if self.tall else self.PER_PAGE
            self.page, pages = pager(len(lines), each, self.page)
            ids.title.text = aid.headline(form)
            ids.question.text = ids.pitfall.text = ""
            self._show_pictures([])
            ids.reasons.show(lines[self.page * each :][:each])
            ids.unseen.text = aid.text("aid.unseen")
            rows = in_rows(aid.offered(form), 2)
        for box, shown in ((ids.pictures, at < len(keys) and self._pictured), (ids.reasons, at >= len(keys))):
            # What is not shown takes no room of the other.
            box.size_hint_y = 1 if shown else None
            box.height = box.height if shown else 0
        self.answers_high = len(rows) * theme.mm(theme.target) + (len(rows) - 1) * theme.mm(theme.gap)
        ids.answers.show(rows)
        actions = [
            Choice("aid.leave", say("action.back"), sign="leave"),
            Choice("aid.before", say("aid.before"), sign="up", enabled=at > 0),
            Choice("aid.after", say("aid.after"), sign="down", enabled=at < len(keys)),
            Choice("aid.result", say("aid.result"), sign="check", enabled=at < len(keys)),
        ]
        if pages > 1:
            actions[3] = Choice("aid.page", say("page", n=self.page + 1, of=pages), sign="after")
        ids.actions.show(self.column(actions))
        self._now, self._last = at, len(keys)

    def _show_pictures(self, pictures: list[tuple[Plate, str]]) -> None:
        told = [(plate.element, plate.form, plate.view) for plate, _ in pictures]
        if told == self._pictured:
            return
        self._pictured = told
        box = self.ids.pictures
        box.clear_widgets()
        for plate, name in pictures:
            column = BoxLayout(orientation="vertical", spacing=theme.mm(1))
            view = PlateView()
            view.disabled = True
            view.show(plate, dict.fromkeys(plate.portions, PLAIN))
            column.add_widget(view)
            column.add_widget(Words(text=name, halign="center", size_hint_y=None, height=theme.mm(5), bold=True))
            box.add_widget(column)

    def tapped(self, ident: str) -> None:
        shell, form = self.shell, self.shell.form
        if form is None:
            return
        group, _, rest = ident.partition(".")
        shell.said = ""
        if group == "human":
            if shell.do(lambda: form.answer_human(rest)):
                self._done()
            elif form.state.stop:
                shell.show("stop")
            return
        if rest.startswith("say."):
            key, chosen = aid.asked(form)[self._now], rest.removeprefix("say.")
            again = aid.said(form).get(key) == chosen
            if shell.do(lambda: aid.answer(form, key, chosen)) and not again:
                stops = aid.verdict(form).outcome == STOP
                # What stops is said at once: nobody is led through the rest of the questions first.
                self.at = self._last if stops and chosen == YES else self._now + 1
        elif rest == "leave":
            self.back()
            return
        elif rest == "page":
            self.page += 1
        elif rest == "result":
            self.at = self._last
        else:
            self.at = self._now + (1 if rest == "after" else -1)
        shell.heard()

    def _done(self) -> None:
        form = self.shell.form
        self.at, self.page = None, 0
        assert form is not None
        self.shell.show("stop" if form.state.stop else self.shell.form_screen())

    def back(self) -> None:
        """To the form; what was answered stays in it."""
        self.at, self.page = None, 0
        self.shell.show(self.shell.form_screen())
