"""One context: its bags, and its dockets as rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.samples import amount
from fieldapp.records.fold import Record
from fieldapp.ui.presenters import ground
from fieldapp.ui.presenters.choices import Choice, Row
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say, word

RECOVERY = (("hand", None), ("sieve", 10.0), ("sieve", 4.0), ("sieve", 1.0))
"""How a bag's bones were got: by hand, or on a mesh of so many millimetres."""

_STANDING_SIGNS = {human.HUMAN: "stop", human.STOP: "stop", human.QUERY: "query", human.NOT_EXCLUDED: "query"}


class Context:
    """The context screen."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.making_bag = False
        self._seen: tuple[str | None, int, Mapping[str, Record]] | None = None
        self._rows: list[Row] = []
        self._wanted = 0
        self._held: list[str] = []
        self._waits: list[str] = []

    @property
    def record(self) -> Record | None:
        """The context's record."""
        return self.desk.record(self.desk.context or "")

    def title(self) -> str:
        """Its number and what it is."""
        record = self.record
        if record is None:
            return ""
        return say("context_title", number=record.value("number"), kind=word("context_type", record.value("type")))

    def grave_like(self) -> bool:
        """Whether it may be a grave, so that caution is said on its screen."""
        record = self.record
        return record is not None and (record.value("grave_like") == "yes" or record.value("type") == "grave")

    def held(self) -> list[str]:
        """The labels of the bones here that stand as a stop, or as human: nothing more is dug here without the word."""
        self._look()
        return self._held

    def waits(self) -> list[str]:
        """The labels of the bones here that were assessed as not human while the written word to dig has not come."""
        self._look()
        return self._waits

    def bags(self) -> list[Choice]:
        """One button a bag, newest first, and one for bones without a bag."""
        found = []
        for one in reversed(self.desk.bags(self.desk.context or "")):
            found.append(
                Choice(
                    f"bag.{one.value('label')}",
                    short_label(one.value("label")),
                    note=recovery_words(one),
                    chosen=one.id == self.desk.bag,
                )
            )
        return found

    def new_bags(self) -> list[Choice]:
        """The ways in which a new bag's bones were got."""
        return [
            Choice(
                f"recovery.{way}.{mesh or 0:g}", word("recovery", way), note=say("mesh", mm=f"{mesh:g}") if mesh else ""
            )
            for way, mesh in RECOVERY
        ]

    def choose_bag(self, label: str) -> None:
        """Takes a bag; a second tap on it lets it go."""
        for one in self.desk.bags(self.desk.context or ""):
            if one.value("label") == label:
                self.desk.go(bag=one.id)

    def make_bag(self, way: str, mesh: float) -> None:
        """Makes a bag here and takes it."""
        self.making_bag = False
        self.desk.go(bag=self.desk.make_bag(self.desk.context or "", way, mesh or None))

    def rows(self) -> list[Row]:
        """The dockets, newest first."""
        self._look()
        return self._rows

    def problem_count(self) -> int:
        """How many dockets here have something to look at."""
        self._look()
        return self._wanted

    def _look(self) -> None:
        """Goes through the context once, and again only after something was saved or came in."""
        now = self.desk.context, self.desk.changes, self.desk.hiding()
        if now == self._seen:
            return
        self._seen = now
        dockets = self.desk.dockets(self.desk.context or "")
        self._rows = [docket_row(self.desk, one) for one in reversed(dockets)]
        self._held = [
            short_label(one.value("label"))
            for one in dockets
            if self.desk.is_raised(one) and self.desk.standing(one) in (human.STOP, human.HUMAN)
        ]
        self._waits = [
            short_label(one.value("label"))
            for one in dockets
            if self.desk.standing(one) == human.NON_HUMAN and ground.waits(self.desk, one)
        ]
        self._wanted = sum(row.wanted for row in self._rows)


def standing_sign(standing: str) -> str:
    """The sign of where a docket stands on the human question, "" where it needs none."""
    return _STANDING_SIGNS.get(standing, "")


def short_label(label: Any) -> str:
    """A label without its site code, as it is read out on one site."""
    return str(label or "").partition(" ")[2] or str(label or "")


def recovery_words(bag: Record) -> str:
    """How a bag's bones were got."""
    mesh = amount(bag.value("mesh_mm"))
    way = word("recovery", bag.value("recovery"))
    return way if mesh is None else f"{way} {say('mesh', mm=f'{mesh:g}')}"


def what_it_is(reading: Any, material: Any) -> str:
    """A reading in few words: cattle tibia; the material where nothing was read."""
    if not isinstance(reading, Mapping):
        return word("material", material)
    cf = say("cf_short") + " " if reading.get("certainty") == "cf" else ""
    taxon = word("taxon", reading.get("taxon"))
    parts = [cf + taxon if taxon else "", word("element", reading.get("element"))]
    return " ".join(part for part in parts if part) or word("material", material)


def with_count(text: str, docket: Record) -> str:
    """What it is, and how many where there are several in one docket."""
    count = docket.value("count")
    return f"{text} {say('times', n=count)}" if isinstance(count, int) and count > 1 else text


def docket_row(desk: Desk, docket: Record) -> Row:
    """A docket as a line of a list, with the signs of what wants a look."""
    reading = docket.value("reading")
    marks: list[tuple[str, str]] = []
    standing = desk.standing(docket)
    if sign := standing_sign(standing):
        marks.append((sign, word("standing", standing)))
    if docket.id in desk.hiding():
        label = docket.value("label")
        return Row(f"docket.{label}", short_label(label), say("second.hidden"), signs=tuple(marks))
    if docket.disagreements():
        marks.append(("differ", say("disagreement")))
    if docket.value("ask"):
        marks.append(("query", say("ask_value")))
    found = desk.problems(docket)
    worst = next((level for level in ("impossible", "check") if any(one.level == level for one in found)), "")
    if worst:
        marks.append((worst, word("level", worst)))
    side = word("side", reading.get("side")) if isinstance(reading, Mapping) else ""
    return Row(
        ident=f"docket.{docket.value('label')}",
        title=short_label(docket.value("label")),
        text=with_count(what_it_is(reading, docket.value("material")), docket),
        side=side,
        signs=tuple(marks),
        wanted=bool(worst),
    )
