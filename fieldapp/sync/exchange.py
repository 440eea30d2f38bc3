"""The exchange of a notebook with its cabin. It may be cut at any byte and begun again: nothing is lost or doubled.

    with transport_for(notebook) as transport:
        report = exchange(notebook, transport)

0. Met before: begins with 3, or, with nothing to send, by asking whether there is anything new at all. If the cabin
   answers in another epoch than the last time, nothing of its answer is kept and all steps follow.
1. `hello`: which cabin, in which epoch, with what head, at what time. No format in common: stop, nothing was sent.
2. If the epoch is another than last time, or the head lies below our cursor, the cabin was put back from a backup:
   everything kept here goes back to it, what was fetched from others too; then own changes count as unsent and the
   cursor as 0.
3. Push: unsent changes in their order, in batches that fit the line, of at most 1,000 and about 4 MB. The cabin answers
   for each change; only then, and with all of them answered for, the batch is noted as sent. The next one is packed
   while the cabin works; with the last one goes the question for the first page of 4.
4. Pull: pages from the cursor on. A page and the cursor behind it are noted in one line of the journal.
   A request that is cut is tried again, smaller and after a wait (patience); what was answered is not asked again.
5. If the cabin holds higher numbers of this notebook than it has itself, or tells of a fork, this is a copy or an old
   copy: what the other one wrote is fetched too, and `report.forks` says so. It goes on syncing as it is.

The cabin answers a change it has with `known`, and a notebook passes over what it knows; that is all it takes to begin
again anywhere. It may run beside the recorder: what is saved meanwhile is sent by it or waits for the next.
Not here: the connection (transport), what a fork asks for (lives, by a person).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Any, NamedTuple

from fieldapp.records import batches, wire
from fieldapp.records.changes import kept
from fieldapp.records.wire import BATCH, PAGE
from fieldapp.store.notebook import Cursor, Notebook
from fieldapp.sync import carry_keys, clocks
from fieldapp.sync.ahead import Ahead
from fieldapp.sync.enrol import check_format
from fieldapp.sync.errors import NotUnderstood, Refused, SyncError
from fieldapp.sync.patience import Means, Patience, Portion
from fieldapp.sync.transport import Packed, Transport

UNPROCESSABLE = 422

ROUNDS = 2
"""What is saved while the first round is sent goes with the second; an exchange does not run after the recorder."""

BEGIN_AGAIN = 3
"""How often an exchange starts over because the cabin's epoch changed under it."""


@dataclass(frozen=True, slots=True)
class Step:
    """How far an exchange has come.

    stage        hello, push or pull
    done, total  changes of this stage (total 0: not known)
    sent, received  bytes over the line so far, packed as they go
    wait         seconds until the next try, after a cut; 0 while it goes on
    """

    stage: str = "hello"
    done: int = 0
    total: int = 0
    sent: int = 0
    received: int = 0
    wait: float = 0.0


Progress = Callable[[Step], None]


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
    clock      own time minus the cabin's, None if it did not tell; see clocks.sentence
    bytes_sent, bytes_received  over the line, packed, as far as the connection tells
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
    clock: timedelta | None = None
    bytes_sent: int = 0
    bytes_received: int = 0


class Batch(NamedTuple):
    """What goes at once: its (id, body) pairs, the same as a request's body, and how many pairs there are in all."""

    entries: list[tuple[str, str]]
    form: Packed
    end: int


class _EpochChanged(Exception):
    """The cabin's epoch is not the one of this exchange's hello any more."""


def exchange(
    notebook: Notebook,
    transport: Transport,
    progress: Progress | None = None,
    *,
    cancelled: Callable[[], bool] | None = None,
    means: Means | None = None,
) -> Report:
    """Sends and fetches everything there is. Raises SyncError, with what had been done in its `report`.

    `cancelled` is asked all the while, and ends it with Cancelled. `means` is passed in by tests.
    """
    report = Report()
    stopped = cancelled or (lambda: False)
    one = _Exchange(notebook, transport, report, progress or (lambda step: None), stopped, means or Means())
    transport.moved = one.moved
    try:
        for attempt in range(1 + BEGIN_AGAIN):
            try:
                one.run(at_once=attempt == 0)
                return report
            except _EpochChanged:
                continue
        raise NotUnderstood(what="epoch")
    except SyncError as error:
        error.report = report
        raise
    finally:
        transport.moved = None


