"""Loading the cabin's answer to a carry-file: it comes to the same as an exchange. See records.carrying.

The lines within: `about` {of: the file answered, asked: what its `about` said, epoch, since, cursor, mark, own}, then
`answer` {id, answer, why} for each change, `photo` {sha256, sealed, answer}, `notice` {notice, text, about}, and
`change` {id, body}: what others wrote after number `since`.

The whole file is read and verified before anything of it is taken. Answers may be loaded twice, late, and in any
order: what is known is passed over, and the cursor never goes back. If the ledger's epoch is another than ours, the
cabin was put back from a backup: what others wrote is taken, the cursor stays, and the next carry-file holds
everything (an exchange over the network would notice by itself); the answer to *that* file then begins the new epoch.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable, Iterator, Set
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fieldapp.assets import texts
from fieldapp.records import carrying, enrolment
from fieldapp.records.carrying import TO_TABLET, Header, Part, Reader, number_of, text_of
from fieldapp.records.wire import PAGE
from fieldapp.store.notebook import Cursor, Notebook
from fieldapp.store.photos import Photos
from fieldapp.sync import carry, carry_keys
from fieldapp.sync.enrol import Enrolment, enrolled
from fieldapp.sync.errors import (
    CarryCut,
    CarryDamaged,
    CarryForeign,
    CarryNewer,
    CarryNone,
    CarryNotSigned,
    CarryOld,
    CarryRefused,
    NotEnrolled,
)
from fieldapp.sync.exchange import Report, take_answer, take_notice
from fieldapp.sync.photos import kept_there

_ERRORS: dict[type[carrying.CarryFault], type[CarryRefused]] = {
    carrying.NoCarryFile: CarryNone,
    carrying.CutShort: CarryCut,
    carrying.Damaged: CarryDamaged,
    carrying.NotSigned: CarryNotSigned,
}


def load(notebook: Notebook, path: Path, progress: carry.Progress | None = None) -> Report:
    """Takes in the cabin's answer at `path`. Raises CarryRefused, NotEnrolled, SaveFailed, OSError."""
    cabin = enrolled(notebook)
    if cabin is None:
        raise NotEnrolled
    with path.open("rb") as file, _in_words():
        reader = Reader(file)
        certificate = _check(reader.header, notebook, cabin)
        private = carry_keys.keys(notebook, reader.header.receiver).seal
        reader.verify(private, carrying.signed_by_cabin(certificate))
        loading = _Loading(notebook, cabin.fingerprint, progress or (lambda *_: None))
        loading.take(reader.parts(private))
        return loading.report


def answers_in(notebook: Notebook, folder: Path) -> list[Path]:
    """The files in a folder that are answers for this notebook by what they say outside, newest first."""
    found = []
    for path in folder.glob(f"*{carry.SUFFIX}") if folder.is_dir() else ():
        try:
            with path.open("rb") as file:
                header = Reader(file).header
        except (OSError, carrying.CarryFault):
            continue
        if header.way == TO_TABLET and header.receiver == notebook.id:
            found.append((header.at, path.name, path))
    return [path for _, _, path in sorted(found, reverse=True)]


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except carrying.NewerFormat as fault:
        raise CarryNewer(theirs=fault.theirs, own=carrying.FORMAT) from fault
    except carrying.CarryFault as fault:
        raise _ERRORS[type(fault)] from fault


def _check(header: Header, notebook: Notebook, cabin: Enrolment) -> bytes:
    """Whether a file is for this notebook and from its cabin; the certificate it shows. Raises CarryForeign."""
    if header.way != TO_TABLET:
        raise _foreign("no_answer", header.code)
    if header.site != cabin.site:
        raise _foreign("site", header.code)
    try:
        certificate = base64.b64decode(header.signer, validate=True)
    except (binascii.Error, ValueError):
        certificate = b""
    if header.sender != cabin.fingerprint or enrolment.fingerprint(certificate) != cabin.fingerprint:
        raise _foreign("cabin", header.code)
    # An earlier life's keys are kept: an answer to it may come late.
    if header.receiver != notebook.id and notebook.setting(f"carry/keys/{header.receiver}") is None:
        raise _foreign("tablet", header.code)
    return certificate


