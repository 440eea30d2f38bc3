"""Big keys for short texts: digits, codes, names. For when no keyboard is at hand and the gloves stay on.

A keyboard that is plugged in writes into the same entry (see View.typed).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.texts import say
from fieldapp.ui.widgets.rows import PadRows

LAYOUTS: dict[str, tuple[str, ...]] = {
    "number": ("123A", "456B", "789C", "<0*D"),
    "figure": ("123", "456", "789", "<0."),
    "wear": ("123A", "456B", "789C", "<0DE"),
    "code": ("012345678", "9ABCDEFGH", "JKMNPQRST", "VWXYZ<"),
    "address": ("12345", "67890", ".:-/", "<>"),
    "address letters": ("abcdefghi", "jklmnopqr", "stuvwxyz.", "-<>"),
    "site": ("ABCDEFGHI", "JKLMNOPQR", "STUVWXYZ<", ">"),
    "site digits": ("12345", "67890", "<>"),
    "letter": ("ABCDEFGHI", "JKLMNOPQR", "STUVWXYZ<"),
    "name": ("ABCDEFGHI", "JKLMNOPQR", "STUVWXYZ'", "_-.<"),
}
"""Keys by row. `<` rubs one out, `*` empties, `_` is a space, `>` turns to the other page."""

_SIGNS = {"<": "rub"}
_OTHER_PAGE = {
    "address": "address letters",
    "address letters": "address",
    "site": "site digits",
    "site digits": "site",
}


class Keyboard(PadRows):
    """Keys of a layout. `pressed`: told a character, "<" or "*"."""

    def __init__(self, **kwargs: Any) -> None:
        self.pressed: Callable[[str], None] = lambda key: None
        self.layout = ""
        super().__init__(**kwargs)
        self.heard = self._heard
        self.fill = True
        self.level = "big"

    def lay(self, layout: str) -> None:
        """Shows a layout."""
        if layout in (self.layout, _OTHER_PAGE.get(self.layout)):
            return
        self._turn(layout)

    def put_away(self) -> None:
        """Shows no keys."""
        self.layout = ""
        self.show([])

    def _turn(self, layout: str) -> None:
        self.layout = layout
        self.show([[self._key(key) for key in row] for row in LAYOUTS[layout]])

    def _key(self, key: str) -> Choice:
        if key == "<":
            return Choice("key.rub", "", sign="rub")
        if key == ".":
            return Choice("key..", ".")
        if key == "*":
            return Choice("key.clear", say("key.clear"))
        if key == "_":
            return Choice("key.space", say("key.space"), weight=4)
        if key == ">":
            return Choice(
                "key.page", say("key.digits" if self.layout in ("site", "address letters") else "key.letters"), weight=2
            )
        return Choice(f"key.{key}", key)

    def _heard(self, ident: str) -> None:
        key = ident.removeprefix("key.")
        if key == "page":
            self._turn(_OTHER_PAGE[self.layout])
            return
        self.pressed({"rub": "<", "clear": "*", "space": " "}.get(key, key))