class _Exchange:
    """One exchange; `run` goes through the steps, once an epoch."""

    def __init__(
        self,
        notebook: Notebook,
        transport: Transport,
        report: Report,
        progress: Progress,
        cancelled: Callable[[], bool],
        means: Means,
    ) -> None:
        self.notebook = notebook
        self.transport = transport
        self.report = report
        self.progress = progress
        self.patience = Patience(means, cancelled, self._waits)
        self.sending, self.fetching = Portion(BATCH), Portion(PAGE)
        self.server = transport.fingerprint
        self.epoch = ""
        self._page: dict[str, Any] | None = None
        self._at = ("hello", 0, 0)

    def run(self, at_once: bool) -> None:
        self._page = None
        if at_once and self._met_before():
            self._as_before()
        else:
            self._by_steps()

    def _as_before(self) -> None:
        """With a cabin as it was the last time. Raises _EpochChanged, to go by the steps."""
        cursor = self.notebook.cursor(self.server)
        self.epoch = cursor.epoch
        if self.notebook.unsent_count(self.server):
            self._push()
        elif self.patience.ask(partial(self._is_as_known, cursor)):
            return
        self._fetch(self.report.forks)

    def _is_as_known(self, cursor: Cursor) -> bool:
        """Whether there is nothing to fetch, either."""
        asked = self.notebook.clock()
        known = wire.tag(cursor.epoch, cursor.seq, cursor.mark, self.notebook.n)
        news = self.transport.ask("GET", "/api/v1/news", known=known)
        if news.get("unchanged") is True:
            self.report.clock = clocks.difference(asked, self.notebook.clock(), news.get("at"))
            return True
        self._met(news, asked)
        return False

    def _by_steps(self) -> None:
        hello = self.patience.ask(self._hello)
        self.epoch, head = _text(hello, "epoch"), _number(hello, "head")
        cursor = self.notebook.cursor(self.server)
        fetch_own = self.notebook.lives_elsewhere
        if cursor.epoch and (cursor.epoch != self.epoch or head < cursor.seq):
            self.report.epoch_changed = fetch_own = True
            # A backup may be older than the keys, too.
            self.patience.ask(partial(carry_keys.register, self.notebook, self.transport))
            self._send_all()
            cursor = Cursor(self.epoch, 0, {})
            self.notebook.set_setting(f"all/{self.server}", None)
        elif not cursor.epoch:
            cursor = Cursor(self.epoch, cursor.seq, cursor.pushed)
        self.notebook.set_cursor(self.server, cursor)
        if not carry_keys.registered(self.notebook, self.server):
            self.patience.ask(partial(carry_keys.register, self.notebook, self.transport))
        self._push()
        if self.report.forks:
            fetch_own = True
        self._fetch(fetch_own)

    def _met_before(self) -> bool:
        notebook, cursor = self.notebook, self.notebook.cursor(self.server)
        # The mark is what tells a cabin that was put back from a backup and has gone on: without it, ask by the steps.
        met = bool(cursor.epoch and cursor.mark)
        return met and not notebook.lives_elsewhere and carry_keys.registered(notebook, self.server)

    def _fetch(self, own: bool) -> None:
        if self._pull(own) and not own:
            self.report.forks = True
            self._pull(True)
        self.report.forks = self.report.forks or self.notebook.lives_elsewhere

    def _hello(self) -> dict[str, Any]:
        asked = self.notebook.clock()
        hello = self.transport.ask("GET", "/api/v1/hello")
        self._met(hello, asked)
        return hello

    def _met(self, answer: dict[str, Any], asked: datetime) -> None:
        """Whether there is a format in common, and how far the clocks are apart. Raises CabinIsNewer, CabinIsOlder."""
        check_format(answer)
        self.report.clock = clocks.difference(asked, self.notebook.clock(), answer.get("at"))

    # -- telling

    def moved(self, sent: int, received: int) -> None:
        """Bytes have gone over the line; also the moment to hear that somebody has cancelled."""
        self.report.bytes_sent += sent
        self.report.bytes_received += received
        self._tell()
        self.patience.check()

    def _waits(self, seconds: float) -> None:
        self._tell(seconds)

    def _step(self, stage: str, done: int, total: int) -> None:
        self._at = (stage, done, total)
        self._tell()

    def _tell(self, wait: float = 0.0) -> None:
        self.progress(Step(*self._at, self.report.bytes_sent, self.report.bytes_received, wait))

    # -- pushing

    def _send_all(self) -> None:
        """Everything that is kept here but own changes, which count as unsent afterwards."""
        entries = [(one, body) for own, one, body in self.notebook.bodies() if not own]
        with Ahead(partial(self._prepared, entries, False)) as ahead:
            at = 0
            while at < len(entries):
                at += len(self.patience.ask(partial(self._send, ahead, at), self.sending))
                self._step("push", at, len(entries))

    def _push(self) -> None:
        done, total = 0, self.notebook.unsent_count(self.server)
        self._step("push", done, total)
        for _ in range(ROUNDS):
            entries = self.notebook.unsent_bodies(self.server)
            with Ahead(partial(self._prepared, entries, True)) as ahead:
                at = 0
                while at < len(entries):
                    sent = self.patience.ask(partial(self._send, ahead, at), self.sending)
                    self._note_sent(sent)
                    at += len(sent)
                    done += len(sent)
                    self._step("push", done, max(total, done))

    def _note_sent(self, sent: Sequence[tuple[str, str]]) -> None:
        changes = [kept(body, one) for one, body in (sent[0], sent[-1])]
        if changes[0].notebook != changes[1].notebook:
            changes = [kept(body, one) for one, body in sent]
        # In their order: the last of each life of the notebook stands for those before it.
        for change in {one.notebook: one for one in changes}.values():
            self.notebook.mark_pushed(self.server, change)

    def _prepared(self, entries: Sequence[tuple[str, str]], then_fetch: bool, at: int) -> Batch:
        """As many as go at once now, packed; with the last of them, if so wished, the question for a page."""
        batch = self.sending.take(entries, at)
        form: dict[str, Any] = {"epoch": self.epoch, "batch": batches.packed(batch, known=True)}
        if then_fetch and at + len(batch) == len(entries):
            cursor = self.notebook.cursor(self.server)
            form["then"] = self._behind(cursor.seq, cursor.mark)
        return Batch(batch, Packed(form), len(entries))

    def _send(self, ahead: Ahead[Batch], at: int) -> list[tuple[str, str]]:
        """Sends as many as go at once now, and gives them back when all are answered for."""
        asked = self.notebook.clock()
        batch, form, end = ahead.take(at)
        if at + len(batch) < end:
            ahead.prepare(at + len(batch))
        try:
            answer = self._ask_push(form)
        except Refused as refused:
            if refused.fields.get("status") != UNPROCESSABLE:
                raise
            # Not what was sent has arrived, or the cabin is an older one: as it is, each entry with its id.
            answer = self._ask_push(
                {"epoch": self.epoch, "changes": [{"id": one, "body": body} for one, body in batch]}
            )
        taken, others = _answers(answer, [one for one, _ in batch])
        self.report.sent += taken
        for one in others:
            take_answer(self.report, one)
        if _text(answer, "epoch") != self.epoch:
            # What it misses, it gets by the steps.
            raise _EpochChanged
        for notice in _list(answer, "notices"):
            take_notice(self.report, notice, self.notebook)
        page = answer.get("page")
        self._page = page if isinstance(page, dict) else None
        if self._page is not None:
            self._met(self._page, asked)
        return batch

    def _ask_push(self, form: dict[str, Any]) -> dict[str, Any]:
        return self.transport.ask("POST", "/api/v1/push", body=form)

    # -- pulling

    def _pull(self, own: bool) -> bool:
        """Fetches to the end, own changes too if asked. Returns whether there is another copy of this notebook.

        The cabin then has higher numbers of it than it has itself, or has had one of them twice.

        How far own changes were fetched is noted by itself, so that a copy that goes on as it is does not fetch
        everything again each time.
        """
        cursor = self.notebook.cursor(self.server)
        at, mark = self._all_fetched() if own else (cursor.seq, cursor.mark)
        done = 0
        self._step("pull", done, 0)
        while True:
            page, self._page = self._page, None
            if page is None or own:
                page = self.patience.ask(partial(self._ask_page, at, mark, own), self.fetching)
            if _text(page, "epoch") != self.epoch:
                raise _EpochChanged
            bodies = _bodies(page)
            at, mark = _number(page, "cursor"), _text(page, "mark")
            highest = _number(page, "own")
            now = self.notebook.cursor(self.server)
            here = Cursor(self.epoch, at, now.pushed, mark) if at >= now.seq else now
            found = self.notebook.pull(bodies, self.server, here)
            self.report.received += len(found.new)
            self.report.received_unread += len(found.unread)
            done += len(bodies)
            if own:
                self.notebook.set_setting(f"all/{self.server}", {"seq": at, "mark": mark, "epoch": self.epoch})
            self._step("pull", done, 0)
            if page.get("more") is not True:
                return highest > self.notebook.n or page.get("forked") is True

    def _behind(self, at: int, mark: str) -> dict[str, str | int]:
        """What asks for the page behind a cursor."""
        return {
            "since": at,
            "limit": self.fetching.changes,
            "characters": self.fetching.characters,
            "epoch": self.epoch,
            "mark": mark,
            "lean": 1,
        }

    def _ask_page(self, at: int, mark: str, own: bool) -> dict[str, Any]:
        query = {**self._behind(at, mark), "all": int(own)}
        asked = self.notebook.clock()
        page = self.transport.ask("GET", "/api/v1/pull", query=query)
        if "format" in page:
            self._met(page, asked)
        return page

    def _all_fetched(self) -> tuple[int, str]:
        """How far own changes were fetched in this epoch, and the mark there."""
        noted = self.notebook.setting(f"all/{self.server}")
        fits = isinstance(noted, dict) and noted.get("epoch") == self.epoch
        return (int(noted["seq"]), str(noted["mark"])) if fits else (0, "")


