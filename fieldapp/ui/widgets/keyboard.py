"""Big keys for short texts: digits, codes, names. For when no keyboard is at hand and the gloves stay on.

A keyboard that is plugged in writes into the same entry (see View.typed).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.shelves import LETTERS
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.rows import PadRows

LAYOUTS: dict[str, tuple[str, ...]] = {
    "number": ("123A", "456B", "789C", "<0*D"),
    "figure": ("123", "456", "789", "<0."),
    "marks": ("123ABC", "456DEF", "789GHI", "<0-/>"),
    "marks letters": ("JKLMNO", "PQRSTU", "VWXYZ-", "<>"),
    "grouped": ("234", "567", "89<"),
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
    "marks": "marks letters",
    "marks letters": "marks",
    "site": "site digits",
    "site digits": "site",
}


class Keyboard(PadRows):
    """Keys of a layout. `pressed`: told a character, "<" or "*"."""

    def __init__(self, **kwargs: Any) -> None:
        self.pressed: Callable[[str], None] = lambda key: None
        self.layout = ""
        self.sheet = 0
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
        self.layout, self.sheet = layout, 0
        self._lay_out()

    def _lay_out(self) -> None:
        """The keys as they are laid out, or on a narrow screen in as many columns as there is room for, in pages."""
        rows = LAYOUTS[self.layout]
        step = theme.target + theme.gap
        across = max(3, int((theme.in_mm(self.width) + theme.gap + 0.05) // step))
        if across >= max(len(row) for row in rows):
            self.show([[self._key(key) for key in row] for row in rows])
            return
        down = max(2, int((theme.in_mm(self.height) + theme.gap + 0.05) // step))
        keys = [self._key(key, even=True) for row in rows for key in row]
        each = across * down
        if len(keys) > each:
            pages = -(-len(keys) // (each - 1))
            self.sheet %= pages
            turn = Choice("key.turn", say("page", n=self.sheet + 1, of=pages), sign="after")
            keys = [*keys[self.sheet * (each - 1) :][: each - 1], turn]
        self.show(in_rows(keys, across))

    def on_size(self, *_: Any) -> None:
        """Another width may want other columns."""
        if self.layout:
            self._lay_out()

    def _key(self, key: str, even: bool = False) -> Choice:
        if key == "<":
            return Choice("key.rub", "", sign="rub")
        if key == ".":
            return Choice("key..", ".")
        if key == "*":
            return Choice("key.clear", say("key.clear"))
        if key == "_":
            return Choice("key.space", say("key.space"), weight=1 if even else 4)
        if key == ">":
            letters = self.layout in ("site", "address letters", "marks letters")
            return Choice("key.page", say("key.digits" if letters else "key.letters"), weight=1 if even else 2)
        return Choice(f"key.{key}", LETTERS[key].upper() if self.layout == "grouped" else key)

    def _heard(self, ident: str) -> None:
        key = ident.removeprefix("key.")
        if key == "turn":
            self.sheet += 1
            self._lay_out()
            return
        if key == "page":
            self._turn(_OTHER_PAGE[self.layout])
            return
        self.pressed({"rub": "<", "clear": "*", "space": " "}.get(key, key))
