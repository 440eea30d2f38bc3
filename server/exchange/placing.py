"""Where imported rows lie: their contexts and bags, those that are there and what makes the others.

A context that is there is left as it is, and a row that says otherwise of it says so in the report; nothing goes into
a locked one. How a piece was got is said by bags alone, so rows that tell it and name no bag get bags made for them.
Not here: writing (loading).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import Connection

from fieldapp.domain.ids import context_number
from fieldapp.records.fold import Record
from server.exchange.mapping import Mapped, Miss
from server.ledger import asking
from server.ledger.folding import records_of
from server.ledger.ledger import Edit

BAG = 500
"""Rows of one bag that no table has named."""

Id = Callable[[str], str]
"""The id of a record that a file brings, by a name of its own (mapping.Mapper.id)."""

_OF_CONTEXT = {"trench": "trench", "phase": "phase", "grave_like": "grave_like", "context_type": "type"}
"""{slot: path of the context}."""
_OF_BAG = ("recovery", "mesh_mm")


class Places:
    """The contexts and bags that the rows of a batch lie in."""

    def __init__(self, connection: Connection, rows: Sequence[Mapped], site: str, new_id: Id, prefix: str) -> None:
        self._id, self._prefix = new_id, prefix
        self._context_of: dict[str, Edit] = {}
        self._bag_of: dict[str, Edit] = {}
        made: dict[str, Edit] = {}
        self._called = asking.numbered(connection, site, {number for one in rows if (number := _number(one))})
        for one in rows:
            for edit, of in ((self._context(one), self._context_of), (self._bag(one), self._bag_of)):
                if edit is not None:
                    of[one.docket] = made.setdefault(edit.record, edit)
        self._there = {one.id: one for one in records_of(connection, sorted(made))}

    def _context(self, one: Mapped) -> Edit | None:
        number = _number(one)
        if not number:
            return None
        values: dict[str, Any] = {"number": number}
        values |= {path: one.place[slot] for slot, path in _OF_CONTEXT.items() if slot in one.place}
        return Edit("context", self._called[number], values, {})

    def _bag(self, one: Mapped) -> Edit | None:
        number = _number(one)
        own: dict[str, Any] = {name: one.place[name] for name in _OF_BAG if name in one.place}
        if not number or not ("bag" in one.place or own):
            return None
        # A table that names no bag gets one for each way in each context, of no more rows than a bag holds, since the
        # rules look at all that lies in it.
        words = (self._prefix, number, own.get("recovery", ""), one.row.number // BAG + 1)
        label = str(one.place.get("bag") or " ".join(filter(None, map(str, words))))
        bag = self._id(f"bag/{context_number(number)}/{label}/{own}")
        return Edit("bag", bag, {"label": label, "context": self._called[number], **own}, {})

    def _differs(self, one: Mapped) -> None:
        """Says of a row what its context is said to be otherwise: here, or by an earlier row."""
        context = self._context_of.get(one.docket)
        if context is None:
            return
        known = self._there.get(context.record)
        for slot, path in _OF_CONTEXT.items():
            said = context.set.get(path) if known is None else known.value(path)
            if slot in one.place and said != one.place[slot]:
                told = "-" if said is None else str(said)
                one.misses.append(Miss("", str(one.place[slot]), "context_says", {"path": path, "there": told}))

    def takes(self, one: Mapped) -> bool:
        """Whether a row may go where it lies. One of a locked context is left, and says so; any other says what its
        context has otherwise."""
        edit = self._context_of.get(one.docket)
        context = self._there.get(edit.record) if edit is not None else None
        if context is not None and _locked(context):
            one.left = "locked"
            one.misses.append(Miss("", str(one.place.get("context")), "locked"))
        else:
            self._differs(one)
        return not one.left

    def edits(self, rows: Sequence[Mapped]) -> list[Edit]:
        """What makes the contexts and bags of these rows that are not there."""
        found = [of[one.docket] for of in (self._context_of, self._bag_of) for one in rows if one.docket in of]
        return list({edit.record: edit for edit in found if edit.record not in self._there}.values())

    def of(self, one: Mapped) -> dict[str, str]:
        """What a docket says of where it lies."""
        kinds = (("bag", self._bag_of), ("context", self._context_of))
        return next(({kind: of[one.docket].record} for kind, of in kinds if one.docket in of), {})


def _number(one: Mapped) -> str:
    """The number of the context that a row names, "" for none."""
    return str(one.place.get("context", ""))


def _locked(context: Record) -> bool:
    return any(value is True for value in context.heads.get("locked", {}).values())
