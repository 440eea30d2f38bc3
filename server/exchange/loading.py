"""Mapped rows into the ledger: batch by batch, each a transaction, each row once however often it is asked for.

Every id follows from the site, the file's digest and the row, so a second run writes nothing again and one that was cut
off goes on. The rules look at a batch within its own transaction: what they raise, a bone read as human before all, is
on hold from the first moment at which anybody can see it. A context or bag that is there is left as it is; nothing goes
into one whose analysis is finished (locked). Not here: what a row means (mapping), the report.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from sqlalchemy import Connection, select

from fieldapp.domain import human
from fieldapp.domain.ids import context_id, context_number, hold_id
from fieldapp.records.fold import Record
from fieldapp.records.raising import hold_write
from server.exchange.mapping import Mapped, Miss
from server.ledger import Ledger, holds, tables
from server.ledger.database import among
from server.ledger.folding import records_of
from server.ledger.ledger import Edit
from server.ledger.meta import names

BATCH = 250
BAG = 500
"""Rows of one bag that no table has named."""
IMPORT = {"person": "", "name": "import", "role": "recorder"}
"""`by` of what a table brings: read by nobody here."""

Id = Callable[[str], str]
"""The id of a record that a file brings, by a name of its own (mapping.Mapper.id)."""


@dataclass
class Loaded:
    """What became of rows. `left`: rows of which no docket was made; `raised`: labels of dockets that are on hold."""

    rows: int = 0
    written: int = 0
    there: int = 0
    left: int = 0
    contexts: int = 0
    bags: int = 0
    raised: list[str] = field(default_factory=list)
    raised_n: int = 0

    def add(self, other: Loaded) -> None:
        """Takes in what became of some more. Of many labels the first hundred are kept."""
        for name in ("rows", "written", "there", "left", "contexts", "bags", "raised_n"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.raised += other.raised[: 100 - len(self.raised)]


_OF_CONTEXT = ("trench", "phase", "grave_like")


class Loader:
    """Writes rows. `prefix`: what labels of bags begin with that no column names; `begun`: the fields of the line in
    the log, which is written with the first batch."""

    def __init__(self, ledger: Ledger, new_id: Id, prefix: str, begun: Mapping[str, Any]) -> None:
        self._ledger, self._id, self._prefix, self._begun = ledger, new_id, prefix, dict(begun)
        self.loaded = Loaded()

    def load(self, rows: Iterable[Mapped]) -> Iterator[list[Mapped]]:
        """Each batch, once it is on the disk."""
        rest = iter(rows)
        while batch := list(islice(rest, BATCH)):
            with self._ledger.database.writing() as connection:
                done = self._batch(connection, batch)
            self.loaded.add(done)
            yield batch

    def _batch(self, connection: Connection, batch: Sequence[Mapped]) -> Loaded:
        done = Loaded(rows=len(batch))
        column = tables.record.c
        made = [one for one in batch if not one.left]
        there = set(connection.scalars(select(column.id).where(among(connection, column.id, [o.docket for o in made]))))
        fresh = [one for one in made if one.docket not in there]
        done.there, done.left = len(made) - len(fresh), len(batch) - len(made)
        site = names(connection).site
        places = _Places(connection, fresh, site, self._id, self._prefix)
        free = [one for one in fresh if not places.is_locked(one)]
        done.left += len(fresh) - len(free)
        edits = [*places.edits(free)]
        done.contexts = sum(one.kind == "context" for one in edits)
        done.bags = len(edits) - done.contexts
        edits += [Edit("docket", one.docket, {**one.values, **places.of(one), "label": one.label}, {}) for one in free]
        if not edits:
            return done
        if self._begun:
            self._ledger.note_in(connection, "import_begun", "cabin", self._begun)
            self._begun = {}
        self._ledger.write_many_in(connection, edits, IMPORT)
        self._ledger.check_in(connection, [one.record for one in edits])
        raised = self._hold(connection, free)
        done.written, done.raised, done.raised_n = len(free), [one.label for one in raised][:100], len(raised)
        return done

    def _hold(self, connection: Connection, made: Sequence[Mapped]) -> list[Mapped]:
        """Opens the holds of those that are raised now."""
        column = tables.record.c
        here = among(connection, column.id, [one.docket for one in made])
        rows = connection.execute(select(column.id, column.answer).where(here, column.answer.in_(human.RAISED)))
        answers = {row.id: row.answer for row in rows}
        raised = [one for one in made if one.docket in answers]
        if not raised:
            return []
        contexts = holds.contexts_of(connection, records_of(connection, [one.docket for one in raised]))
        edits = []
        for one in raised:
            # A stop is for bone in the ground: what stands in a table has been lifted.
            written = hold_write(None, one.docket, contexts.get(one.docket, ""), "query", "", lifted=False)
            if written is not None:
                edits.append(Edit("hold", hold_id(one.docket), written.set, written.over))
        self._ledger.write_many_in(connection, edits, IMPORT)
        return raised


class _Places:
    """The contexts and bags that the rows of a batch lie in: those that are there, and what makes the others."""

    def __init__(self, connection: Connection, rows: Sequence[Mapped], site: str, new_id: Id, prefix: str) -> None:
        self._prefix = prefix
        self._contexts: dict[str, tuple[str, dict[str, Any]]] = {}
        self._bags: dict[str, tuple[str, dict[str, Any]]] = {}
        self._wanted: dict[str, dict[str, Any]] = {}
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
            self._contexts.setdefault(_key(number), (context_id(site, number), values))
        own: dict[str, Any] = {name: place[name] for name in ("recovery", "mesh_mm") if name in place}
        if number and ("bag" in place or own):
            # How a piece was got is said of its bag: a table that names none gets one for each way in each context, of
            # no more rows than a bag holds, since the rules look at all that lies in it.
            own_words = (self._prefix, number, place.get("recovery", ""), one.row.number // BAG + 1)
            told = str(place.get("bag") or " ".join(filter(None, map(str, own_words))))
            key = f"{_key(number)}/{told}/{own}"
            context = self._contexts[_key(number)][0]
            self._bags.setdefault(key, (new_id(f"bag/{key}"), {"label": told, "context": context, **own}))
            one.place["_bag"] = key

    def _differs(self, one: Mapped) -> None:
        known = self._there.get(self._contexts.get(_key(str(one.place.get("context", ""))), ("", {}))[0])
        for name in _OF_CONTEXT:
            said = known.value(name) if known is not None else None
            if name in one.place and said is not None and said != one.place[name]:
                one.misses.append(Miss("", str(one.place[name]), "context_says", {"path": name, "there": str(said)}))

    def is_locked(self, one: Mapped) -> bool:
        """Whether a row would go into a locked context: then it is left, and says so."""
        context = self._there.get(self._contexts.get(_key(str(one.place.get("context", ""))), ("", {}))[0])
        if context is None or not _locked(context):
            return False
        one.left = "locked"
        one.misses.append(Miss("", str(one.place.get("context")), "locked"))
        return True

    def edits(self, rows: Iterable[Mapped]) -> Iterator[Edit]:
        """What makes the contexts and bags of these rows that are not there."""
        made: set[str] = set()
        for one in rows:
            context = self._contexts.get(_key(str(one.place.get("context", ""))))
            for kind, found in (("context", context), ("bag", self._bags.get(one.place.get("_bag", "")))):
                if found is not None and found[0] not in self._there and found[0] not in made:
                    made.add(found[0])
                    yield Edit(kind, found[0], found[1], {})

    def of(self, one: Mapped) -> dict[str, Any]:
        """What a docket says of where it lies."""
        if (bag := self._bags.get(one.place.get("_bag", ""))) is not None:
            return {"bag": bag[0]}
        context = self._contexts.get(_key(str(one.place.get("context", ""))))
        return {"context": context[0]} if context is not None else {}


def _key(number: str) -> str:
    return context_number(number)


def _locked(context: Record) -> bool:
    return any(value is True for value in context.heads.get("locked", {}).values())
