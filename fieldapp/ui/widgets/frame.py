"""The frame round every screen: the status bar on top, and the ground that counts contacts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kivy.graphics import Color, Rectangle
from kivy.lang import Builder
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import signs, touching
from fieldapp.ui.widgets.pad import Drawn
from fieldapp.ui.widgets.type import set_type


class StatusBar(Drawn):
    """Where the recorder is, who records, what has not been sent, and whether all is on disk.

    parts    (name, value) pairs, left to right
    tells    (sign, text) pairs, right to left: saved, not sent, battery, room
    trouble  why the last save failed; "" draws all the others
    """

    parts = ListProperty([])
    tells = ListProperty([])
    trouble = StringProperty("")
    redraws = ("parts", "tells", "trouble")

    def draw(self) -> None:
        tint = theme.clay if self.trouble else theme.ink
        Color(*(theme.clay if self.trouble else theme.paper))
        Rectangle(pos=self.pos, size=self.size)
        Color(*theme.rule)
        Rectangle(pos=self.pos, size=(self.width, theme.mm(theme.line)))
        pad, x = theme.mm(theme.grid), self.x + theme.mm(theme.grid)
        if self.trouble:
            found = set_type(self.trouble, self.width - 2 * pad, self.height, theme.text, True, least_mm=1.8)
            self.write(found, x, self.center_y - found.height / 2, theme.sheet, "left")
            return
        end = self.right - pad
        for sign, text in self.tells:
            if text:
                found = set_type(text, theme.mm(40), self.height, theme.small)
                end -= found.width
                self.write(found, end, self.center_y - found.height / 2, tint, "left")
                end -= theme.mm(1.2)
            size = theme.mm(3.4)
            end -= size
            signs.draw(sign, end, self.center_y - size / 2, size, tint)
            end -= theme.mm(3.4)
        count = max(1, len(self.parts))
        for at, (name, value) in enumerate(self.parts):
            room = (end - x) / (count - at) if at else (end - x) / count
            if not name:
                found = set_type(value, room, self.height, theme.text, True)
                self.write(found, x, self.center_y - found.height / 2, theme.ink, "left")
                continue
            label = set_type(name, room, self.height / 2, theme.least_text)
            words = set_type(value, room - theme.mm(2), self.height * 0.6, theme.text, True)
            low = self.center_y - (label.height + words.height * 0.96) / 2
            self.write(words, x, low, theme.ink, "left")
            self.write(label, x, low + words.height * 0.94, theme.faint, "left")
            x += max(label.width, words.width) + theme.mm(5)


class Frame(BoxLayout):  # type: ignore[misc]  # kivy has no types
    """The root. `full`: the screen takes the whole window, without the status bar."""

    full = BooleanProperty(False)
    bar_mm = NumericProperty(theme.status)

    def on_touch_down(self, touch: Any) -> bool:
        if not touching.begins(touch):
            return True
        return bool(super().on_touch_down(touch))

    def on_touch_up(self, touch: Any) -> bool:
        touching.ends(touch)
        return bool(super().on_touch_up(touch))


Builder.load_file(str(Path(__file__).with_suffix(".kv")))
