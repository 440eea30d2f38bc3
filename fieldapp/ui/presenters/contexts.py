"""The contexts of the site as tiles, and making one."""

from __future__ import annotations

from fieldapp.ui.presenters import ground
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.keyed import DIGITS, Entry
from fieldapp.ui.texts import say, word

TYPES = ("layer", "fill", "cut", "grave", "cremation_deposit", "pit_fill", "ditch_fill", "floor", "other")
GRAVE_LIKE = ("yes", "no", "unknown")


class Contexts:
    """The contexts screen. `making`: the form for a new context is open."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.making = False
        self.number = Entry(DIGITS + "ABCDEF", 8)
        self.type = ""
        self.grave_like = ""

    def tiles(self) -> list[Choice]:
        """One tile a context."""
        found = []
        for one in self.desk.contexts():
            dockets = self.desk.dockets(one.id)
            note = say("tile", kind=word("context_type", one.value("type")), n=len(dockets))
            holds = any(self.desk.standing(docket) in ("human", "stop", "query") for docket in dockets)
            found.append(
                Choice(
                    f"context.{one.value('number')}",
                    str(one.value("number") or ""),
                    note=note,
                    sign="hold" if holds else "",
                    chosen=one.id == self.desk.context,
                )
            )
        return found

    def closed(self) -> str:
        """What is closed by bone in the ground that may be human, for whoever opens the site in the morning."""
        return ground.closed(self.desk)

    def open(self, number: str) -> None:
        """Goes to a context."""
        context = self.desk.context_called(number)
        if context != self.desk.context:
            bags = self.desk.bags(context)
            self.desk.go(context=context, bag=bags[-1].id if bags else None)

    def begin(self) -> None:
        """Opens the form for a new context."""
        self.making, self.type, self.grave_like = True, "", ""
        self.number.clear()

    def known(self) -> bool:
        """Whether the number is a context's already: making it again adds to that one."""
        number = self.number.text
        return bool(number) and self.desk.record(self.desk.context_called(number)) is not None

    def choose_type(self, key: str) -> None:
        """Says what the context is. A grave is grave-like unless somebody says otherwise."""
        self.type = key
        if key in ("grave", "cremation_deposit"):
            self.grave_like = "yes"

    def ready(self) -> str:
        """What is still wanted, as a key of a text; "" when it can be made."""
        if not self.number.text:
            return "need_number"
        return "" if self.type and self.grave_like else ("need_type" if not self.type else "need_grave")

    def make(self) -> bool:
        """Makes the context and goes there. False while something is wanted."""
        if self.ready():
            return False
        context = self.desk.make_context(self.number.text, self.type, self.grave_like)
        self.making = False
        bags = self.desk.bags(context)
        self.desk.go(context=context, bag=bags[-1].id if bags else None)
        return True
