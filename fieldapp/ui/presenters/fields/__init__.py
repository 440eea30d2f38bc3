"""The fields of the second page of the docket form, one module each: what is shown, and what a tap does. Pure.

A module has `applies(form)`, `value(form)` (what its tab says), `body(form, room)` and `tap(form, key)`. Where within
a field the recorder is stands in the form's `shelf`, so that a tablet that dies opens there again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

from fieldapp.domain.plates import Plate
from fieldapp.domain.rules.findings import number as figure
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.texts import say

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form


class Room(NamedTuple):
    """How many pads of full size there is room for."""

    across: int
    down: int


@dataclass(frozen=True)
class Body:
    """What a field shows.

    rows     pads; one without an ident is a word among them
    asks     a line over them
    definition  what is asked for, in small type
    keys     the keypad's layout, "" for none;  typed: what has been entered by it
    plate    a picture beside; `marked` are its portions in question
    way      "across", "along" or "through": callipers are shown over `marked`
    text     the text box is shown with it, None for none
    touched  a tap on the plate is a tap of this field
    pins     (x, y) of marks on the plate, as shares of its width and height
    """

    rows: list[list[Choice]]
    asks: str = ""
    definition: str = ""
    keys: str = ""
    typed: str = ""
    text: str | None = None
    plate: Plate | None = None
    marked: tuple[str, ...] = ()
    way: str = ""
    touched: bool = False
    pins: tuple[tuple[float, float], ...] = ()


class Field(Protocol):
    """A module of this package."""

    def applies(self, form: Form) -> bool:
        """Whether there is anything to record."""

    def value(self, form: Form) -> str:
        """What it holds, in few words; "" while it is empty."""

    def body(self, form: Form, room: Room) -> Body:
        """What is shown."""

    def tap(self, form: Form, key: str) -> None:
        """A pad was tapped; `key` is its ident without the field's name."""


def take_pad(name: str) -> Choice:
    """The pad that takes what was typed."""
    return Choice(f"{name}.key.=", say("key.take"), sign="tick", tone="primary")


def paged(name: str, found: list[Choice], fixed: list[Choice], room: Room, at: int) -> list[list[Choice]]:
    """Rows of one page of `found`, with `fixed` behind them on every page. Ident of the turn: `<name>.page.<n>`."""
    places = room.across * room.down
    if len(found) + len(fixed) > places:
        each = max(1, places - len(fixed) - 1)
        pages = -(-len(found) // each)
        at %= pages
        turn = Choice(f"{name}.page.{at + 1}", say("page", n=at + 1, of=pages), sign="down")
        found, fixed = found[at * each :][:each], [*fixed, turn]
    flat = [*found, *fixed]
    # Empty places keep the grid: a pad stands under the one above it.
    flat += [Choice("", "")] * (-len(flat) % room.across if len(flat) > room.across else 0)
    return in_rows(flat, room.across)


def number_of(text: str) -> float | None:
    """The number typed on a keypad, None for none; a comma is a point."""
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        return None
    return found if abs(found) < 1e9 else None


def shown(number: object) -> str:
    """A number as it is read, "" for none."""
    found = figure(number)
    return "" if found is None else f"{found:.10g}"
