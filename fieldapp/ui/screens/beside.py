"""A human bone beside animals' bones: pictures at one height, and the published signs in words."""

from __future__ import annotations

from typing import Any

from kivy.uix.boxlayout import BoxLayout

from fieldapp.domain.plates import PLAIN
from fieldapp.ui.presenters import beside
from fieldapp.ui.screens.view import PagesOfForm, load_kv
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.pad import Words
from fieldapp.ui.widgets.plate import PlateView

load_kv(__file__)


class BesideScreen(PagesOfForm):
    """Shows the bone of the open form, human beside up to three animals."""

    PER_PAGE = 2

    def __init__(self, **kwargs: Any) -> None:
        self._shown: Any = None
        super().__init__(**kwargs)

    def refresh(self) -> None:
        form, ids = self.shell.form, self.ids
        if form is None:
            return
        element = form.answers.get("element", "")
        found = beside.of(form.desk.knowledge, element, form.answers.get("taxon"))
        ids.title.text = say("beside.title", element=word("element", element))
        ids.caution.text = say("beside.caution" if found else "beside.none")
        if found != self._shown:
            self._shown, self.page = found, 0
            self._show(beside.pictures(found) if found else [])
        ids.signs.show(self.leaf(beside.signs(found) if found else []))

    def _show(self, pictures: list[beside.Pictured]) -> None:
        """Each picture over its name; all in boxes of one size, so that they are drawn at one height."""
        box = self.ids.pictures
        box.clear_widgets()
        for one in pictures:
            column = BoxLayout(orientation="vertical", spacing=theme.mm(1))
            view = PlateView()
            view.disabled = True
            view.show(one.plate, dict.fromkeys(one.plate.portions, PLAIN))
            column.add_widget(view)
            name = Words(text=one.name, halign="center", size_hint_y=None, height=theme.mm(8), bold=True)
            column.add_widget(name)
            box.add_widget(column)
