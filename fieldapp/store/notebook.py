"""The notebook on the tablet: everything that was recorded here, and what was fetched from others.

What a call that saves has returned from, is on the medium: one line of the journal, written and synced, then memory
(see journal). Nothing that was saved is altered or dropped. Everything else, the records, the tables, the snapshot,
is made from the journal and can be made again.

A notebook has an identity, the UUID of *this life* of it, under which it numbers its changes 1, 2, 3 … and chains
them. A copy of its folder that goes on elsewhere, or an old copy put back, goes on under the same identity: the
numbers fork, everybody keeps both, and `lives_elsewhere` turns true here as soon as a change of the other comes back.
`new_life` then starts a fresh identity; the changes made before stay this notebook's, and are sent as they were.

Thread-safe: every method may be called from any thread. Records handed out never change; their values are shared
and must not be altered (`record`, `first`, drafts, settings and TinyDB's documents are copies).

Layout of the folder: `journal`, `journal.torn`, `journal.damaged-<n>`, `snapshot/`, `lock`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple, Self

from filelock import FileLock, Timeout

from fieldapp.domain.labels import Label
from fieldapp.records.changes import Change, UnreadableChange, canonical, change_id, kept, read, write
from fieldapp.records.fold import Record
from fieldapp.store.book import Book, copy
from fieldapp.store.errors import NotebookInUse, NotSetUp
from fieldapp.store.journal import Recovered, recover
from fieldapp.store.keeping import (
    CHANGE,
    DRAFT,
    LABEL,
    PULLED,
    SETTING,
    Cursor,
    cursor_entry,
    life_entry,
    table_entry,
)
from fieldapp.store.lines import Entry
from fieldapp.store.live import Item, Live, bodies_of, readable, without_collecting
from fieldapp.store.snapshot import First
from fieldapp.store.tables import NotebookDB, plain_copy
from fieldapp.store.unsent import unsent
from fieldapp.store.verifying import Verified, verify

__all__ = ["Cursor", "Edit", "First", "Notebook", "Pulled", "Recovered", "Unread", "Verified"]


class Edit(NamedTuple):
    """What a change sets: paths with their values, and for each path the heads that the form showed (`over`)."""

    kind: str
    record: str
    set: Mapping[str, Any]
    over: Mapping[str, Sequence[str]] = {}


class Unread(NamedTuple):
    """A body that this version cannot read. Kept and passed on, unless `id` is "": then no file can hold it."""

    id: str
    reason: str


@dataclass(slots=True)
class Pulled:
    """What a pull brought.

    new     changes that were not known
    known   how many were
    unread  bodies that this version cannot read
    strays  those among `new` that carry this notebook's own identity and were not written here
    """

    new: list[Change] = field(default_factory=list)
    known: int = 0
    unread: list[Unread] = field(default_factory=list)
    strays: list[Change] = field(default_factory=list)


class Notebook:
    """An open notebook.

    db    the same records, drafts and settings by TinyDB's interface (see tables)
    torn  what was put aside at opening as never acknowledged, b"" if nothing was
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime], new_id: Callable[[], str], held: FileLock) -> None:
        """Use Notebook.open."""
        self.folder = folder
        self.clock = clock
        self.new_id = new_id
        self._held = held
        self._live = Live(folder, new_id)
        self.lock = self._live.lock
        self.torn = self._live.journal.torn
        self.db = NotebookDB(self)
        if not self.id:
            try:
                self._append(life_entry(new_id(), "", "", ""))
            except BaseException:
                self._live.close()
                raise

    @classmethod
    def open(cls, folder: Path, clock: Callable[[], datetime], new_id: Callable[[], str]) -> Self:
        """Opens the notebook in `folder`, or begins one there.

        clock   gives the present time, with its zone
        new_id  gives a new random id (UUID text)

        The first screen is there at once (`first`); the records are read when first asked for (`load`). Raises
        NotebookInUse, JournalDamaged (then `recover`), NotTheJournal, SaveFailed for a new one on a full disk.
        """
        folder.mkdir(parents=True, exist_ok=True)
        held = _hold(folder)
        try:
            return cls(folder, clock, new_id, held)
        except BaseException:
            held.release()
            raise

    @staticmethod
    def recover(folder: Path, new_id: Callable[[], str]) -> Recovered:
        """After JournalDamaged: keeps every whole line, sets the damaged aside unaltered. Then open, and verify."""
        held = _hold(folder)
        try:
            return recover(folder / "journal", new_id)
        finally:
            held.release()

    def close(self) -> None:
        """Tidies up (see `rest`) and lets go of the folder. Never fails; twice does nothing."""
        self._live.rest()
        self._live.close()
        self._held.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- who this notebook is --

    @property
    def id(self) -> str:
        """The UUID of this life of the notebook."""
        return self._live.keeping.notebook

    @property
    def site(self) -> str:
        """The site's id, "" before `identify`."""
        return self._live.keeping.site

    @property
    def code(self) -> str:
        """The site's code as printed on labels, "" before `identify`."""
        return self._live.keeping.code

    @property
    def letter(self) -> str:
        """The tablet's letter on labels, "" before `identify` and after `new_life`."""
        return self._live.keeping.letter

    @property
    def n(self) -> int:
        """The number of the last own change of this life, 0 before the first."""
        return self._live.keeping.n

    @property
    def lives_elsewhere(self) -> bool:
        """Whether a change of this life came from outside: then call `new_life`, with a new letter from the cabin."""
        return self._live.keeping.elsewhere

    def identify(self, *, site: str | None = None, code: str | None = None, letter: str | None = None) -> None:
        """Notes the site's id and code and the tablet's letter; what is None stays. Saved like everything else."""
        with self.lock:
            now = self._live.keeping
            wanted = (
                now.site if site is None else site,
                now.code if code is None else code.upper(),
                now.letter if letter is None else letter.upper(),
            )
            if wanted != (now.site, now.code, now.letter):
                self._append(life_entry(now.notebook, *wanted))

    def new_life(self, letter: str = "", as_id: str = "") -> str:
        """Goes on under a new identity, which is the answer. Own changes made before stay, unaltered, to be sent.

        For a notebook known to be a copy, or put back from one. Without a new letter no labels are handed out:
        the other copy may be handing out the same. `as_id`: a new id that the cabin has been told already.
        """
        with self.lock:
            now = self._live.keeping
            self._append(life_entry(as_id or self.new_id(), now.site, now.code, letter.upper()))
            return self.id

    def next_label(self) -> Label:
        """Hands out the next label. Noted on the medium first: whatever happens, its number is not given again."""
        with self.lock:
            now = self._live.keeping
            if not now.code or not now.letter:
                raise NotSetUp(missing="letter" if now.code else "site code")
            number = now.labels.get(now.series, 0) + 1
            self._append(Entry(LABEL, canonical({"series": now.series, "number": number})))
            return Label(now.code, now.letter, number)

    # -- saving --

    def save(
        self,
        kind: str,
        record: str,
        set: Mapping[str, Any],
        over: Mapping[str, Sequence[str]],
        by: Mapping[str, Any],
        *,
        finishes: str | None = None,
        site: str | None = None,
    ) -> Change:
        """Saves one change of one record; `finishes` names the draft that is done with it. See `save_many`."""
        return self.save_many([Edit(kind, record, set, over)], by, finishes=finishes, site=site)[0]

    def save_many(
        self, edits: Sequence[Edit], by: Mapping[str, Any], *, finishes: str | None = None, site: str | None = None
    ) -> list[Change]:
        """Saves several changes as one: all are on the medium on return, or none is. One line, one sync.

        by    {person, name, role} of the one who records
        site  the site's id, if it is not the notebook's

        Raises SaveFailed (nothing has changed; the form still holds what was entered), UnreadableChange for values
        that cannot be written down, NotSetUp without a site.
        """
        with self.lock:
            self.load()
            keeping = self._live.keeping
            site_id = keeping.site if site is None else site
            if not site_id:
                raise NotSetUp(missing="site")
            at, prev = self._now(), keeping.prev
            items: list[Item] = []
            changes: list[Change] = []
            for n, edit in enumerate(edits, keeping.n + 1):
                change = write(
                    notebook=keeping.notebook,
                    n=n,
                    prev=prev,
                    site=site_id,
                    record=edit.record,
                    kind=edit.kind,
                    set=edit.set,
                    over=edit.over,
                    by=by,
                    at=at,
                )
                prev = change.id
                changes.append(change)
                items.append((Entry(CHANGE, f"{change.id} {change.body}"), change))
            if finishes in keeping.drafts:
                items.append((table_entry(DRAFT, {}, [str(finishes)]), None))
            if items:
                self._live.write(items)
            return changes

    # -- drafts and settings --

    def draft(self, key: str, value: Mapping[str, Any]) -> None:
        """Keeps a half-made form as it is now, whatever happens next."""
        self.write_table("drafts", {key: dict(value)}, [])

    def drop_draft(self, key: str) -> None:
        """Forgets a half-made form."""
        with self.lock:
            if key in self._live.keeping.drafts:
                self.write_table("drafts", {}, [key])

    def drafts(self) -> dict[str, Any]:
        """{key: form} of every half-made form, copied."""
        with self.lock:
            return {key: plain_copy(one) for key, one in self._live.keeping.drafts.items()}

    def setting(self, key: str, default: Any = None) -> Any:
        """The setting `key`, copied."""
        with self.lock:
            noted = self._live.keeping.settings.get(key, {})
            return plain_copy(noted.get("value", default))

    def set_setting(self, key: str, value: Any) -> None:
        """Notes a setting, any JSON value."""
        self.write_table("settings", {key: {"value": value}}, [])

    def settings(self) -> dict[str, Any]:
        """{key: {"value": …}} of every setting, copied: the table `settings`."""
        with self.lock:
            return {key: plain_copy(one) for key, one in self._live.keeping.settings.items()}

    def write_table(self, table: str, put: Mapping[str, Any], drop: Sequence[str]) -> None:
        """Writes and drops documents of `drafts` or `settings`, in one line."""
        self._append(table_entry({"drafts": DRAFT, "settings": SETTING}[table], put, list(drop)))

    # -- exchange --

    def pull(self, changes: Iterable[Change | str], server: str = "", cursor: Cursor | None = None) -> Pulled:
        """Takes in changes, or their bodies, from elsewhere; with `cursor`, notes in the same line how far that was.

        All of it is on the medium on return, or nothing is. What is known is passed over; what cannot be read is
        kept as it came. Raises SaveFailed.
        """
        with self.lock, without_collecting():
            keeping, found = self._live.keeping, Pulled()
            known = self.load().fold.seen
            items: dict[str, Item] = {}
            for one in changes:
                try:
                    change = one if isinstance(one, Change) else read(one)
                except UnreadableChange as error:
                    _take_unread(str(one), error, found, items, keeping.unread)
                    continue
                if change.id in known or change.id in items:
                    found.known += 1
                    continue
                items[change.id] = (Entry(PULLED, f"{change.id} {change.body}"), change)
                found.new.append(change)
                if change.notebook == keeping.notebook:
                    found.strays.append(change)
            line = list(items.values())
            if cursor is not None and cursor != keeping.cursor(server):
                line.append((cursor_entry(server, cursor), None))
            if line:
                self._live.write(line)
            return found

    def unread(self) -> list[Unread]:
        """The bodies kept that this version cannot read."""
        with self.lock:
            return [Unread(*one) for one in self._live.keeping.unread.items()]

    def cursor(self, server: str) -> Cursor:
        """How far the exchange with `server` has come."""
        with self.lock:
            return self._live.keeping.cursor(server)

    def set_cursor(self, server: str, cursor: Cursor) -> None:
        """Notes how far the exchange with `server` has come."""
        with self.lock:
            if cursor != self.cursor(server):
                self._append(cursor_entry(server, cursor))

    def mark_pushed(self, server: str, change: Change) -> None:
        """Notes that `server` has answered for every own change up to `change`, in the order of `unsent`."""
        with self.lock:
            now = self.cursor(server)
            if change.n > now.pushed.get(change.notebook, 0):
                self.set_cursor(server, replace(now, pushed={**now.pushed, change.notebook: change.n}))

    def unsent(self, server: str, limit: int | None = None) -> list[Change]:
        """The own changes that `server` has not answered for, oldest first, at most `limit`. Raises JournalDamaged."""
        return [kept(body, one) for one, body in self.unsent_bodies(server)[:limit]]

    def unsent_bodies(self, server: str) -> Sequence[tuple[str, str]]:
        """(id, body) of them, each read when it is asked for: as they are sent."""
        with self.lock:
            if not self.unsent_count(server):
                return ()
            keeping, journal = self._live.keeping, self._live.journal
            lines, unread, pushed = journal.raw_lines_back(), dict(keeping.unread), self.cursor(server).pushed
        return unsent(journal, lines, unread, pushed)

    def unsent_count(self, server: str) -> int:
        """How many own changes `server` has not answered for; costs nothing."""
        with self.lock:
            return self._live.keeping.unsent(server)

    # -- asking --

    def first(self) -> First:
        """What the first screen shows. At once after a rest; after a sudden end the records are read first."""
        return self._live.first()

    def load(self) -> Book:
        """Reads the records, if that has not been done. The book is the notebook's own: ask it, do not alter it."""
        return self._live.book()

    def kinds(self) -> list[str]:
        """The kinds of record there are."""
        with self.lock:
            return list(self.load().kinds)

    def record(self, kind: str, record_id: str) -> Record | None:
        """The record, the caller's own copy; None if there is none of that kind. Deleted ones too: see its life()."""
        with self.lock:
            found = self.load().get(record_id)
        if found is None or kind not in found.kinds:
            return None
        own = copy(found)
        own.heads = plain_copy(own.heads)
        return own

    def records(self, kind: str, deleted: bool = False) -> list[Record]:
        """The records of `kind`, first come first; deleted ones only if asked for. Not to be altered."""
        with self.lock:
            return self.load().of_kind(kind, deleted)

    def disputed(self) -> list[Record]:
        """The records that hold a disagreement. Not to be altered."""
        with self.lock:
            book = self.load()
            return [book.fold.records[one] for one in sorted(book.disputed)]

    def history(self, record_id: str) -> list[Change]:
        """Every change of the record, in the order in which they came here. Raises JournalDamaged."""
        # The id as it lies in a body, and as it lies in a body within a batch.
        once = canonical(record_id)[1:-1]
        needles = {once.encode(), canonical(once)[1:-1].encode()}
        with self.lock:
            journal = self._live.journal
            lines = journal.raw_lines()
        bodies = (
            body for raw in lines if any(one in raw for one in needles) for body in bodies_of(journal.entries(raw))
        )
        return [change for change in readable(bodies) if change.record == record_id]

    def changes(self) -> Iterator[Change]:
        """Every readable change that is kept here, own and fetched, in the order in which they came."""
        return readable(self.bodies())

    def bodies(self) -> Iterator[tuple[bool, str, str]]:
        """(own, id, body) of everything kept, the unreadable too: for carrying on. Raises JournalDamaged."""
        return self._live.bodies()

    def verify(self) -> Verified:
        """Reads the whole journal and checks checksums, hashes, numbers, chains and records. Raises JournalDamaged."""
        with self.lock:
            bodies, lives = self.bodies(), list(self._live.keeping.lives)
            records = dict(self.load().fold.records)
        return verify(bodies, lives, records)

    # -- rest --

    def rest(self) -> None:
        """Tidies up while nobody waits (app in the background, tablet on the charger): snapshot, compaction.

        From any thread. Cut off in the middle it harms nothing, and it never fails: a full disk leaves it undone.
        """
        self._live.rest()

    def compact(self) -> None:
        """Rewrites the journal without finished drafts and other states that are past. All or nothing. SaveFailed."""
        self._live.compact()

    # -- the parts --

    def _now(self) -> str:
        now = self.clock()
        if now.tzinfo is None:
            raise ValueError("the clock gives a time without a zone")
        return now.isoformat(timespec="milliseconds")

    def _append(self, entry: Entry) -> None:
        self._live.write([(entry, None)])


def _take_unread(
    body: str, error: UnreadableChange, found: Pulled, items: dict[str, Item], known: Mapping[str, str]
) -> None:
    try:
        body_id = change_id(body)
    except UnreadableChange:
        found.unread.append(Unread("", error.reason))
        return
    if body_id in known or body_id in items:
        found.known += 1
        return
    items[body_id] = (Entry(PULLED, f"{body_id} {body}"), error)
    found.unread.append(Unread(body_id, error.reason))


def _hold(folder: Path) -> FileLock:
    # Not bound to a thread: whichever closes the notebook lets go of it.
    held = FileLock(folder / "lock", timeout=0, thread_local=False)
    try:
        held.acquire()
    except Timeout:
        raise NotebookInUse(folder=str(folder)) from None
    return held
