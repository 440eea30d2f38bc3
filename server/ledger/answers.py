"""What the ledger answers: the reading half of `Ledger`, one moment of the database for each question.

Not here: what any answer is worked out of (asking, checks, holds), nor anything that writes (ledger).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence, Set
from typing import Any, TypeVar

from sqlalchemy import Connection

from fieldapp.domain.rules import Problem
from fieldapp.records import standing
from fieldapp.records.fold import Record
from server.errors import LedgerUnreachable
from server.ledger import asking, causes, checks, events, folding, holds, meta, placing
from server.ledger.asking import Disputed, Listed, Written
from server.ledger.causes import Case
from server.ledger.checks import Found
from server.ledger.database import Database
from server.ledger.holds import Hold
from server.ledger.meta import Names

T = TypeVar("T")

_Stamp = tuple[str, int, str]


def _stamp(connection: Connection) -> _Stamp:
    """Tells one state of what is worked out of the changes from every other: nothing that was folded is the same
    with another number of changes, in another epoch, or worked out in another way."""
    now = meta.names(connection)
    return now.epoch, now.head, meta.known(connection)


class Answers:
    """See the module; `Ledger` is one."""

    database: Database
    _authority: tuple[tuple[str, int], standing.Authority] | None = None
    _holds: tuple[_Stamp, list[Hold]] | None = None
    _cases: tuple[_Stamp, list[Case]] | None = None

    def _read(self, ask: Callable[[Connection], T]) -> T:
        try:
            with self.database.reading() as connection:
                return ask(connection)
        except LedgerUnreachable:
            # A connection may drop. To ask again is safe; to write again is for whoever knows what was to be written.
            with self.database.reading() as connection:
                return ask(connection)

    def authority(self) -> standing.Authority:
        """Who may decide here, for fieldapp.records.standing."""
        return self._read(self._who)

    def _who(self, connection: Connection, keep: bool = True) -> standing.Authority:
        # Kept until somebody, in this process or another, has written a site or a person. Never kept while writing:
        # what is read there may be taken back, and its number given to another change.
        # Numbers are given anew in each epoch.
        names = meta.names(connection)
        stamp = names.epoch, names.authority
        kept = self._authority
        if kept is None or kept[0] != stamp:
            kept = (stamp, folding.authority_of(connection))
            if keep:
                self._authority = kept
        return kept[1]

    def record(self, record: str) -> Record | None:
        """One record as it stands, or None."""
        return self.get([record]).get(record)

    def record_in(self, connection: Connection, record: str) -> Record | None:
        """Like `record`, inside a transaction of the caller's."""
        return next(iter(folding.records_of(connection, [record])), None)

    def get(self, ids: Iterable[str]) -> dict[str, Record]:
        """{id: record} of those that are there."""
        wanted = sorted(set(ids))
        return {one.id: one for one in self._read(lambda connection: folding.records_of(connection, wanted))}

    def records(self, kind: str, context: str | None = None, *, deleted: bool = False) -> list[Record]:
        """The records of a kind, by label; those in one context if it is given; without the deleted, unless asked.

        A docket in a bag lies in the bag's context, once the bag has come.
        """
        return self._read(lambda connection: asking.records(connection, kind, context, deleted))

    def on_sheet(self, context: str) -> list[Record]:
        """The records that a context's sheet is made of, deleted ones too: see `placing`."""
        return self._read(lambda connection: placing.on_sheet(connection, context))

    def listing(self, kind: str, context: str | None = None, *, deleted: bool = False) -> list[Listed]:
        """Like `records`, as light lines for long lists."""
        return self._read(lambda connection: asking.listing(connection, kind, context, deleted))

    def contexts_of(self, records: Iterable[Record]) -> dict[str, str]:
        """{record id: context id} of those that lie in one."""
        listed = list(records)
        return self._read(lambda connection: holds.contexts_of(connection, listed))

    def called(self, kind: str, label: str) -> list[str]:
        """Ids of the live records of a kind that carry a label or number."""
        return self._read(lambda connection: asking.called(connection, kind, label))

    def numbered(self, numbers: Iterable[str]) -> dict[str, str]:
        """{number: id of the context that has it; else of one that is to be made}: see `asking.numbered`."""
        listed = list(numbers)
        return self._read(lambda connection: asking.numbered(connection, meta.names(connection).site, listed))

    def begun_here(self, place: str, limit: int) -> list[str]:
        """Ids of the live dockets in a bag, or in a context without one, that were made at the desk: newest first."""
        return self._read(lambda connection: asking.begun_here(connection, place, limit))

    def came_after(self, context: str, seq: int, limit: int = 200) -> list[Written]:
        """Changes after number `seq` of the count to a context and to what lies in it, in the order of their coming."""
        return self._read(lambda connection: asking.came_after(connection, context, seq, limit))

    def history(self, record: str) -> list[Written]:
        """Every change of a record, in the order in which they came."""
        return self._read(lambda connection: asking.history(connection, record))

    def following(self, first: str, n: int) -> list[Written]:
        """A change and those taken in right behind it, `n` in all."""
        return self._read(lambda connection: asking.following(connection, first, n))

    def who(self, change_ids: Iterable[str]) -> dict[str, Written]:
        """{change id: the change, with who wrote it, when and in which notebook} of those that are there."""
        return self._read(lambda connection: asking.who(connection, change_ids))

    def disagreements(self, nature: str | None = None) -> list[Disputed]:
        """What the records disagree about: all, or those of one nature (conflict, precision, deletion)."""
        return self._read(lambda connection: asking.disagreements(connection, nature))

    def holds(self) -> list[Hold]:
        """Every docket that is on hold, or that has a hold record: see the module holds.

        Shared until the next change is taken in: not to be altered.
        """
        return self._read(self._holds_in)

    def _holds_in(self, connection: Connection) -> list[Hold]:
        kept, stamp = self._holds, _stamp(connection)
        if kept is None or kept[0] != stamp:
            self._holds = kept = (stamp, holds.holds(connection, self._who(connection)))
        return kept[1]

    def cases(self) -> list[Case]:
        """Every disagreement that may be settled together with others: see the module causes.

        Shared until the next change is taken in: not to be altered.
        """
        return self._read(self._cases_in)

    def _cases_in(self, connection: Connection) -> list[Case]:
        kept, stamp = self._cases, _stamp(connection)
        if kept is None or kept[0] != stamp:
            self._cases = kept = (stamp, causes.cases(connection))
        return kept[1]

    def unread(self, answer: str | None = None) -> list[dict[str, Any]]:
        """What was kept but not folded, newest first: the columns of the table `unread`."""
        return self._read(lambda connection: asking.unread(connection, answer))

    def events(self, limit: int = 200, what: str | None = None) -> list[events.Event]:
        """The last lines of the log, newest first."""
        return self._read(lambda connection: events.newest(connection, limit, what))

    def counts(self) -> dict[str, Any]:
        """Numbers for a first page; deleted records are left out.

        {"records": {kind: n}, "answers": {answer: n}, "disagreements": {nature: n}, "problems": {level: n},
        "unread": n, "set_aside": n, "due": records the rules have not looked at yet, "head": n}
        """
        return self._read(asking.counts)

    def problems(self, level: str | None = None, record: str | None = None) -> list[Found]:
        """What the rules have found so far (see counts()["due"]): all, of one level, or of one record."""
        return self._read(lambda connection: checks.problems(connection, level, None if record is None else [record]))

    def problems_of(self, records: Collection[str]) -> list[Found]:
        """What the rules have found so far in these records."""
        return self._read(lambda connection: checks.problems(connection, records=records))

    def due(self) -> int:
        """How many records the rules have not looked at yet."""
        return self._read(checks.due)

    def troubled(self, records: Iterable[str]) -> set[str]:
        """Those of these records in which the rules have found something, or which they have not looked at yet."""
        return self._read(lambda connection: checks.troubled(connection, records))

    def would_find(self, record: Record) -> list[Problem]:
        """What the rules would find in a record as somebody is about to write it. Nothing is kept."""
        return self.would_find_in([record])[record.id]

    def would_find_in(self, records: Sequence[Record]) -> dict[str, list[Problem]]:
        """The same of several, each seen among the others: {record id: problems}."""
        return self._read(lambda connection: checks.would_find(connection, records))

    def names(self) -> Names:
        """Epoch, own notebook, site and head of the count."""
        return self._read(meta.names)

    def site(self) -> Record:
        """The site's record."""
        return self._read(lambda connection: folding.records_of(connection, [meta.names(connection).site])[0])

    def beginning_with(self, beginnings: Set[str]) -> dict[str, tuple[str, str]]:
        """{beginning of a change's id: (its id, its record)}, where exactly one begins so."""
        return self._read(lambda connection: asking.beginning_with(connection, beginnings))

    def tag(self, notebook: str) -> str:
        """What a notebook has that knows everything here, as fieldapp.records.wire.tag; "" where it has been copied."""
        return self._read(lambda connection: asking.tag(connection, notebook))

    def forked(self, notebook: str) -> bool:
        """Whether a notebook has given a number twice: a copy of it goes on somewhere, or an old one was put back."""
        return self._read(lambda connection: asking.forked(connection, notebook))
