"""The cabin's ledger: what came from everybody, what it folds into, and what the cabin itself writes.

    ledger = Ledger.create(path, code="HLG26", name="…", seal_key=…)          once
    ledger = Ledger.open(path)                                                or a PostgreSQL URL and a schema
    ledger.accept(entries, source)                      what a notebook brings, change by change
    ledger.write(kind, record, set, over, by)           a change of the cabin's own
    ledger.records("docket", context), .history(record), .disagreements(), .holds(), .problems(), .counts() …

All of it may be called from several threads, and from a second process beside the running cabin. A batch is one
transaction: on the disk, folded and visible when `accept` returns; the rules look at it afterwards (checks).
What it answers without writing is in the module answers. Not here: HTTP (server.api), pages (server.review), people's
passwords (accounts), tablets' tokens (devices).
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import Connection, select
from sqlalchemy.exc import SQLAlchemyError

from fieldapp import assets
from fieldapp.domain.ids import site_id
from fieldapp.records import changes
from fieldapp.records.changes import Change, UnreadableChange
from fieldapp.records.fold import Record
from server.errors import NotTheSite, ValueNotKept
from server.ledger import (
    asking,
    checks,
    events,
    folding,
    intake,
    letters,
    meta,
    opening,
    proving,
    tables,
)
from server.ledger.answers import Answers
from server.ledger.asking import Pulled
from server.ledger.database import Database
from server.ledger.intake import Answer
from server.ledger.place import Place

Clock = Callable[[], datetime]


def _known() -> str:
    """What records are worked out with: the way of it (folding.DERIVES) and the reference tables."""
    return f"{folding.DERIVES}-{assets.stamp()}"


CABIN = {"person": "", "name": "cabin", "role": "administrator"}
"""`by` of what the cabin's own commands write."""
RULES = {"person": "", "name": "rules", "role": "recorder"}
"""`by` of the answers that a rule asks for."""


class Accepted(NamedTuple):
    """What became of a batch: an answer for each entry in its order, and what its sender should be told."""

    answers: list[Answer]
    notices: list[dict[str, Any]]
    epoch: str
    head: int


class Edit(NamedTuple):
    """What a change of the cabin's own sets: see Ledger.write."""

    kind: str
    record: str
    set: Mapping[str, Any]
    over: Mapping[str, Sequence[str]]


