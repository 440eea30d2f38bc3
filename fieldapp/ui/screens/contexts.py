"""The contexts of the site as tiles, and making one."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.contexts import GRAVE_LIKE, TYPES
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme

load_kv(__file__)

CLOSED = 11.0
"""Millimetres of the line that says what is closed."""


class ContextsScreen(View):
    """Shows the contexts presenter."""

    def __init__(self, **kwargs: Any) -> None:
        self.page = 0
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.tiles, ids.actions, ids.types, ids.grave):
            rows.heard = self.tapped
        ids.tiles.level = "title"
        ids.tiles.row_mm = 20
        ids.types.fill = ids.grave.fill = True
        ids.board.pressed = self._pressed

    def refresh(self) -> None:
        contexts, ids = self.shell.contexts, self.ids
        for name in ("closed", "number_name", "number", "type_name", "grave_name", "grave_why", "hint"):
            ids[name].text = ""
        if contexts.making:
            self._show_making()
            return
        for rows in (ids.types, ids.grave):
            rows.show([])
        ids.board.put_away()
        found = contexts.tiles()
        ids.closed.text = contexts.closed()
        ids.closed.height = theme.mm(CLOSED) if ids.closed.text else 0
        across, per_page = self._room()[0], self._per_page()
        self.page, pages = pager(len(found), per_page, self.page)
        shown = found[self.page * per_page :][:per_page]
        shown += [Choice("", "")] * (-len(shown) % across)
        ids.tiles.show(in_rows(shown, across))
        for pad in ids.tiles.pads():
            pad.opacity = 1 if pad.ident else 0
        ids.hint.text = "" if found else say("contexts.none")
        actions = [
            Choice("contexts.new", say("contexts.new"), sign="more", tone="primary"),
            Choice("go.sync", say("go.sync"), sign="sync"),
            Choice("go.people", say("go.people"), sign="person"),
        ]
        if pages > 1:
            actions.append(Choice("contexts.page", say("page", n=self.page + 1, of=pages), sign="after"))
        ids.actions.show(self.column(actions))

    def _show_making(self) -> None:
        contexts, ids = self.shell.contexts, self.ids
        ids.tiles.show([])
        ids.number_name.text = say("contexts.number")
        ids.number.text = contexts.number.text or say("blank")
        ids.type_name.text = say("contexts.type")
        asks = say("contexts.grave_like")
        why = say("contexts.known") if contexts.known() else say("contexts.grave_why")
        ids.grave_name.text = "" if self.tall else asks
        ids.grave_why.text = f"{asks} {why}" if self.tall else why
        ids.board.lay("number")
        types = [Choice(f"type.{key}", word("context_type", key), chosen=contexts.type == key) for key in TYPES]
        ids.types.show(in_rows(types, 5 if self.tall else 3))
        ids.grave.show(
            [[Choice(f"grave.{key}", word("grave_like", key), chosen=contexts.grave_like == key) for key in GRAVE_LIKE]]
        )
        ids.actions.show(
            self.column(
                [
                    Choice("contexts.cancel", say("action.back"), sign="leave"),
                    Choice(
                        "contexts.make",
                        say("contexts.make"),
                        sign="tick",
                        tone="plain" if contexts.ready() else "primary",
                    ),
                ]
            )
        )

    def _room(self) -> tuple[int, int]:
        """How many tiles there is room for, across and down."""
        tiles, gap = self.ids.tiles, theme.mm(theme.gap)
        high = tiles.height - self.ids.closed.height
        across = int((tiles.width + gap) // (theme.mm(24.0) + gap))
        down = int((high + gap) // (theme.mm(tiles.row_mm) + gap))
        return max(2, across), max(2, down)

    def _per_page(self) -> int:
        across, down = self._room()
        return across * down

    def tapped(self, ident: str) -> None:
        contexts, shell = self.shell.contexts, self.shell
        group, _, key = ident.partition(".")
        shell.said = ""
        if group == "context":
            if shell.do(lambda: contexts.open(key)):
                shell.show("context")
                return
        elif group == "type":
            contexts.choose_type(key)
        elif group == "grave":
            contexts.grave_like = key
        elif group == "go":
            shell.show(key)
            return
        elif key == "new":
            contexts.begin()
        elif key == "cancel":
            contexts.making = False
        elif key == "page":
            self.page = self.page + 1 if (self.page + 1) * self._per_page() < len(contexts.tiles()) else 0
        elif key == "make":
            if contexts.ready():
                shell.said = say(f"need.{contexts.ready()}")
            elif shell.do(contexts.make):
                shell.show("context")
                return
        shell.heard()

    def _pressed(self, key: str) -> None:
        number = self.shell.contexts.number
        if key == "<":
            number.rub()
        elif key == "*":
            number.clear()
        else:
            number.press(key)
        self.shell.heard()

    def typed(self, text: str) -> None:
        if self.shell.contexts.making:
            self._pressed(text)

    def rubbed(self) -> None:
        if self.shell.contexts.making:
            self._pressed("<")

    def entered(self) -> None:
        if self.shell.contexts.making:
            self.tapped("contexts.make")

    def back(self) -> None:
        if self.shell.contexts.making:
            self.tapped("contexts.cancel")
