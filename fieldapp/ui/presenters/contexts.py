"""The contexts of the site as tiles, and making one."""

from __future__ import annotations

from fieldapp.domain import human
from fieldapp.domain.ids import context_id
from fieldapp.records.fold import Record
from fieldapp.records.standing import is_released
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.keyed import DIGITS, Entry
from fieldapp.ui.presenters.licensed import is_licensed
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
        if is_licensed(self.desk):
            # There a burial is what is dug for: its conditions say what is kept off.
            return ""
        found: dict[str, list[str]] = {"closed": [], "waits": []}
        for hold in self.desk.notebook.records("hold"):
            docket = self.desk.record(str(hold.value("docket") or ""))
            kind = self._closes(hold, docket)
            if not kind:
                continue
            context = self.desk.record(str(hold.value("context") or ""))
            where = say("contexts.where", number=context.value("number")) if context is not None else ""
            zone = str(hold.value("zone") or "")
            place = ", ".join(part for part in (where, zone) if part) or str(hold.value("docket") or "")
            found[kind].append(place)
        return " ".join(_told(kind, list(dict.fromkeys(places))) for kind, places in found.items() if places)

    def _closes(self, hold: Record, docket: Record | None) -> str:
        """Whether a hold closes ground: "closed" while it may be human, "waits" where it was assessed as not human and
        the written word to go on has not come; "" where it closes none."""
        if human.STOP not in hold.heads.get("tier", {}).values():
            return ""
        if docket is None:
            return "closed"
        if is_released(hold, docket, self.desk.authority()):
            return ""
        stands = self.desk.standing(docket)
        if stands in (human.STOP, human.HUMAN):
            return "closed"
        lifted = set(hold.heads.get("in_place", {}).values()) == {False}
        return "waits" if stands == human.NON_HUMAN and not lifted else ""

    def open(self, number: str) -> None:
        """Goes to a context."""
        context = context_id(self.desk.site, number)
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
        return bool(number) and self.desk.record(context_id(self.desk.site, number)) is not None

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


def _told(kind: str, places: list[str]) -> str:
    told = "; ".join(places[:6]) + (" …" if len(places) > 6 else "")
    return say("contexts.closed", places=told) if kind == "closed" else say("contexts.waits", places=told)
