"""The look in numbers: colours, sizes in millimetres, type sizes. Every screen reads these and nothing else.

Not for drawing, and free of kivy, so that the numbers can be checked without a window. Millimetres are turned into
pixels by the panel's own pixels per inch: a system's density bucket is up to a tenth off.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

Colour = tuple[float, float, float, float]

DESKTOP_PPI = 189.0
"""Of an 8-inch panel of 1280 by 800 pixels, which is what a desktop window stands in for."""


def colour(code: str, alpha: float = 1.0) -> Colour:
    """The colour written `#rrggbb`, as four numbers from 0 to 1."""
    return int(code[1:3], 16) / 255, int(code[3:5], 16) / 255, int(code[5:7], 16) / 255, alpha


def mixed(one: Colour, other: Colour, share: float) -> Colour:
    """`one` with `share` (0 to 1) of `other` in it."""
    red, green, blue, alpha = (a + (b - a) * share for a, b in zip(one, other, strict=True))
    return red, green, blue, alpha


def luminance(of: Colour) -> float:
    """Relative luminance, 0 to 1 (WCAG 2.2, definition of relative luminance)."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in of[:3])
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@dataclass(frozen=True, slots=True)
class Tone:
    """How something that can be pressed, or a note, is coloured: ground, words, line round it."""

    ground: Colour
    words: Colour
    line: Colour


PALETTES: dict[str, dict[str, Colour]] = {
    "day": {
        "paper": colour("#F4EFE3"),
        "sheet": colour("#FFFDF7"),
        "ink": colour("#1F1B16"),
        "faint": colour("#51483B"),
        "rule": colour("#8A7F6E"),
        "accent": colour("#0B4A50"),
        "accent_pressed": colour("#06292D"),
        "clay": colour("#802F0D"),
        "clay_ground": colour("#F9E7DA"),
        "bone": colour("#8A6D4B"),
    },
    "dusk": {
        "paper": colour("#15181A"),
        "sheet": colour("#1F2427"),
        "ink": colour("#F1EADB"),
        "faint": colour("#CFC5B3"),
        "rule": colour("#8E8574"),
        "accent": colour("#9AD6DA"),
        "accent_pressed": colour("#D3F0F2"),
        "clay": colour("#FFB68C"),
        "clay_ground": colour("#3B2316"),
        "bone": colour("#A88A60"),
    },
}
"""Paper and ink for the day; for the evening by lamp the same turned round. Hazard and black are the same in both."""


class Theme:
    """Tokens. `ppi` is set once, before the first widget is made; `wear` before a screen is made."""

    paper: Colour
    sheet: Colour
    ink: Colour
    faint: Colour
    rule: Colour
    accent: Colour
    accent_pressed: Colour
    clay: Colour
    clay_ground: Colour
    bone: Colour
    hazard = colour("#F6C700")
    black = colour("#000000")

    tones: dict[str, Tone]

    # Millimetres.
    grid = 4.0
    gap = 3.0
    target = 15.0
    glove_target = 20.0
    least_target = 12.0
    least_portion = 9.0
    status = 10.0
    line = 0.35
    edge = 0.5
    corner = 1.8
    actions = 15.0
    strip = 13.0

    # Millimetres, em.
    small = 2.5
    text = 2.9
    big = 3.6
    title = 5.0
    least_text = 2.3

    pad = target
    """The least side of what is chosen from in a body; gloves want more of it, and get it where there is the room."""

    left_handed = False
    """The actions stand at the left, for a hand that holds the bone in the right."""

    def __init__(self, ppi: float = DESKTOP_PPI) -> None:
        self.ppi = ppi
        self.wear()

    def wear(self, palette: str = "day", *, gloves: bool = False, left_handed: bool = False) -> None:
        """Takes a palette, and buttons and sides for the hand in hand. Widgets that are there keep what they had."""
        for name, value in PALETTES[palette].items():
            setattr(self, name, value)
        self.pad = self.glove_target if gloves else self.target
        self.left_handed = left_handed
        self.tones = {
            "plain": Tone(self.sheet, self.accent, self.accent),
            "chosen": Tone(self.accent, self.sheet, self.accent),
            "primary": Tone(self.accent, self.sheet, self.accent),
            "pressed": Tone(self.accent_pressed, self.sheet, self.accent_pressed),
            "off": Tone(self.paper, self.faint, self.rule),
            "clay": Tone(self.clay_ground, self.clay, self.clay),
            "hazard": Tone(self.hazard, self.black, self.black),
            "black": Tone(self.black, self.hazard, self.black),
            "words": Tone(self.paper, self.ink, self.paper),
            "quiet": Tone(self.paper, self.faint, self.paper),
            "sheet": Tone(self.sheet, self.ink, self.rule),
        }

    def mm(self, millimetres: float) -> float:
        """Pixels, whole ones, never fewer than asked for: a target must not end up a pixel short."""
        return float(ceil(millimetres * self.ppi / 25.4 - 1e-6))

    def in_mm(self, pixels: float) -> float:
        """Millimetres."""
        return pixels * 25.4 / self.ppi


theme = Theme()
"""The one in use."""
