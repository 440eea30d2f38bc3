"""The exchange of a notebook with its cabin. It may be cut at any byte and begun again: nothing is lost or doubled.

    with transport_for(notebook) as transport:
        report = exchange(notebook, transport)

0. Nothing to send, and met before: the page behind the cursor is asked for at once. If the cabin answers in the same
   epoch, that was all; if not, nothing of the page is kept and the steps below follow.
1. `hello`: which cabin, in which epoch, with what head. A newer format: stop, nothing was sent.
2. If the epoch is another than last time, or the head lies below our cursor, the cabin was put back from a backup:
   everything kept here goes back to it, what was fetched from others too; then own changes count as unsent and the
   cursor as 0.
3. Push: unsent changes in their order, in batches of at most 500 and about 4 MB. The cabin answers for each change;
   only then, and with all of them answered for, the batch is noted as sent.
4. Pull: pages from the cursor on. A page and the cursor behind it are noted in one line of the journal.
5. If the cabin holds higher numbers of this notebook than it has itself, or tells of a fork that nothing was fetched
   for, this is a copy, an old copy, or has one: what the other one wrote is fetched too, and `report.forks` says so.

The cabin answers a change it has with `known`, and a notebook passes over what it knows; that is all it takes to begin
again anywhere. Not here: the connection (transport), what a fork asks for (the notebook's `new_life`, by a person).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from fieldapp.records import wire
from fieldapp.store.notebook import Cursor, Notebook
from fieldapp.sync.enrol import check_format
from fieldapp.sync.errors import NotUnderstood, Refused, SyncError
from fieldapp.sync.transport import Transport

BATCH, BATCH_CHARACTERS, PAGE = 500, 4_000_000, 1000
UNPROCESSABLE = 422
BEGIN_AGAIN = 3
"""How often an exchange starts over because the cabin's epoch changed under it."""

Progress = Callable[[str, int, int], None]
"""Called with a stage ("push" or "pull"), how many changes are done and how many there are to do (0: not known)."""


@dataclass(slots=True)
class Report:
    """What an exchange has done.

    sent       changes that were new to the cabin
    known      changes it had already
    unread     (id, why) of changes it could not read and keeps as they came
    set_aside  (id, why) of changes it keeps without effect
    received   changes that were new here
    received_unread  bodies fetched that this version cannot read; kept as they came
    notices    sentences from the cabin: forks, gaps, another site's changes
    forks      this notebook's number was given twice: it is a copy, or an old copy was put back
    epoch_changed  the cabin was put back from a backup, and everything was sent again
    """

    sent: int = 0
    known: int = 0
    unread: list[tuple[str, str]] = field(default_factory=list)
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    received: int = 0
    received_unread: int = 0
    notices: list[str] = field(default_factory=list)
    forks: bool = False
    epoch_changed: bool = False


class _EpochChanged(Exception):
    """The cabin's epoch is not the one of this exchange's hello any more."""


def exchange(notebook: Notebook, transport: Transport, progress: Progress | None = None) -> Report:
    """Sends and fetches everything there is. Raises SyncError, with what had been done in its `report`."""
    report = Report()
    try:
        for attempt in range(1 + BEGIN_AGAIN):
            try:
                _Exchange(notebook, transport, report, progress or _silent).run(at_once=attempt == 0)
                return report
            except _EpochChanged:
                continue
        raise NotUnderstood(what="epoch")
    except SyncError as error:
        error.report = report
        raise


def _silent(stage: str, done: int, total: int) -> None:
    pass


