"""What presenters hand to screens: things that can be pressed, in rows. Plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fieldapp.ui.texts import say


@dataclass(frozen=True, slots=True)
class Choice:
    """Something that can be pressed.

    ident   stable name, `<group>.<key>`, by which tests and the demonstration find it
    text    what it says;  note: a second, smaller line
    chosen  whether it is what the form holds
    tone    a key of the theme's tones, when not chosen
    sign    a drawn sign beside the text (see widgets.signs), or ""
    weight  width against the others of its row
    enabled whether it can be pressed now
    """

    ident: str
    text: str
    note: str = ""
    chosen: bool = False
    tone: str = "plain"
    sign: str = ""
    weight: float = 1.0
    enabled: bool = True


@dataclass(frozen=True, slots=True)
class Row:
    """A line of a list, of fixed height. `signs`: (sign, word) pairs; `wanted`: rules want it looked at."""

    ident: str
    title: str
    text: str
    side: str = ""
    signs: tuple[tuple[str, str], ...] = ()
    wanted: bool = False

    def data(self) -> dict[str, Any]:
        """As a RecycleView wants it."""
        return {
            "ident": self.ident,
            "title": self.title,
            "words": self.text,
            "side": self.side,
            "signs": list(self.signs),
        }


def in_rows(choices: list[Choice], across: int) -> list[list[Choice]]:
    """`choices` in rows of `across`."""
    return [choices[start : start + across] for start in range(0, len(choices), across)]


def refitted(rows: list[list[Choice]], across: int, down: int, page: int = 0) -> list[list[Choice]]:
    """Rows as they are laid out where they fit; else the same choices in rows that do, page by page (`view.more`)."""
    if all(len(row) <= across for row in rows) and len(rows) <= down:
        return rows
    flat = [one for row in rows for one in row if one.ident]
    if -(-len(flat) // across) <= down:
        return in_rows(flat, across)
    each = across * down - 1
    pages = -(-len(flat) // each)
    page %= pages
    turn = Choice("view.more", say("page", n=page + 1, of=pages), sign="down")
    return in_rows([*flat[page * each :][:each], turn], across)
