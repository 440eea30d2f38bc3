"""The journal and what it has made in memory, kept in step: written first, followed after. The notebook's inside.

Opening takes the small part of the snapshot and what the journal holds behind it; the records come from the large
part, or from the whole journal, when they are first asked for. Every entry is followed by the same code whether it was
just written or read back, so that going on and opening again give the same.
"""

from __future__ import annotations

import gc
import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock, RLock

from fieldapp.records.changes import Change, UnreadableChange, read
from fieldapp.store import snapshot
from fieldapp.store.book import Book, document
from fieldapp.store.errors import NotebookClosed, StoreError
from fieldapp.store.journal import Journal, Line, Mark
from fieldapp.store.keeping import CHANGE, LASTING, PASSING, PULLED, Keeping
from fieldapp.store.lines import Entry
from fieldapp.store.snapshot import Copy, First
from fieldapp.store.tables import plain_copy

log = logging.getLogger(__name__)

NEWEST = 50
"""How many documents of each kind the first screen's part of the snapshot holds."""
STATE_AFTER = 500
"""Changes after which the large part of the snapshot is written again (or 5 % of the records, if that is more)."""
COMPACT_ABOVE = 8_000_000
"""Characters of past drafts and the like above which the journal is rewritten (if they are more than half of it)."""

Item = tuple[Entry, Change | UnreadableChange | None]
"""An entry, and for the kinds `change` and `pulled` what its body was read as."""