class _Exchange:
    """One run through the steps."""

    def __init__(self, notebook: Notebook, transport: Transport, report: Report, progress: Progress) -> None:
        self.notebook = notebook
        self.transport = transport
        self.report = report
        self.progress = progress
        self.server = transport.fingerprint
        self.epoch = ""

    def run(self, at_once: bool) -> None:
        cursor = self.notebook.cursor(self.server)
        # The mark is what tells a cabin that was put back from a backup and has gone on: without it, ask by the steps.
        if at_once and cursor.epoch and self._mark(cursor.seq) and not self.notebook.unsent_count(self.server):
            self.epoch = cursor.epoch
            self._fetch(False)
            return
        hello = self.transport.ask("GET", "/api/v1/hello")
        check_format(hello)
        self.epoch, head = _text(hello, "epoch"), _number(hello, "head")
        cursor = self.notebook.cursor(self.server)
        fetch_own = False
        if cursor.epoch and (cursor.epoch != self.epoch or head < cursor.seq):
            self.report.epoch_changed = fetch_own = True
            self._send_all()
            cursor = Cursor(self.epoch, 0, {})
        elif not cursor.epoch:
            cursor = Cursor(self.epoch, cursor.seq, cursor.pushed)
        self.notebook.set_cursor(self.server, cursor)
        self._push()
        if self.report.forks:
            fetch_own = True
        self._fetch(fetch_own)

    def _fetch(self, own: bool) -> None:
        highest, forks = self._pull(own)
        # Own numbers are passed over, so that another copy's must be asked for: those beyond ours, those given twice.
        fetched = self.notebook.setting(f"forks/{self.server}")
        known = {"epoch": self.epoch, "notebook": self.notebook.id, "forks": forks}
        if not own and (highest > self.notebook.n or (forks and fetched != known)):
            self.report.forks = own = True
            self._pull(True)
        if own and fetched != known:
            self.notebook.set_setting(f"forks/{self.server}", known)
        self.report.forks = self.report.forks or self.notebook.lives_elsewhere

    # -- pushing

    def _send_all(self) -> None:
        """Everything that is kept here but own changes, which count as unsent afterwards."""
        entries = [(one, body) for own, one, body in self.notebook.bodies() if not own]
        for done, batch in _counted(batches(entries)):
            self._send(batch)
            self.progress("push", done, len(entries))

    def _push(self) -> None:
        total = self.notebook.unsent_count(self.server)
        while changes := self.notebook.unsent(self.server):
            by_id = {one.id: one for one in changes}
            for done, batch in _counted(batches((one.id, one.body) for one in changes)):
                self._send(batch)
                # In their order: the last of each life of the notebook stands for those before it.
                for last in {by_id[one].notebook: by_id[one] for one, _ in batch}.values():
                    self.notebook.mark_pushed(self.server, last)
                self.progress("push", done, max(total, done))

    def _send(self, batch: list[tuple[str, str]]) -> None:
        try:
            answer = self._ask_push(batch=wire.packed(batch))
        except Refused as refused:
            if refused.fields.get("status") != UNPROCESSABLE:
                raise
            # Not what was sent has arrived, or the cabin is an older one: as it is, each entry with its id.
            answer = self._ask_push(changes=[{"id": one, "body": body} for one, body in batch])
        answers = _answers(answer, [one for one, _ in batch])
        for one in answers:
            self._answered(one)
        for notice in _list(answer, "notices"):
            self._noticed(notice)
        if _text(answer, "epoch") != self.epoch:
            raise _EpochChanged

    def _ask_push(self, **form: Any) -> dict[str, Any]:
        return self.transport.ask("POST", "/api/v1/push", body={"epoch": self.epoch, **form})

    def _answered(self, answer: dict[str, Any]) -> None:
        what, why = answer.get("answer"), str(answer.get("why", ""))
        if what == "taken":
            self.report.sent += 1
        elif what == "known":
            self.report.known += 1
        elif what == "kept_unread":
            self.report.unread.append((str(answer["id"]), why))
        elif what == "set_aside":
            self.report.set_aside.append((str(answer["id"]), why))
        else:
            # A word that only a newer cabin knows: it must not count as received.
            raise NotUnderstood(what=f"push: {what}")

    def _noticed(self, notice: dict[str, Any]) -> None:
        about, words = notice.get("about"), str(notice.get("text", ""))
        if words not in self.report.notices:
            self.report.notices.append(words)
        if notice.get("what") == "fork" and isinstance(about, dict) and about.get("notebook") == self.notebook.id:
            self.report.forks = True

    # -- pulling

    def _pull(self, own: bool) -> tuple[int, int]:
        """Fetches to the end, own changes too if asked, then from 0.

        Returns the highest own number that the cabin has, and how many of them it has twice.
        """
        at = 0 if own else self.notebook.cursor(self.server).seq
        mark, done = self._mark(at), 0
        while True:
            query: dict[str, str | int] = {
                "since": at,
                "limit": PAGE,
                "all": int(own),
                "epoch": self.epoch,
                "mark": mark,
                "lean": 1,
            }
            page = self.transport.ask("GET", "/api/v1/pull", query=query)
            if "format" in page:
                check_format(page)
            if _text(page, "epoch") != self.epoch:
                raise _EpochChanged
            bodies = _bodies(page)
            at, mark = _number(page, "cursor"), _text(page, "mark")
            highest, forks = _number(page, "own"), _number(page, "forks")
            now = self.notebook.cursor(self.server)
            found = self.notebook.pull(bodies, self.server, Cursor(self.epoch, max(at, now.seq), now.pushed))
            self.report.received += len(found.new)
            self.report.received_unread += len(found.unread)
            done += len(bodies)
            self.progress("pull", done, 0)
            if page.get("more") is not True:
                if mark != self._mark(at):  # nothing new: nothing to write down
                    self.notebook.set_setting(f"mark/{self.server}", {"seq": at, "mark": mark})
                return highest, forks

    def _mark(self, at: int) -> str:
        """What came with the cursor at `at`, if it is that cursor's."""
        kept = self.notebook.setting(f"mark/{self.server}")
        return str(kept["mark"]) if isinstance(kept, dict) and kept.get("seq") == at and "mark" in kept else ""


