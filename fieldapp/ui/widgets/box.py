"""A box for free words, typed on the system's keyboard or one that is plugged in. Off the usual path."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kivy.lang import Builder
from kivy.properties import NumericProperty, StringProperty
from kivy.uix.textinput import TextInput

from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import touching


class Box(TextInput):  # type: ignore[misc]  # kivy has no types
    """A text box with an ident, in the theme's type. Only a finger's contact gives it the focus."""

    ident = StringProperty("")
    least_mm = NumericProperty(theme.least_target)

    def on_touch_down(self, touch: Any) -> bool:
        if not touching.is_finger(touch):
            return False
        return bool(super().on_touch_down(touch))


Builder.load_file(str(Path(__file__).with_suffix(".kv")))