class Live:
    """`lock` guards everything here; `keeping` and the book are altered by `write` alone."""

    def __init__(self, folder: Path, new_id: Callable[[], str]) -> None:
        """Opens the journal in `folder`. Raises what Journal raises."""
        self.lock = RLock()
        self.folder = folder / "snapshot"
        self.closed = False
        self._resting = Lock()
        self._book: Book | None = None
        self._first: First | None = None
        self._first_mark: Mark | None = None
        self._unfolded = 0  # changes that the large part of the snapshot does not hold
        self.journal = Journal(folder / "journal", new_id)
        try:
            self._open()
        except BaseException:
            self.journal.close()
            raise

    def close(self) -> None:
        """Lets go of the journal."""
        with self.lock:
            self.closed = True
            self.journal.close()

    def write(self, items: Sequence[Item]) -> None:
        """Saves `items` as one line; when they are on the medium, follows them. Raises SaveFailed, NotebookClosed."""
        with self.lock:
            if self.closed:
                raise NotebookClosed
            self.journal.append([entry for entry, _ in items])
            for entry, change in items:
                _follow(entry, change, self.keeping)
                if isinstance(change, Change):
                    self._first = None
                    if self._book is not None:
                        self._book.apply(change)
                        self._unfolded += 1

    def book(self) -> Book:
        """The records; read now, if they have not been. Raises JournalDamaged, NotebookClosed."""
        with self.lock:
            if self._book is None:
                if self.closed:
                    raise NotebookClosed
                self._load()
            assert self._book is not None
            return self._book

    def first(self) -> First:
        """What the first screen shows."""
        with self.lock:
            if self._first is None:
                book = self.book()
                newest = {kind: [document(one) for one in book.newest(kind, NEWEST)] for kind in book.kinds}
                self._first = First(book.counts(), len(book.disputed), newest)
            return First(dict(self._first.counts), self._first.disputed, plain_copy(dict(self._first.newest)))

    def bodies(self) -> Iterator[tuple[bool, str, str]]:
        """(own, id, body) of every change kept, in order. Raises JournalDamaged."""
        with self.lock:
            lines = self.journal.lines()
        return (body for line in lines for body in bodies_of(line.entries))

    # -- rest --

    def rest(self) -> None:
        """Compaction and snapshots, each only if it is worth it. Never fails: a full disk leaves it undone."""
        with self._resting:
            try:
                self._rest()
            except (OSError, StoreError) as error:
                log.warning("the notebook was not tidied up; it is whole: %s", error)

    def compact(self) -> None:
        """Rewrites the journal without what is past: finished drafts, old cursors. All or nothing. SaveFailed."""
        with self.lock:
            if self.closed:
                raise NotebookClosed
            book = self.book()  # read before the snapshot no longer fits
            entries = self.keeping.entries()
            self.journal.rewrite(lambda entry: entry.kind not in PASSING, entries)
            self.keeping.wasted = sum(len(entry.payload) for entry in entries)
            self._unfolded = len(book.fold.seen)

    def _rest(self) -> None:
        with self.lock:
            if self.closed:
                return
            if self.keeping.wasted > max(COMPACT_ABOVE, self.journal.mark.length // 2):
                self.compact()
            copy, held = None, self._unfolded
            if self._book is not None and held >= max(STATE_AFTER, len(self._book) // 20):
                copy = Copy.of(self.journal.mark, self.keeping, self._book)
        if copy is not None:
            # Without the lock: it takes a while, and the recorder goes on meanwhile.
            snapshot.write_state(self.folder, copy)
            with self.lock:
                self._unfolded -= held
        with self.lock:
            mark = self.journal.mark
            if not self.closed and self._first_mark != mark:
                snapshot.write_first(self.folder, mark, self.keeping.as_json(), self.first())
                self._first_mark = mark

    # -- opening --

    def _open(self) -> None:
        first = snapshot.read_first(self.folder, self.journal)
        if first is not None:
            self._first_mark, self.keeping, self._first = first
            for entry, change in _items(self.journal.replay(self._first_mark)):
                _follow(entry, change, self.keeping)
                if entry.kind in LASTING:
                    self._first = None  # what it shows is no longer all there is
            return
        with without_collecting():
            state = snapshot.read_state(self.folder, self.journal)
            items = list(_items(self.journal.replay(state[0] if state else None)))
            self.keeping = state[1] if state else Keeping()
            for entry, change in items:
                _follow(entry, change, self.keeping)
            self._fold(state[2] if state else Book(), items)

    def _load(self) -> None:
        with without_collecting():
            state = snapshot.read_state(self.folder, self.journal)
            lines = self.journal.lines(state[0] if state else None)
            self._fold(state[2] if state else Book(), _items(lines))

    def _fold(self, book: Book, behind: Iterable[Item]) -> None:
        changes = [change for _, change in behind if isinstance(change, Change)]
        book.apply_all(changes)
        self._book, self._unfolded = book, len(changes)


def bodies_of(entries: Iterable[Entry]) -> Iterator[tuple[bool, str, str]]:
    """(own, id, body) of the changes among `entries`."""
    for kind, payload in entries:
        if kind in LASTING:
            noted, _, body = payload.partition(" ")
            yield kind == CHANGE, noted, body


def readable(own: Iterable[tuple[bool, str, str]]) -> Iterator[Change]:
    """The changes among bodies that this version can read."""
    for _, noted, body in own:
        with suppress(UnreadableChange):
            yield read(body, noted)


def _items(lines: Iterable[Line]) -> Iterator[Item]:
    for line in lines:
        for entry in line.entries:
            if entry.kind not in LASTING:
                yield entry, None
                continue
            noted, _, body = entry.payload.partition(" ")
            try:
                yield entry, read(body, noted)
            except UnreadableChange as error:
                yield entry, error


def _follow(entry: Entry, change: Change | UnreadableChange | None, keeping: Keeping) -> None:
    if entry.kind == CHANGE and isinstance(change, Change):
        keeping.take_own(change)
    elif entry.kind == PULLED and isinstance(change, Change):
        keeping.take_pulled(change)
    elif isinstance(change, UnreadableChange):
        keeping.take_unread(entry.payload.partition(" ")[0], change, own=entry.kind == CHANGE)
    else:
        keeping.take(entry)


@contextmanager
def without_collecting() -> Iterator[None]:
    # Hundreds of thousands of objects are made and none of them becomes garbage; looking for it would take a third
    # of the time.
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