def batches(entries: Iterable[tuple[str, str]]) -> Iterator[list[tuple[str, str]]]:
    """(id, body) pairs in their order, so many at a time as one push takes. A single large one goes alone."""
    batch: list[tuple[str, str]] = []
    size = 0
    for one in entries:
        if batch and (len(batch) == BATCH or size + len(one[1]) > BATCH_CHARACTERS):
            yield batch
            batch, size = [], 0
        batch.append(one)
        size += len(one[1])
    if batch:
        yield batch


def _counted(parts: Iterable[list[tuple[str, str]]]) -> Iterator[tuple[int, list[tuple[str, str]]]]:
    done = 0
    for part in parts:
        done += len(part)
        yield done, part


def _answers(answer: dict[str, Any], ids: list[str]) -> list[dict[str, Any]]:
    """An answer for each of `ids`. Raises NotUnderstood where one is missing."""
    listed = _list(answer, "answers")
    if "check" not in answer:
        if [one.get("id") for one in listed] != ids:
            raise NotUnderstood(what="push")
        return listed
    if answer["check"] != wire.check(ids):
        raise NotUnderstood(what="push")
    found: list[dict[str, Any]] = [{"id": one, "answer": "taken"} for one in ids]
    for one in listed:
        at = _number(one, "at")
        if not 0 <= at < len(ids):
            raise NotUnderstood(what="push")
        found[at] = {**one, "id": ids[at]}
    return found


def _bodies(page: dict[str, Any]) -> list[str]:
    """The texts of a page's changes, in whichever form they came."""
    if "batch" not in page:
        return [_text(one, "body") for one in _list(page, "changes")]
    try:
        return [body for _, body in wire.unpacked(page["batch"])]
    except wire.Damaged as fault:
        raise NotUnderstood(what="pull") from fault


def _text(answer: dict[str, Any], name: str) -> str:
    value = answer.get(name)
    if not isinstance(value, str):
        raise NotUnderstood(what=name)
    return value


def _number(answer: dict[str, Any], name: str) -> int:
    value = answer.get(name)
    if not isinstance(value, int):
        raise NotUnderstood(what=name)
    return value


def _list(answer: dict[str, Any], name: str) -> list[dict[str, Any]]:
    value = answer.get(name)
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        raise NotUnderstood(what=name)
    return value
