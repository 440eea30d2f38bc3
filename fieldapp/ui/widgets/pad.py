"""The one thing that can be pressed, and the one that only says something. Both set their own type.

A Pad reports a tap when a contact that began on it ends on it and the guard lets it through. It is drawn as a slip
of paper with one corner cut, at least as large as a gloved finger wants; its size is its maker's business.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Rectangle
from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.widget import Widget

from fieldapp.ui.theme import theme
from fieldapp.ui.widgets import signs, touching
from fieldapp.ui.widgets.type import Setting, set_type, texture

PATTERN = 3.4
"""Millimetres of the band along the foot of a portion's pad that shows its state's pattern."""


class Drawn(Widget):  # type: ignore[misc]  # kivy has no types
    """A widget that draws itself anew, once a frame at most, when a property it names in `redraws` changes."""

    redraws: tuple[str, ...] = ()
    """Names of the properties that change the picture."""

    def __init__(self, **kwargs: Any) -> None:
        self._again = Clock.create_trigger(self._draw, -1)
        self.settings: list[tuple[Setting, float, float]] = []
        super().__init__(**kwargs)
        for name in ("pos", "size", *self.redraws):
            self.fbind(name, self._again)
        self._again()

    def _draw(self, *_: Any) -> None:
        self.canvas.clear()
        self.settings = []
        if self.width > 1 and self.height > 1:
            with self.canvas:
                self.draw()

    def draw(self) -> None:
        """Draws into the open canvas."""

    def write(self, setting: Setting, x: float, y: float, tint: Any, halign: str = "center") -> None:
        """Puts set type with its lower left corner at (x, y)."""
        self.settings.append((setting, x, y))
        found = texture(setting.lines, setting.em, setting.bold, halign)
        Color(*tint)
        Rectangle(texture=found, pos=(round(x), round(y)), size=found.size)


class Words(Drawn):
    """A text in its box, wrapped, as large as fits. `level`: a type size of the theme; `ink`: a token's name."""

    text = StringProperty("")
    level = StringProperty("text")
    ink = StringProperty("ink")
    halign = StringProperty("left")
    valign = StringProperty("middle")
    bold = BooleanProperty(False)
    redraws: tuple[str, ...] = ("text", "level", "ink", "halign", "valign", "bold")

    def draw(self) -> None:
        if not self.text:
            return
        found = set_type(self.text, self.width, self.height, getattr(theme, self.level), self.bold)
        x = {"left": self.x, "center": self.center_x - found.width / 2, "right": self.right - found.width}[self.halign]
        y = {"top": self.top - found.height, "middle": self.center_y - found.height / 2, "bottom": self.y}[self.valign]
        self.write(found, x, y, getattr(theme, self.ink), self.halign)


