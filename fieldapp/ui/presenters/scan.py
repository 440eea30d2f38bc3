"""Scanning a context: a quick look through all of it, counted by animal and burning, one tally each at the end. Pure.

Kept tap by tap like every form. Not here: single fragments, which are dockets.
"""

from __future__ import annotations

from typing import Any

from fieldapp.domain import rules
from fieldapp.records.checking import values_of
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.fields import Room, paged
from fieldapp.ui.texts import say, word

DRAFT = "scan"
UNDO = 200
TAXA = (
    "cattle", "sheep_goat", "pig", "horse", "dog", "cat", "red_deer", "hare_rabbit", "fowl", "large_mammal",
    "medium_mammal", "small_mammal", "micro_mammal", "bird", "fish", "amphibian", "unknown",
)  # fmt: skip
BURNING = ("unburnt", "burnt")


class Scan:
    """The counts of one context: {"<taxon>.<burning>": n}."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        kept: Any = desk.draft(DRAFT)
        kept = kept if isinstance(kept, dict) else {}
        self.context = str(kept.get("context") or "")
        self.counts: dict[str, int] = dict(kept.get("counts") or {})
        self.undone: list[str] = list(kept.get("undo") or [])
        self.burning = BURNING[0]
        self.page = 0

    def begin(self) -> bool:
        """Opens the scan of the open context; False while another context's is not saved, which stays open."""
        context = self.desk.context or ""
        if not self.counts:
            self.context = context
        return self.context == context

    def number(self) -> str:
        """The number of the context that is scanned."""
        record = self.desk.record(self.context)
        return str(record.value("number") or "") if record is not None else ""

    def is_of_grave(self) -> bool:
        """Whether what is scanned is like a grave, where bones are recorded one by one."""
        record = self.desk.record(self.context)
        return record is not None and rules.like_a_grave(values_of(record))

    def pads(self, room: Room) -> list[list[Choice]]:
        """One pad an animal, with how many were counted."""
        found = []
        for taxon in TAXA:
            numbers = [self.counts.get(f"{taxon}.{burning}", 0) for burning in BURNING]
            note = say("scan.counts", n=numbers[0], burnt=numbers[1]) if any(numbers) else ""
            found.append(Choice(f"scan.one.{taxon}", word("taxon", taxon), note=note, chosen=any(numbers)))
        return paged("scan", found, [], room, self.page)

    def switches(self) -> list[Choice]:
        """What the next tap counts."""
        return [Choice(f"scan.burning.{key}", word("burning", key), chosen=self.burning == key) for key in BURNING]

    def total(self) -> int:
        """All that was counted."""
        return sum(self.counts.values())

    def count(self, taxon: str) -> None:
        """One more of an animal."""
        key = f"{taxon}.{self.burning}"
        self._keep({**self.counts, key: self.counts.get(key, 0) + 1}, [*self.undone[-(UNDO - 1) :], key])

    def undo(self) -> bool:
        """Takes the last one away. False if there is none."""
        if not self.undone:
            return False
        *before, key = self.undone
        left = {**self.counts, key: self.counts.get(key, 0) - 1}
        self._keep({one: n for one, n in left.items() if n > 0}, before)
        return True

    def _keep(self, counts: dict[str, int], undone: list[str]) -> None:
        self.desk.keep_draft(DRAFT, {"context": self.context, "counts": counts, "undo": undone})
        self.counts, self.undone = counts, undone

    def save(self) -> int:
        """Writes a tally for each count, all as one; how many. The draft goes with it."""
        writes = []
        for key, n in sorted(self.counts.items()):
            taxon, _, burning = key.partition(".")
            values = {
                "label": self.desk.new_label(), "context": self.context, "taxon": taxon, "element": "unidentified_bone",
                "count": n, "burning": burning, "stage": "scan",
            }  # fmt: skip
            if self.desk.bag and self.context == self.desk.context:
                values["bag"] = self.desk.bag
            writes.append(Write(self.desk.new_id(), "tally", values))
        self.desk.save(writes, drop=DRAFT)
        self.counts, self.undone = {}, []
        return len(writes)
