"""The lab session: the line that is typed, what stands, and what is wrong with it."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.lab import sentence
from fieldapp.ui.screens import saving
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)


class LabScreen(View):
    """Shows the lab presenter over the form that is open."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.ids.actions.heard = self.tapped
        self.ids.actions.fill = True

    def opened(self) -> None:
        """A form has been opened."""

    def refresh(self) -> None:
        shell = self.shell
        if shell.form is None or self.width < theme.mm(60):
            return
        form, lab, ids, layout, mm = shell.form, shell.lab, self.ids, Layout(self), theme.mm
        put(ids.actions, layout.actions)
        free = layout.free
        x, low, width, top = free.x, free.y, free.width, free.top
        put(ids.label, Box(x, top - mm(9), width, mm(9)))
        ids.label.text = form.state.label.partition(" ")[2]
        top -= mm(10)
        put(ids.ground, Box(x, top - mm(12), width, mm(12)))
        put(ids.line, Box(x + mm(2), top - mm(12), width - mm(4), mm(12)))
        ids.line.text = (say("lab.waits", code=lab.told.waits) + " " if lab.told.waits else "") + lab.line + "|"
        top -= mm(13)
        put(ids.offers, Box(x, top - mm(6), width, mm(6)))
        ids.offers.text = lab.offers(form) or ("" if lab.line else say("lab.how"))
        top -= mm(7)
        high = mm(10) if lab.told.wrong else 0
        put(ids.wrong, Box(x, top - high, width, high))
        ids.wrong.text = " ".join(sentence(one) for one in lab.told.wrong)
        top -= high
        foot = mm(theme.strip)
        put(ids.strip, Box(x, low, width, foot))
        put(ids.saved, Box(x, low + foot + mm(1), width, mm(5)))
        ids.saved.text = say("lab.saved", labels=", ".join(lab.saved)) if lab.saved else ""
        put(ids.stands, Box(x, low + foot + mm(7), width, max(mm(8), top - low - foot - mm(8))))
        ids.stands.show([("·", say("said", name=name, value=value)) for name, value in lab.lines(form)])
        self._show_strip()
        actions = self._actions()
        ids.actions.show(self.column(actions))

    def _actions(self) -> list[Choice]:
        return [
            Choice("action.leave", say("action.leave"), sign="leave"),
            Choice("action.undo", say("action.undo"), sign="undo"),
            Choice("action.full", say("action.full"), sign="after"),
            Choice("action.save_again", say("action.save_next"), sign="tick", tone="primary"),
        ]

    def _show_strip(self) -> None:
        assert self.shell.form is not None
        self.show_found(form_fields.strip(self.shell.form), self.shell.said)

    # -- taps and keys --

    def tapped(self, ident: str) -> None:
        shell, form = self.shell, self.shell.form
        if form is None:
            return
        shell.said = ""
        key = ident.removeprefix("action.")
        if key == "leave":
            shell.leave_form()
        elif key == "undo":
            saving.undo(shell)
        elif key == "full":
            if shell.do(form.deepen):
                shell.show("form")
            else:
                shell.heard()
        else:
            self._save()

    def _save(self) -> None:
        shell, before = self.shell, self.shell.form
        saving.save(shell, again=True)
        if before is not None and shell.form is not before:
            shell.lab.next(before.state.label.partition(" ")[2])
            shell.heard()

    def typed(self, text: str) -> None:
        self.shell.lab.type(text)
        self.shell.heard()

    def rubbed(self) -> None:
        self.shell.lab.rub()
        self.shell.heard()

    def entered(self) -> None:
        shell, form = self.shell, self.shell.form
        if form is None:
            return
        shell.said = ""
        taken: list[bool] = []
        if not shell.do(lambda: taken.append(shell.lab.take(form))):
            shell.heard()
        elif form.state.stop:
            shell.show("stop")
        elif taken[0]:
            shell.heard()
        else:
            self._save()

    def back(self) -> None:
        """The session is left by its button only."""