def take_answer(report: Report, answer: dict[str, Any]) -> None:
    """Counts what the cabin said of one change. Raises NotUnderstood."""
    what, why = answer.get("answer"), str(answer.get("why", ""))
    if what == "taken":
        report.sent += 1
    elif what == "known":
        report.known += 1
    elif what == "kept_unread":
        report.unread.append((str(answer["id"]), why))
    elif what == "set_aside":
        report.set_aside.append((str(answer["id"]), why))
    else:
        # A word that only a newer cabin knows: it must not count as received.
        raise NotUnderstood(what=f"push: {what}")


def take_notice(report: Report, notice: dict[str, Any], notebook: Notebook) -> None:
    """Adds what the cabin noticed."""
    about, words = notice.get("about"), str(notice.get("text", ""))
    if words not in report.notices:
        report.notices.append(words)
    if notice.get("what") == "fork" and isinstance(about, dict) and about.get("notebook") == notebook.id:
        report.forks = True


def _answers(answer: dict[str, Any], ids: list[str]) -> tuple[int, list[dict[str, Any]]]:
    """How many of `ids` were simply taken, and an answer for each other. Raises NotUnderstood where one is missing."""
    listed = _list(answer, "answers")
    if "check" not in answer:
        if [one.get("id") for one in listed] != ids:
            raise NotUnderstood(what="push")
        return 0, listed
    if answer["check"] != batches.check(ids):
        raise NotUnderstood(what="push")
    others = {_number(one, "at"): one for one in listed}
    if not all(0 <= at < len(ids) for at in others):
        raise NotUnderstood(what="push")
    return len(ids) - len(others), [{**one, "id": ids[at]} for at, one in others.items()]


def _bodies(page: dict[str, Any]) -> list[str]:
    """The texts of a page's changes, in whichever form they came."""
    if "batch" not in page:
        return [_text(one, "body") for one in _list(page, "changes")]
    try:
        return [body for _, body in batches.unpacked(page["batch"])]
    except batches.Damaged as fault:
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