class Ledger(Answers):
    """See the module. `clock` gives aware times; `new_id` gives UUIDs as text."""

    def __init__(self, database: Database, clock: Clock, new_id: Callable[[], str]) -> None:
        self.database = database
        self.clock = clock
        self.new_id = new_id

    # -- beginning and end

    @classmethod
    def create(
        cls,
        where: Path | str | Place,
        *,
        schema: str = "",
        code: str,
        name: str,
        seal_key: str,
        mode: str = "excavation",
        licence: str = "",
        second_reader: bool = True,
        zone: str = "",
        clock: Clock | None = None,
        new_id: Callable[[], str] | None = None,
    ) -> Ledger:
        """A new ledger with its site record, in a file, or in `schema` of the database at a URL.

        `seal_key`: base64 X25519 public key. Raises LedgerExists, LedgerAddress.
        """
        ledger = cls(opening.new(Place.of(where, schema)), clock or _now, new_id or _uuid)
        site = site_id(code)
        values = {
            "code": "".join(code.split()).upper(),
            "name": name,
            "mode": mode,
            "licence": licence or None,
            "zone_text": zone or None,
            "policy": {"zooarchaeologists_may_assess": [], "second_reader": second_reader},
            "cabin_key": seal_key,
        }
        with opening.filling(ledger.database) as connection:
            meta.put(connection, format=opening.FORMAT, site=site, notebook=ledger.new_id(), epoch=ledger.new_id())
            meta.put(connection, known=_known())
            ledger.write_in(connection, "site", site, values, {}, CABIN)
        return ledger

    @classmethod
    def open(
        cls,
        where: Path | str | Place,
        *,
        schema: str = "",
        clock: Clock | None = None,
        new_id: Callable[[], str] | None = None,
    ) -> Ledger:
        """The ledger that was created there, its tables brought to what this program knows (opening).

        Raises LedgerMissing, LedgerIsNewer, LedgerAddress.
        """
        ledger = cls(opening.there(Place.of(where, schema)), clock or _now, new_id or _uuid)
        if ledger._read(meta.known) != _known():
            # The program has learnt since: what it makes of the same changes, and what its rules say, is made anew.
            with ledger.database.writing() as connection:
                if meta.known(connection) != _known():
                    ledger.rebuild_in(connection)
        return ledger

    def close(self) -> None:
        """Lets go of the database."""
        self.database.close()

    def now(self) -> str:
        """The time as the ledger writes it: UTC, so that texts sort like times."""
        return self.text(self.clock())

    @staticmethod
    def text(moment: datetime) -> str:
        """Any moment, written so."""
        return moment.astimezone(UTC).isoformat(timespec="milliseconds")

    def renew(self, why: str, who: str = "cabin", instead_of: str = "") -> str:
        """Begins a new epoch with a new notebook, after a backup was put back: tablets then send everything again.

        Without it the cabin would give numbers a second time that tablets have already seen. Returns the epoch: the
        one there is, if somebody has renewed it since it was `instead_of`. `why`: a key of the texts.
        """
        with self.database.writing() as connection:
            if instead_of and instead_of != (there := meta.names(connection).epoch):
                return there
            return self.renew_in(connection, why, who)

    def renew_in(self, connection: Connection, why: str, who: str = "cabin") -> str:
        """Like `renew`, inside a transaction of the caller's."""
        epoch = self.new_id()
        meta.put(connection, epoch=epoch, notebook=self.new_id())
        letters.leave(connection)
        events.note(connection, "new_epoch", who, self.now(), {"why": why})
        return epoch

    def rebuild_in(self, connection: Connection, told: proving.Told | None = None) -> None:
        """Like `rebuild`, inside a transaction of the caller's; `told`: how many records are done."""
        proving.rebuild(connection, told)
        meta.put(connection, known=_known(), rebuilt=self.new_id())

    # -- taking in and writing

    def accept(self, entries: Iterable[tuple[str, str]], source: str) -> Accepted:
        """Takes in (id, body) pairs that `source` brings (a notebook's id, a file's name); see intake for the answers.

        Repeating a batch changes nothing and gives the same answers (`known` for `taken`).
        """
        with self.database.writing() as connection:
            now = meta.names(connection)
            batch = intake.take(connection, list(entries), source=source, head=now.head, at=self.now())
            self._fold(connection, batch.fresh, now.head)
            if strangers := sorted({one.notebook for one in batch.fresh if one.site != now.site}):
                # Folded all the same: a raise from a tablet with a mistyped site code must not disappear.
                notice = {"what": "other_site", "notebooks": strangers}
                batch.notices.append(notice)
                events.note(connection, "other_site", source, self.now(), notice)
            batch.notices += letters.of_others(connection, batch.fresh, self.now())
            return Accepted(batch.answers, batch.notices, now.epoch, now.head + len(batch.fresh))

    def write(
        self,
        kind: str,
        record: str,
        set: Mapping[str, Any],
        over: Mapping[str, Sequence[str]],
        by: Mapping[str, Any],
    ) -> Change:
        """A change of the cabin's own. `over`: {path: heads the form showed}; `by`: {person, name, role}.

        Raises ValueNotKept for values that cannot be written down, NotTheSite for a second site record.
        """
        with self.database.writing() as connection:
            return self.write_in(connection, kind, record, set, over, by)

    def write_in(
        self,
        connection: Connection,
        kind: str,
        record: str,
        set: Mapping[str, Any],
        over: Mapping[str, Sequence[str]],
        by: Mapping[str, Any],
    ) -> Change:
        """Like `write`, inside a transaction of the caller's (`ledger.database.writing()`)."""
        return self.write_many_in(connection, [Edit(kind, record, set, over)], by)[0]

    def new_label_in(self, connection: Connection) -> str:
        """A label of the cabin's own, for what is recorded at the desk; given with the caller's transaction, once."""
        site = folding.records_of(connection, [meta.names(connection).site])[0]
        return letters.new_label(connection, str(site.value("code")), uuid.UUID(self.new_id()).int)

    def write_many_in(
        self,
        connection: Connection,
        edits: Sequence[Edit],
        by: Mapping[str, Any],
        loaded: Mapping[str, Record] | None = None,
    ) -> list[Change]:
        """Several changes of the cabin's own, chained in their order and folded together. Raises as `write` does.

        `loaded`: their records, where they were read in the same transaction (folding.fold_in).
        """
        if not edits:
            return []
        now = meta.names(connection)
        for one in edits:
            if one.kind == "site" and one.record != now.site:
                raise NotTheSite(record=one.record)
        column = tables.change.c
        last = connection.execute(
            select(column.n, column.id).where(column.notebook == now.notebook).order_by(column.n.desc()).limit(1)
        ).first()
        if last is not None and last.n > changes.BIGGEST_N - len(edits):
            # Somebody has given away the last number there is in the cabin's name: it goes on under another one.
            meta.put(connection, notebook=self.new_id())
            now, last = meta.names(connection), None
        made: list[Change] = []
        n, prev = (last.n, last.id) if last else (0, "")
        for one in edits:
            n += 1
            try:
                change = changes.write(
                    notebook=now.notebook,
                    n=n,
                    prev=prev,
                    site=now.site,
                    record=one.record,
                    kind=one.kind,
                    set=one.set,
                    over=one.over,
                    by=by,
                    at=self.clock().isoformat(timespec="milliseconds"),
                )
            except UnreadableChange as fault:
                raise ValueNotKept(why=fault.reason) from fault
            prev = change.id
            made.append(change)
        intake.keep(connection, made, source=now.notebook, head=now.head, at=self.now())
        self._fold(connection, made, now.head, loaded)
        for change in made:
            if change.kind == "site":
                told = {"by": by.get("name"), "paths": ", ".join(sorted(change.set))}
                events.note(connection, "site_set", str(by.get("person") or by.get("name")), self.now(), told)
        return made

    def _fold(
        self, connection: Connection, fresh: Sequence[Change], head: int, loaded: Mapping[str, Record] | None = None
    ) -> None:
        if not fresh:
            return
        meta.put(connection, head=head + len(fresh))
        folding.fold_in(connection, fresh, self._who(connection, keep=False), loaded)
        if any(one.kind in folding.PROTECTED for one in fresh):
            meta.put(connection, authority=head + len(fresh))
            folding.authority_changed(connection, folding.authority_of(connection))
        if any(one.kind == "site" and checks.weighs(one) for one in fresh):
            checks.all_due(connection)

    # -- the log

    def note(self, what: str, who: str, fields: Mapping[str, Any]) -> None:
        """Adds a line to the log, such as that somebody has seen what is closed."""
        with self.database.writing() as connection:
            self.note_in(connection, what, who, fields)

    def note_in(self, connection: Connection, what: str, who: str, fields: Mapping[str, Any]) -> None:
        """Like `note`, inside a transaction of the caller's."""
        events.note(connection, what, who, self.now(), fields)

    # -- what the rules find

    def check_due(self, limit: int = 800) -> int:
        """Lets the rules look at up to `limit` changed records and what hangs on them; returns how many are left.

        An answer to the human question that a rule asks for is added by the cabin's notebook.
        """
        with self.database.writing() as connection:
            return self._check(connection, checks.waiting(connection, limit))

    def check_in(self, connection: Connection, records: Sequence[str]) -> int:
        """Lets the rules look at these records inside a transaction of the caller's, as `check_due` does."""
        return self._check(connection, records)

    def check_apart(self) -> list[Exception]:
        """Lets the rules look at every changed record by itself: one that they stop at, which stays due, keeps no other
        from being looked at. What stopped them."""
        stopped = []
        for one in self._read(checks.waiting):
            try:
                with self.database.writing() as connection:
                    self._check(connection, [one])
            except SQLAlchemyError:
                raise  # the database's trouble is no record's
            except Exception as error:
                stopped.append(error)
        return stopped

    def _check(self, connection: Connection, waiting: Sequence[str]) -> int:
        def write(raises: Sequence[checks.Raise], loaded: Mapping[str, Record]) -> list[Change]:
            edits = [Edit("docket", one.docket, {one.path: one.value}, {}) for one in raises]
            return self.write_many_in(connection, edits, RULES, loaded)

        return checks.check(connection, waiting, write)

    # -- handing out

    def pull(
        self,
        since: int,
        limit: int,
        skip_notebook: str = "",
        *,
        notebook: str = "",
        epoch: str = "",
        mark: str = "",
        characters: int | None = None,
    ) -> Pulled:
        """Changes after number `since`, at most `limit` and about `characters`, without those of `skip_notebook`.

        Sealed places go to nobody but the notebook that wrote them (`notebook`, by default the one skipped). `epoch`
        and `mark` are what came with the cursor: if in the same epoch another change has that number, this ledger was
        put back from a backup and has gone on since; it then begins a new epoch, and every tablet sends again.
        """
        asker = notebook or skip_notebook

        def ask(connection: Connection) -> Pulled | None:
            now, there = meta.names(connection), asking.mark(connection, since)
            if mark and epoch == now.epoch and mark != there:
                return None
            return asking.page(connection, now, there, since, limit, skip_notebook, asker, characters)

        found = self._read(ask)
        if found is None:
            self.renew("cabin.epoch.cursor", asker, epoch)
            found = self._read(
                lambda connection: asking.pull(connection, since, limit, skip_notebook, asker, characters)
            )
        return found

    # -- proving

    def rebuild_matches(self) -> bool:
        """Whether the stored records are what all the changes together fold into."""
        return not self.rebuild_differences()

    def rebuild_differences(self) -> list[str]:
        """Ids of the records of which that is not so."""
        return self._read(proving.differences)

    def rebuild(self) -> None:
        """Works out every record anew from the changes; the rules then look at all of them again."""
        with self.database.writing() as connection:
            self.rebuild_in(connection)
            events.note(connection, "mended", "cabin", self.now(), {})


def _now() -> datetime:
    return datetime.now(UTC).astimezone()


def _uuid() -> str:
    return str(uuid.uuid4())
