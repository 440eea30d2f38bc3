"""The folded records in memory, with the few indexes that screens ask for. Made of changes alone.

Records that were handed out never change under their reader: a change is folded into a copy, which then takes the
record's place. So another thread may read, or write a snapshot of, what it was given while the recorder goes on.
Not thread-safe itself beyond that: the notebook's lock guards `apply`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from fieldapp.records.changes import Change
from fieldapp.records.fold import ADD_ONLY, Fold, Record


class Book:
    """Records by id and by kind.

    fold      the merge's own state
    kinds     {kind: {record id: None}}, in the order in which the records first came to this notebook
    disputed  ids of the records that hold a disagreement
    deleted   ids of the records whose deletion stands undisputed
    """

    __slots__ = ("_kind_of", "deleted", "disputed", "fold", "kinds")

    def __init__(self) -> None:
        self.fold = Fold()
        self.kinds: dict[str, dict[str, None]] = {}
        self.disputed: set[str] = set()
        self.deleted: set[str] = set()
        self._kind_of: dict[str, str] = {}

    def __len__(self) -> int:
        return len(self.fold.records)

    def get(self, record_id: str) -> Record | None:
        """The record, or None. Its values are the store's own: not to be altered."""
        return self.fold.records.get(record_id)

    def of_kind(self, kind: str, deleted: bool = False) -> list[Record]:
        """The records of `kind`, first come first; those whose deletion stands only if asked for."""
        records, gone = self.fold.records, self.deleted
        return [records[one] for one in self.kinds.get(kind, ()) if deleted or one not in gone]

    def newest(self, kind: str, count: int) -> list[Record]:
        """Up to `count` live records of `kind`, last come first."""
        found = []
        for one in reversed(self.kinds.get(kind, {})):
            if one not in self.deleted:
                found.append(self.fold.records[one])
                if len(found) == count:
                    break
        return found

    def counts(self) -> dict[str, int]:
        """{kind: live records}."""
        lost: dict[str, int] = {}
        for one in self.deleted:
            kind = self._kind_of[one]
            lost[kind] = lost.get(kind, 0) + 1
        return {kind: len(ids) - lost.get(kind, 0) for kind, ids in self.kinds.items()}

    def apply(self, change: Change) -> Record | None:
        """Folds `change` in; its record as it is now, or None if the change was known."""
        records = self.fold.records
        old = records.get(change.record)
        if old is not None and change.id not in self.fold.seen:
            records[change.record] = copy(old)
        record = self.fold.apply(change)
        if record is not None:
            self._index(record)
        return record

    def apply_all(self, changes: Iterable[Change]) -> None:
        """Folds many in at once, before any record has been handed out; much faster than one by one."""
        touched: dict[str, Record] = {}
        for change in changes:
            record = self.fold.apply(change)
            if record is not None:
                touched[record.id] = record
        for record in touched.values():
            self._index(record)

    def _index(self, record: Record) -> None:
        one, kind = record.id, record.kind
        before = self._kind_of.get(one)
        if before != kind:
            if before is not None:
                del self.kinds[before][one]
            self._kind_of[one] = kind
            self.kinds.setdefault(kind, {})[one] = None
        _put(self.disputed, one, bool(record.disagreements()))
        _put(self.deleted, one, record.life() == "deleted")

    # -- to and from JSON values, for snapshots --

    def dump(self) -> Iterator[dict[str, Any]]:
        """Each record's state in order. Heads are grouped by change, which takes half the room."""
        for record in list(self.fold.records.values()):
            state = record.as_json()
            by_change: dict[str, dict[str, Any]] = {}
            for path, heads in state["heads"].items():
                for change, value in heads.items():
                    by_change.setdefault(change, {})[path] = value
            state["heads"] = by_change
            yield state

    @classmethod
    def load(
        cls, states: Iterable[dict[str, Any]], seen: Iterable[str], disputed: Iterable[str], deleted: Iterable[str]
    ) -> Book:
        """The book whose `dump`, seen ids and indexes these are. Raises KeyError or TypeError for other values."""
        book = cls()
        records, kinds, kind_of = book.fold.records, book.kinds, book._kind_of
        for state in states:
            grouped = state["heads"]
            heads: dict[str, dict[str, Any]] = {}
            if len(grouped) == 1:
                for change, values in grouped.items():
                    heads = {path: {change: value} for path, value in values.items()}
            else:
                for change, values in grouped.items():
                    for path, value in values.items():
                        heads.setdefault(path, {})[change] = value
            state["heads"] = heads
            record = Record.from_json(state)
            records[record.id] = record
            kind = record.kind
            kind_of[record.id] = kind
            ids = kinds.get(kind)
            if ids is None:
                ids = kinds[kind] = {}
            ids[record.id] = None
        book.fold.seen.update(seen)
        book.disputed.update(disputed)
        book.deleted.update(deleted)
        return book


def copy(record: Record) -> Record:
    """A record of its own, down to each path's heads; the values below, which nobody alters, are shared."""
    new = Record(record.id)
    for name in Record.__slots__:
        setattr(new, name, _copied(getattr(record, name)))
    return new


def _copied(part: Any) -> Any:
    if type(part) is dict:
        return {key: one.copy() if type(one) in (dict, set) else one for key, one in part.items()}
    return set(part) if type(part) is set else part


def document(record: Record) -> dict[str, Any]:
    """`record` as one plain document, for lists and queries.

    `id` and `kind`; every plain path with its value; paths below a prefix gathered: `note` holds {uuid: value}, and
    the add-only prefixes hold {uuid: [every value set]}; `disagreements` lists the paths that are disputed.
    The values are the store's own: copy before altering.
    """
    found: dict[str, Any] = {"id": record.id, "kind": record.kind}
    for path in record.heads:
        prefix, slash, rest = path.partition("/")
        if not slash:
            found.setdefault(prefix, record.value(path))
            continue
        heads = record.heads[path]
        value: Any = [heads[one] for one in sorted(heads)] if path.startswith(ADD_ONLY) else record.value(path)
        group = found.get(prefix)
        if prefix in record.heads or prefix in ("id", "kind") or not isinstance(group, dict | None):
            found[path] = value  # a newer version uses the word both ways: keep them apart
        elif value is not None:
            found.setdefault(prefix, {})[rest] = value
    found["disagreements"] = sorted(record.disagreements())
    return found


def _put(ids: set[str], one: str, is_in: bool) -> None:
    if is_in:
        ids.add(one)
    else:
        ids.discard(one)
