"""Mapped rows into the ledger: batch by batch, each a transaction, each row once however often it is asked for.

Every id follows from the site, the file's digest and the row, so a second run writes nothing again and one that was cut
off goes on. The rules look at a batch within its own transaction: what they raise, a bone read as human before all, is
on hold from the first moment at which anybody can see it. A context or bag that is there is left as it is; nothing goes
into one whose analysis is finished (locked). Not here: what a row means (mapping), the report.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from sqlalchemy import Connection, select

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records import sealing
from fieldapp.records.changes import canonical, kept
from fieldapp.records.fold import Record
from fieldapp.records.raising import hold_write
from server.exchange.mapping import Mapped, Miss
from server.exchange.maps import Map
from server.exchange.placing import Id, Places
from server.ledger import Ledger, checks, holds, tables
from server.ledger.database import among
from server.ledger.folding import records_of
from server.ledger.ledger import RULES, Edit
from server.ledger.meta import names

BATCH = 250
IMPORT = {"person": "", "name": "import", "role": "recorder"}
"""`by` of what a table brings: read by nobody here."""
_NOBODY = (IMPORT["name"], RULES["name"])
_STAYS = ("imported", "bag", "context", "human", "assessment", "deleted")
"""First parts of paths that a second reading of a row leaves as they are."""


@dataclass
class Loaded:
    """What became of rows. `left`: rows of which no docket was made; `raised`: labels of dockets that are on hold."""

    rows: int = 0
    written: int = 0
    there: int = 0
    altered: int = 0
    left: int = 0
    contexts: int = 0
    bags: int = 0
    raised: list[str] = field(default_factory=list)
    raised_n: int = 0

    def add(self, other: Loaded) -> None:
        """Takes in what became of some more. Of many labels the first hundred are kept."""
        for name in ("rows", "written", "there", "altered", "left", "contexts", "bags", "raised_n"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.raised += other.raised[: 100 - len(self.raised)]


class Loader:
    """Writes rows that a map has read. `begun`: the fields of the line in the log, written with the first batch;
    `again`: whether rows that are here are read anew, where nobody has altered their dockets since."""

    def __init__(self, ledger: Ledger, new_id: Id, by: Map, begun: Mapping[str, Any], again: bool = False) -> None:
        self._ledger, self._id, self._map, self._begun, self._again = ledger, new_id, by, dict(begun), again
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
        old = [one for one in made if one.docket in there] if self._again else []
        places = Places(connection, [*fresh, *old], names(connection).site, self._id, self._map.prefix)
        free = [one for one in fresh if places.takes(one)]
        done.left += len(fresh) - len(free)
        anew = list(self._anew(connection, [one for one in old if places.takes(one)]))
        done.altered = len(anew)
        if not free and not anew:
            return done
        if self._begun:
            self._ledger.note_in(connection, "import_begun", "cabin", self._begun)
            self._begun = {}
        around = places.edits(free)
        done.contexts = sum(one.kind == "context" for one in around)
        done.bags = len(around) - done.contexts
        self._ledger.write_many_in(connection, around, IMPORT)
        dockets = {one.docket: {**one.values, **places.of(one), "label": one.label} for one in free}
        sealed = self._sealed(connection, dockets)
        edits = [*(Edit("docket", one, dockets[one], {}) for one in dockets), *anew]
        self._ledger.write_many_in(connection, edits, IMPORT)
        self._ledger.check_in(connection, [one.record for one in (*around, *edits)])
        raised = self._hold(connection, [one for one in made if one.docket in {each.record for each in edits}], sealed)
        done.written, done.raised, done.raised_n = len(free), [one.label for one in raised][:100], len(raised)
        return done

    def _anew(self, connection: Connection, rows: Sequence[Mapped]) -> Iterator[Edit]:
        """What a map that was mended makes otherwise of dockets that nobody has altered. Their place, their row and
        what was said of the human question stay."""
        ids = [one.docket for one in rows]
        records = {one.id: one for one in records_of(connection, ids)}
        touched = _touched(connection, ids)
        for one in rows:
            if one.docket in touched:
                one.misses.append(Miss("", "", "touched"))
                continue
            record, wanted = records[one.docket], {**one.values, "label": one.label}
            paths = [path for path in (*wanted, *record.heads) if path.partition("/")[0] not in _STAYS]
            said = {path: wanted.get(path) for path in paths if wanted.get(path) != record.value(path)}
            if said:
                heads = record.head_ids()
                yield Edit("docket", record.id, said, {path: heads[path] for path in said if path in heads})

    def _sealed(self, connection: Connection, dockets: Mapping[str, dict[str, Any]]) -> dict[str, str]:
        """{docket: where it lay exactly, sealed to the cabin} of those that the rules will raise: it is taken out of
        their rows before anything is written, since what is written goes to every tablet."""
        told = {one: self._exact(values) for one, values in dockets.items()}
        told = {one: cells for one, cells in told.items() if cells}
        if not told:
            return {}
        site = names(connection).site
        records = [_as_would_be(one, site, dockets[one]) for one in told]
        found = checks.would_find(connection, records)
        (own,) = records_of(connection, [site])
        sealed = {}
        for record in records:
            asked = [one.raises for one in found[record.id] if one.raises]
            said = [value for path, value in dockets[record.id].items() if path.startswith("human/")]
            if human.RAISED.isdisjoint([*asked, *map(human.answer_of, said)]):
                continue
            cells, values = told[record.id], dockets[record.id]
            columns = {one: cell for one, cell in values["imported"]["columns"].items() if one not in cells}
            values["imported"] = {**values["imported"], "columns": columns}
            words = "; ".join(f"{heading}: {cell}" for heading, cell in cells.items())
            sealed[record.id] = sealing.seal(words, str(own.value("cabin_key")), hold_id(record.id))
        return sealed

    def _exact(self, values: Mapping[str, Any]) -> dict[str, str]:
        columns: Mapping[str, str] = values["imported"]["columns"]
        return {heading: columns[heading] for heading in self._map.exact if heading in columns}

    def _hold(self, connection: Connection, made: Sequence[Mapped], sealed: Mapping[str, str]) -> list[Mapped]:
        """Opens the holds of those that are raised now."""
        column = tables.record.c
        here = among(connection, column.id, [one.docket for one in made])
        answers = set(connection.scalars(select(column.id).where(here, column.answer.in_(sorted(human.RAISED)))))
        raised = [one for one in made if one.docket in answers]
        contexts = holds.contexts_of(connection, records_of(connection, [one.docket for one in raised]))
        records = {one.id: one for one in records_of(connection, [hold_id(one.docket) for one in raised])}
        edits = []
        for one in raised:
            # A stop is for bone in the ground: what stands in a table has been lifted, though nobody here has said so.
            known = records.get(hold_id(one.docket))
            written = hold_write(known, one.docket, contexts.get(one.docket, ""), human.QUERY, "", lifted=False)
            if written is not None:
                edits.append(Edit("hold", hold_id(one.docket), written.set, written.over))
            if one.docket in sealed:
                # A change by itself, so that no tablet is handed it; and beside what is sealed there already, if
                # anything is: nobody here has opened that.
                edits.append(Edit("hold", hold_id(one.docket), {"place_sealed": sealed[one.docket]}, {}))
        self._ledger.write_many_in(connection, edits, IMPORT)
        return raised


def brought(connection: Connection, name: str, sha256: str) -> str:
    """The name of another file that dockets here were read from under this map's name, at whatever cabin; "" if there
    is none, or this very file has been read from as well."""
    column = tables.change.c
    dockets = select(column.body, column.id).where(column.kind == "docket")
    if _origins(connection.execute(dockets.where(column.body.contains(f'"sha256":"{sha256}"'))), sha256=sha256):
        return ""
    said = f'"map":{canonical(name)}'
    found = _origins(connection.execute(dockets.where(column.body.contains(said, autoescape=True))), map=name)
    return str(found.get("file")) if found else ""


def _origins(rows: Iterable[Any], **wanted: str) -> Mapping[str, Any]:
    """The first row of a table, as changes tell it, of which all this is said."""
    for row in rows:
        found = kept(row.body, row.id).set.get("imported")
        if isinstance(found, Mapping) and wanted.items() <= found.items():
            return found
    return {}


def _touched(connection: Connection, dockets: Sequence[str]) -> set[str]:
    """Those of these dockets of which somebody has written anything, beside imports and the rules."""
    column = tables.change.c
    rows = connection.execute(
        select(column.record, column.id, column.body).where(among(connection, column.record, dockets))
    )
    return {row.record for row in rows if not _is_nobody(kept(row.body, row.id).by)}


def _is_nobody(by: Mapping[str, Any]) -> bool:
    return not by.get("person") and by.get("name") in _NOBODY


def _as_would_be(docket: str, site: str, values: Mapping[str, Any]) -> Record:
    """A docket that is not written yet, as it would be."""
    found = Record(docket)
    found.kinds, found.sites = ("docket",), (site,)
    found.heads = {path: {"~": value} for path, value in values.items()}
    return found