def _foreign(why: str, code: str) -> CarryForeign:
    return CarryForeign(what=texts()[f"sync.carry_foreign.{why}"].format(code=code))


class _Loading:
    """One answer that has been verified."""

    def __init__(self, notebook: Notebook, server: str, progress: carry.Progress) -> None:
        self.notebook, self.server, self.progress = notebook, server, progress
        self.report = Report()
        self.about: dict[str, Any] = {}
        self.answered: set[str] = set()
        self.pictures: set[tuple[str, bool]] = set()
        self.put_back = self.begins = False
        self._bodies: list[str] = []
        self._done = 0

    def take(self, parts: Iterable[Part]) -> None:
        for line, _ in parts:
            what = line["what"]
            if not self.about:
                self._begin(line)
            elif what == "answer":
                take_answer(self.report, line)
                self.answered.add(text_of(line, "id"))
            elif what == "photo":
                if line.get("answer") in ("taken", "known"):
                    self.pictures.add((text_of(line, "sha256"), line.get("sealed") is True))
            elif what == "notice":
                take_notice(self.report, {**line, "what": line.get("notice")}, self.notebook)
            elif what == "change":
                self._bodies.append(text_of(line, "body"))
                if len(self._bodies) == PAGE:
                    self._pull()
        if not self.about:
            raise carrying.Damaged
        self._pull()
        self._end()

    def _begin(self, about: dict[str, Any]) -> None:
        asked = about.get("asked")
        if about["what"] != "about" or not isinstance(asked, dict):
            raise carrying.Damaged
        epoch, ours = text_of(about, "epoch"), self.notebook.cursor(self.server).epoch
        for name in ("since", "cursor", "own"):
            number_of(about, name)
        text_of(about, "mark")
        if ours and ours != epoch:
            if asked.get("epoch") != ours:
                raise CarryOld
            self.report.epoch_changed = True
            self.begins = asked.get("everything") is True
            self.put_back = not self.begins
        self.about = about

    def _pull(self) -> None:
        if self._bodies:
            found = self.notebook.pull(self._bodies)
            self.report.received += len(found.new)
            self.report.received_unread += len(found.unread)
            self._done += len(self._bodies)
            self._bodies = []
            self.progress("pull", self._done, 0)

    def _end(self) -> None:
        """Everything is on the medium; now how far it has come."""
        about, notebook = self.about, self.notebook
        with notebook.lock:
            now = notebook.cursor(self.server)
            if self.put_back:
                notebook.set_setting(carry.everything_at(self.server), now.epoch)
                self.report.notices.append(texts()["sync.carry_everything"])
            else:
                if self.begins:
                    now = Cursor(about["epoch"], 0, {})
                reached = now.seq
                if about["since"] <= now.seq:
                    reached = max(now.seq, about["cursor"])
                else:
                    self.report.notices.append(texts()["sync.carry_gap"])
                mark = about["mark"] if reached == about["cursor"] else now.mark
                pushed = _pushed(notebook, now, self.answered)
                notebook.set_cursor(self.server, Cursor(about["epoch"], reached, pushed, mark))
                kept_there(notebook, Photos(notebook.folder), self.server, self.pictures)
            ahead = about["own"] > notebook.n and about.get("notebook") == notebook.id
            self.report.forks = self.report.forks or ahead or notebook.lives_elsewhere


def _pushed(notebook: Notebook, now: Cursor, answered: Set[str]) -> dict[str, int]:
    """Up to where the cabin has answered for every own change, life by life."""
    pushed, open_ = dict(now.pushed), set()
    if not answered:
        return pushed
    for life, n, one, _ in carry.own_changes(notebook):
        if life in open_ or n <= pushed.get(life, 0):
            continue
        if one in answered:
            pushed[life] = n
        else:
            open_.add(life)
    return pushed