class Pad(Drawn):
    """A button. `ident` names it for good; `note` is a second line; `mark` a word of attention in its corner.

    `foot`: the words stand at its foot, under a picture.
    """

    ident = StringProperty("")
    text = StringProperty("")
    note = StringProperty("")
    mark = StringProperty("")
    tone = StringProperty("plain")
    sign = StringProperty("")
    chosen = BooleanProperty(False)
    pressed = BooleanProperty(False)
    enabled = BooleanProperty(True)
    halign = StringProperty("center")
    level = StringProperty("text")
    note_first = BooleanProperty(False)
    strong = BooleanProperty(False)
    foot = BooleanProperty(False)
    cap_mm = NumericProperty(0.0)
    least_mm = NumericProperty(theme.target)
    redraws: tuple[str, ...] = (
        "text",
        "note",
        "mark",
        "tone",
        "sign",
        "chosen",
        "pressed",
        "enabled",
        "halign",
        "level",
        "note_first",
        "strong",
        "foot",
        "cap_mm",
        "ident",
    )
    __events__ = ("on_tap",)

    def on_tap(self) -> None:
        """A tap; screens bind it."""

    def on_touch_down(self, touch: Any) -> bool:
        if not self.ident or not self.enabled or not touching.is_finger(touch) or not self.collide_point(*touch.pos):
            return False
        touch.grab(self)
        self.pressed = True
        return True

    def on_touch_up(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        self.pressed = False
        if self.collide_point(*touch.pos) and touching.is_tap(touch, self.ident):
            self.dispatch("on_tap")
        return True

    # -- drawing --

    def tone_now(self) -> Any:
        """The tone it is drawn in."""
        if not self.ident:
            return theme.tones["words"]
        if not self.enabled:
            return theme.tones["off"]
        if self.pressed:
            return theme.tones["pressed"]
        return theme.tones["chosen" if self.chosen else self.tone]

    def draw(self) -> None:
        tone = self.tone_now()
        if not self.ident:
            # Without a name it is no button: a word among buttons.
            self._write_all(tone)
            return
        cut = theme.mm(theme.corner)
        edge = theme.mm(theme.edge) if self.enabled else theme.mm(theme.line)
        inset = edge / 2
        x, y, right, top = self.x + inset, self.y + inset, self.right - inset, self.top - inset
        corners = [(x + cut, top), (right, top), (right, y), (x, y), (x, top - cut)]
        Color(*tone.ground)
        signs.polygon(corners)
        Color(*tone.line)
        signs.outline(corners, edge)
        self._write_all(tone)

    def _write_all(self, tone: Any) -> None:
        side = theme.mm(self.side_mm())
        left, wide, low, high = (
            self.x + side,
            self.width - 2 * side,
            self.y + theme.mm(0.8),
            self.height - theme.mm(1.6),
        )
        if self.sign.startswith("portion."):
            band = theme.mm(PATTERN)
            edge = theme.mm(theme.edge)
            state = self.sign.partition(".")[2]
            signs.pattern_band(state, self.x + edge, self.y + edge, self.width - 2 * edge, band)
            low, high = low + band, high - band
        elif self.sign:
            left, wide, high = self._sign(tone, left, wide, low, high)
        if self.mark:
            high -= self._flag()
        if not self.text and not self.note:
            return
        room = high * (0.42 if self.text else 1)
        note_em = theme.least_text if self.note_first else theme.small
        small = set_type(self.note, wide, room, note_em) if self.note else None
        big = None
        if self.text:
            bold = self.chosen or self.strong
            em = min(getattr(theme, self.level), self.cap_mm or 99.0)
            high_left = high - (small.height if small else 0)
            big = set_type(self.text, wide, high_left, em, bold)
            if bold and not big.fits:
                big = set_type(self.text, wide, high_left, em)
        parts = [part for part in ((small, big) if self.note_first else (big, small)) if part is not None]
        y = low + high / 2 + sum(part.height for part in parts) / 2
        if self.foot:
            y = low + sum(part.height for part in parts)
        for part in parts:
            y -= part.height
            x = left if self.halign == "left" else left + (wide - part.width) / 2
            self.write(part, x, y, tone.words, self.halign)

    def side_mm(self) -> float:
        """Millimetres kept free at either side of the text."""
        if self.sign.startswith("portion."):
            return 1.0
        if self.halign != "center" or self.sign:
            return 2.0
        return 1.2 if self.width > theme.mm(16.0) else 0.7

    def own_em_mm(self) -> float:
        """The size at which its text alone would be set, for making a group of pads even."""
        side = 2 * theme.mm(self.side_mm())
        high = self.height - theme.mm(1.6) - (theme.mm(PATTERN + 2.9) if self.sign.startswith("portion.") else 0)
        found = set_type(self.text, self.width - side, high, getattr(theme, self.level))
        return theme.in_mm(found.em)

    def _sign(self, tone: Any, left: float, wide: float, low: float, high: float) -> tuple[float, float, float]:
        """Draws the sign: alone, over the text of a narrow pad, or before it; what is left for the text."""
        size = theme.mm(5.0)
        middle = low + high / 2
        if not self.text and not self.note:
            signs.draw(self.sign, self.x + (self.width - size) / 2, middle - size / 2, size, tone.words)
        elif self.halign == "center" and self.width < theme.mm(23):
            size = theme.mm(3.6)
            signs.draw(self.sign, self.x + (self.width - size) / 2, low + high - size - theme.mm(0.6), size, tone.words)
            high -= size + theme.mm(1.0)
        else:
            signs.draw(self.sign, left, middle - size / 2, size, tone.words)
            shift = size + theme.mm(1.6)
            left, wide = left + shift, wide - shift
        return left, wide, high

    def _flag(self) -> float:
        """The clay corner that says that something about this wants a look; how much height it takes."""
        found = set_type(self.mark, self.width - theme.mm(4), self.height / 3, theme.small, True)
        pad = theme.mm(0.8)
        width, height = found.width + 2 * pad, found.height
        x, y = self.x + self.width - width, self.y + self.height - height
        Color(*theme.clay)
        Rectangle(pos=(x, y), size=(width, height))
        self.write(found, x + pad, y, theme.sheet)
        return height
