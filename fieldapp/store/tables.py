"""TinyDB's way of asking the notebook: `notebook.db.table("dockets").search(Query().material == "antler")`.

The record tables (`sites`, `persons`, `contexts`, `bags`, `dockets`, `groups`, `holds` …) are a view, made from the
changes whenever it is asked for; each document is a record as book.document gives it, its id the record's. Deleted
records are not in it. They cannot be written to: a record changes by Notebook.save. The tables `drafts` and
`settings` can be, in every way TinyDB knows; each call that changes something is one line of the journal, on the
medium when the call returns.

Differs from TinyDB as it comes: document ids are texts; what a query gives is a copy of one's own, down to the last
list; nothing is cached between queries; `drop_tables` and writes to the views raise TableIsAView.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, cast

import tinydb.table
from tinydb import TinyDB
from tinydb.queries import QueryLike
from tinydb.storages import Storage

from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from fieldapp.store.book import document
from fieldapp.store.errors import TableIsAView

if TYPE_CHECKING:
    from fieldapp.store.notebook import Notebook

KINDS = {
    "sites": "site",
    "persons": "person",
    "contexts": "context",
    "bags": "bag",
    "dockets": "docket",
    "groups": "group",
    "holds": "hold",
    "tallies": "tally",
    "samples": "sample",
    "photos": "photo",
    "second_readings": "second_reading",
    "transfers": "transfer",
}
"""{table: kind of record}. Any other name is taken as the kind itself, so a newer version's records are there too."""

WRITABLE = ("drafts", "settings")


def plain_copy(value: Any) -> Any:
    """A copy of a JSON value that shares nothing that can be altered."""
    if isinstance(value, dict):
        return {key: plain_copy(one) for key, one in value.items()}
    return [plain_copy(one) for one in value] if isinstance(value, list) else value


class Document(tinydb.table.Document):
    """A document that is the caller's own: nothing done to it reaches the notebook."""

    def __init__(self, value: Mapping[str, Any], doc_id: Any) -> None:
        super().__init__(plain_copy(dict(value)), doc_id)


class _View(Mapping[str, dict[str, Any]]):
    """{record id: document} of one kind's live records at one moment; documents are made as they are asked for."""

    def __init__(self, records: Iterable[Record], made: dict[str, tuple[Record, dict[str, Any]]]) -> None:
        self._records = {record.id: record for record in records}
        self._made = made

    def __getitem__(self, record_id: str) -> dict[str, Any]:
        record = self._records[record_id]
        # A record that changes is replaced by another object, so the same object is the same document.
        known = self._made.get(record_id)
        if known is None or known[0] is not record:
            known = self._made[record_id] = (record, document(record))
        return known[1]

    def __iter__(self) -> Iterator[str]:
        return iter(self._records)

    def __len__(self) -> int:
        return len(self._records)


class NotebookStorage(Storage):
    """Stands between TinyDB and the notebook. Whole-database writes are refused."""

    def __init__(self, notebook: Notebook) -> None:
        self.notebook = notebook
        self._made: dict[str, tuple[Record, dict[str, Any]]] = {}

    def read(self) -> dict[str, Any]:
        """{table: {id: document}} of everything there is."""
        names = {kind: table for table, kind in KINDS.items()}
        held = [names.get(kind, kind) for kind in self.notebook.kinds()]
        return {name: self.table(name) for name in (*held, *WRITABLE)}

    def table(self, name: str) -> Mapping[str, Any]:
        """{id: document} of one table, empty for a name nobody has used."""
        if name == "drafts":
            return self.notebook.drafts()
        if name == "settings":
            return self.notebook.settings()
        return _View(self.notebook.records(KINDS.get(name, name)), self._made)

    def write(self, data: Any) -> None:
        """Never done: see Table."""
        raise TableIsAView(table=", ".join(sorted(data)) or "*")


class Table(tinydb.table.Table):
    """One table of the notebook; see the head of this module for how it differs."""

    document_class = Document
    document_id_class = cast(Any, str)
    _storage: NotebookStorage

    def __init__(self, storage: Storage, name: str, cache_size: int = 0, persist_empty: bool = False) -> None:
        # A cache would hand the same list out twice; and `persist_empty` would empty a table that is there.
        super().__init__(storage, name, cache_size=0, persist_empty=False)

    def insert(self, document: Mapping[str, Any]) -> Any:
        """As TinyDB; a tinydb Document keeps its id."""
        return super().insert(_own(document))

    def insert_multiple(self, documents: Iterable[Mapping[str, Any]]) -> list[Any]:
        """As TinyDB: all of them, or none."""
        return cast("list[Any]", super().insert_multiple([_own(one) for one in documents]))

    def upsert(self, document: Mapping[str, Any], cond: QueryLike | None = None) -> list[Any]:
        """As TinyDB: merges into what is there, and removes no key."""
        return cast("list[Any]", super().upsert(_own(document), cond))

    def __len__(self) -> int:
        return len(self._read_table())

    def _get_next_id(self) -> Any:
        return self._storage.notebook.new_id()

    def _read_table(self) -> Any:
        return self._storage.table(self.name)

    def _update_table(self, updater: Callable[[Any], None]) -> None:
        if self.name not in WRITABLE:
            raise TableIsAView(table=self.name)
        notebook = self._storage.notebook
        with notebook.lock:
            before = self._storage.table(self.name)
            after = plain_copy(dict(before))
            updater(after)
            # As texts, since Python holds 1, 1.0 and True for equal.
            put = {key: one for key, one in after.items() if key not in before or _differ(before[key], one)}
            drop = [key for key in before if key not in after]
            if put or drop:
                notebook.write_table(self.name, put, drop)


class NotebookDB(TinyDB):
    """`notebook.db`. Closing it does nothing: the notebook is closed by its own close()."""

    table_class = Table
    default_storage_class = cast(Any, NotebookStorage)

    def drop_table(self, name: str) -> None:
        """Empties `drafts` or `settings`; raises TableIsAView for the others."""
        self.table(name).truncate()

    def drop_tables(self) -> None:
        """Raises TableIsAView: records are never dropped."""
        self.storage.write(self.storage.read() or {})


def _differ(one: Any, other: Any) -> bool:
    return one != other or canonical(one) != canonical(other)


def _own(document: Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(document, tinydb.table.Document) and not isinstance(document, Document):
        return Document(document, document.doc_id)
    return document
