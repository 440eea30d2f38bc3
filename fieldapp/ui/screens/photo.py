"""Photographs: the camera where there is one, else the newest picture files, as pictures."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from kivy.uix.image import AsyncImage

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.slip_layout import Box, Layout, put
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme

load_kv(__file__)

TILE = 40.0
"""Millimetres of a picture's side."""


class PhotoScreen(View):
    """Shows the photographs presenter."""

    def __init__(self, **kwargs: Any) -> None:
        self.page, self.pages = 0, 1
        self._shown: list[Path] = []
        self._pictures: list[AsyncImage] = []
        super().__init__(**kwargs)
        for name in ("switches", "files", "actions"):
            self.ids[name].heard = self.tapped
        self.ids.actions.fill = True
        self.ids.actions.most_mm = 24.0

    def refresh(self) -> None:
        if self.width < theme.mm(60):
            return
        shots, ids, layout, mm = self.shell.photographs, self.ids, Layout(self), theme.mm
        refused = shots.refused()
        put(ids.actions, layout.actions)
        box = layout.free
        top = box.top
        line = mm(16 if refused else 7)
        put(ids.title, Box(box.x, top - line, box.width, line))
        ids.title.text = refused or self.shell.said or say("photo.title", n=shots.count())
        top -= line + mm(1)
        put(ids.switches, Box(box.x, top - mm(theme.target), min(box.width, mm(80)), mm(theme.target)))
        ids.switches.show([] if refused else [shots.switches()])
        top -= mm(theme.target) + mm(3)
        self._show_files(Box(box.x, box.y, box.width, top - box.y), not refused)
        actions = [Choice("photo.leave", say("action.back"), sign="leave")]
        if not refused and self.shell.camera is not None:
            actions.append(Choice("photo.take", say("photo.take"), sign="photo", tone="primary"))
        if self.pages > 1:
            actions.append(Choice("photo.page", say("page", n=self.page + 1, of=self.pages), sign="after"))
        ids.actions.show(self.column(actions))

    def _show_files(self, box: Box, allowed: bool) -> None:
        ids, gap = self.ids, theme.mm(theme.gap)
        for one in self._pictures:
            self.children[0].remove_widget(one)
        self._pictures = []
        files = self.shell.photographs.files() if allowed else []
        step = theme.mm(TILE) + gap
        across, down = max(1, int((box.width + gap) // step)), max(1, int((box.height + gap) // step))
        self.page, self.pages = pager(len(files), across * down, self.page)
        self._shown = files[self.page * across * down :][: across * down]
        rows = [self._shown[at : at + across] for at in range(0, len(self._shown), across)]
        high = len(rows) * step - gap if rows else 0
        put(ids.files, Box(box.x, box.top - high, across * step - gap, high))
        ids.files.row_mm = TILE
        pads = [[Choice(f"photo.file.{path.name}", "", note=path.name) for path in row] for row in rows]
        ids.files.show([[*row, *[Choice("", "")] * (across - len(row))] for row in pads])
        if not files and allowed:
            ids.title.text = self.shell.said or say("photo.none")
        for pad in ids.files.pads():
            pad.foot = True
        for at, path in enumerate(self._shown):
            x, y = box.x + at % across * step, box.top - (at // across + 1) * step + gap
            rim, foot = theme.mm(2), theme.mm(9)
            picture = AsyncImage(source=str(path), nocache=True, size_hint=(None, None))
            put(picture, Box(x + rim, y + foot, theme.mm(TILE) - 2 * rim, theme.mm(TILE) - foot - rim))
            self._pictures.append(picture)
            self.children[0].add_widget(picture)

    def tapped(self, ident: str) -> None:
        shell, shots = self.shell, self.shell.photographs
        key = ident.removeprefix("photo.")
        shell.said = ""
        if key == "leave":
            self.back()
            return
        if key in ("scale", "north"):
            shots.toggle(key)
        elif key == "page":
            self.page = (self.page + 1) % self.pages
        elif key == "take":
            if shell.camera is not None:
                shell.camera(self._taken)
            return
        else:
            path = next((one for one in self._shown if one.name == key.removeprefix("file.")), None)
            if path is not None:
                self._take(path)
        shell.heard()

    def _take(self, path: Path) -> None:
        said: list[str] = []
        if self.shell.do(lambda: said.append(self.shell.photographs.take(path))):
            self.shell.said = said[0]

    def _taken(self, path: Path) -> None:
        """The camera has made a file, which is kept as a photo of ours and then goes."""
        self._take(path)
        with suppress(OSError):
            path.unlink()
        self.shell.heard()

    def back(self) -> None:
        self.shell.after_photo()
