"""The short form: four rows of buttons over each other, everything in sight."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters import form_fields, quick
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.screens import saving
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)

NAME, STRIP_TALL = 3.1, 9.0
"""Millimetres of the line over a row, which is the gap to the row above as well; and of the strip, standing."""
ROWS = ("looks", "sizes", "human", "rest")


class QuickScreen(View):
    """Shows the form that is open, in short."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in (*ROWS, "actions"):
            self.ids[name].heard = self.tapped
            self.ids[name].fill = True
            self.ids[name].even = name in ("looks", "sizes", "human")

    @property
    def form(self) -> Form:
        """The form that is open."""
        assert self.shell.form is not None
        return self.shell.form

    def opened(self) -> None:
        """A form has been opened."""

    def refresh(self) -> None:
        if self.shell.form is None or self.width < theme.mm(60):
            return
        form, ids, layout = self.form, self.ids, Layout(self)
        rows = {
            "looks": quick.looks(form),
            "sizes": quick.sizes(form),
            "human": quick.answers(form),
            "rest": quick.rest(form),
        }
        box = self._place_frame(layout)
        name_high, gap = theme.mm(NAME), theme.mm(theme.gap)
        # Larger buttons for gloves where there is the room for them; everything stays in sight.
        for target in (theme.pad, theme.target):
            across = layout.room(box.width, box.height, target).across
            lines = {name: in_rows(pads, -(-len(pads) // -(-len(pads) // across))) for name, pads in rows.items()}
            inner = sum((len(one) - 1) * gap for one in lines.values())
            count = sum(len(one) for one in lines.values())
            high = min(theme.mm(24), (box.height - len(ROWS) * name_high - inner) / count)
            if high >= theme.mm(target) - 1:
                break
        top = box.top
        for name, one in lines.items():
            ids[f"{name}_name"].text = say(f"quick.asks.{name}")
            put(ids[f"{name}_name"], Box(box.x, top - name_high, box.width, name_high))
            deep = len(one) * high + (len(one) - 1) * gap
            put(ids[name], Box(box.x, top - name_high - deep, box.width, deep))
            top -= name_high + deep
            ids[name].show(one)
        actions = self._actions()
        ids.actions.show(self.column(actions))
        self._show_strip()

    def _place_frame(self, layout: Layout) -> Box:
        """Places label, actions and strip; the box that is left for the rows."""
        ids, mm = self.ids, theme.mm
        put(ids.actions, layout.actions)
        free, foot = layout.free, mm(STRIP_TALL if layout.tall else theme.strip)
        x, low, width, top = free.x, free.y, free.width, free.top
        label = mm(30)
        put(ids.label, Box(x, low, label, foot))
        put(ids.strip, Box(x + label, low, width - label, foot))
        ids.label.text = self.form.state.label.partition(" ")[2]
        return Box(x, low + foot + mm(1), width, top - low - foot - mm(1))

    def _actions(self) -> list[Choice]:
        form = self.form
        takes_back = not form.state.undo and form.state.new and self.shell.desk.last is not None
        return [
            Choice("action.leave", say("action.leave"), sign="leave"),
            Choice("action.undo", say("action.undo_last" if takes_back else "action.undo"), sign="undo"),
            Choice("action.full", say("action.full"), sign="after"),
            Choice("action.save_again", say("action.save_next"), sign="again"),
            Choice("action.save", say("action.save"), sign="tick", tone="primary"),
        ]

    def _show_strip(self) -> None:
        self.show_found(form_fields.strip(self.form), self.shell.said)

    def tapped(self, ident: str) -> None:
        group, _, key = ident.partition(".")
        shell, form = self.shell, self.form
        shell.said = ""
        if group == "action":
            self._act(key)
            return
        if ident == "note.photo":
            shell.photograph()
            return
        if ident == "go.note":
            if shell.do(lambda: form.deepen()) and shell.do(lambda: form.open_field("note")):
                shell.show("form")
                return
        elif ident == "find.keys.count":
            find = form_fields.FURTHER["find"]
            if shell.do(lambda: form.deepen()) and shell.do(lambda: find.tap(form, "keys.count")):
                shell.show("form")
                return
        elif ident == "note.ask":
            shell.do(lambda: form.set_slot("ask", None if form.answers.get("ask") else True))
        elif group == "look":
            shell.do(lambda: quick.look(form, key))
        elif group == "human":
            shell.do(lambda: form.answer_human(key))
        elif group == "find":
            shell.do(lambda: form_fields.FURTHER["find"].tap(form, key))
        else:
            shell.do(lambda: form.put(group, {group: None if form.answers.get(group) == key else key}))
        if form.state.stop:
            shell.show("stop")
        else:
            shell.heard()

    def _act(self, key: str) -> None:
        shell, form = self.shell, self.form
        if key == "leave":
            shell.leave_form()
        elif key == "undo":
            saving.undo(shell)
        elif key == "full":
            if shell.do(lambda: form.deepen()):
                shell.show("form")
            else:
                shell.heard()
        else:
            saving.save(shell, again=key == "save_again")
