"""Where imported rows lie: their contexts and bags, those that are there and what makes the others.

A context that is there is left as it is, and a row that says otherwise of it says so in the report; nothing goes into
a locked one. How a piece was got is said by bags alone, so rows that tell it and name no bag get bags made for them.
Not here: writing (loading).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection

from fieldapp.domain.ids import context_id, context_number
from fieldapp.records.fold import Record
from server.exchange.mapping import Mapped, Miss
from server.ledger.folding import records_of
from server.ledger.ledger import Edit

BAG = 500
"""Rows of one bag that no table has named."""

Id = Callable[[str], str]
"""The id of a record that a file brings, by a name of its own (mapping.Mapper.id)."""

_OF_CONTEXT = ("trench", "phase", "grave_like")


class Places:
    """The contexts and bags that the rows of a batch lie in: those that are there, and what makes the others."""

    def __init__(self, connection: Connection, rows: Sequence[Mapped], site: str, new_id: Id, prefix: str) -> None:
        self._prefix = prefix
        self._contexts: dict[str, tuple[str, dict[str, Any]]] = {}
        self._bags: dict[str, tuple[str, dict[str, Any]]] = {}
        for one in rows:
            self._read(one, site, new_id)
        ids = [key for key, _ in (*self._contexts.values(), *self._bags.values())]
        self._there = {one.id: one for one in records_of(connection, sorted(set(ids)))}
        for one in rows:
            self._differs(one)

    def _read(self, one: Mapped, site: str, new_id: Id) -> None:
        place = one.place
        number = str(place.get("context", ""))
        if number:
            values = {
                "number": number,
                **{name: place[name] for name in ("trench", "phase", "grave_like") if name in place},
            }
            if "context_type" in place:
                values["type"] = place["context_type"]
            self._contexts.setdefault(context_number(number), (context_id(site, number), values))
        own: dict[str, Any] = {name: place[name] for name in ("recovery", "mesh_mm") if name in place}
        if number and ("bag" in place or own):
            # How a piece was got is said of its bag: a table that names none gets one for each way in each context, of
            # no more rows than a bag holds, since the rules look at all that lies in it.
            own_words = (self._prefix, number, place.get("recovery", ""), one.row.number // BAG + 1)
            told = str(place.get("bag") or " ".join(filter(None, map(str, own_words))))
            key = f"{context_number(number)}/{told}/{own}"
            context = self._contexts[context_number(number)][0]
            self._bags.setdefault(key, (new_id(f"bag/{key}"), {"label": told, "context": context, **own}))
            one.place["_bag"] = key

    def _differs(self, one: Mapped) -> None:
        known = self._there.get(self._contexts.get(context_number(str(one.place.get("context", ""))), ("", {}))[0])
        for name in _OF_CONTEXT:
            said = known.value(name) if known is not None else None
            if name in one.place and said is not None and said != one.place[name]:
                one.misses.append(Miss("", str(one.place[name]), "context_says", {"path": name, "there": str(said)}))

    def is_locked(self, one: Mapped) -> bool:
        """Whether a row would go into a locked context: then it is left, and says so."""
        context = self._there.get(self._contexts.get(context_number(str(one.place.get("context", ""))), ("", {}))[0])
        if context is None or not _locked(context):
            return False
        one.left = "locked"
        one.misses.append(Miss("", str(one.place.get("context")), "locked"))
        return True

    def edits(self, rows: Iterable[Mapped]) -> Iterator[Edit]:
        """What makes the contexts and bags of these rows that are not there."""
        made: set[str] = set()
        for one in rows:
            context = self._contexts.get(context_number(str(one.place.get("context", ""))))
            for kind, found in (("context", context), ("bag", self._bags.get(one.place.get("_bag", "")))):
                if found is not None and found[0] not in self._there and found[0] not in made:
                    made.add(found[0])
                    yield Edit(kind, found[0], found[1], {})

    def of(self, one: Mapped) -> dict[str, Any]:
        """What a docket says of where it lies."""
        if (bag := self._bags.get(one.place.get("_bag", ""))) is not None:
            return {"bag": bag[0]}
        context = self._contexts.get(context_number(str(one.place.get("context", ""))))
        return {"context": context[0]} if context is not None else {}


def _locked(context: Record) -> bool:
    return any(value is True for value in context.heads.get("locked", {}).values())
