"""Meeting the cabin: setup of the tablet, and syncing. The exchange itself is passed in, and may run on any thread."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from fieldapp.domain import ids
from fieldapp.records import enrolment
from fieldapp.store.own import written
from fieldapp.sync import enrol as enrolling
from fieldapp.sync.errors import NotEnrolled
from fieldapp.sync.finding import Seen
from fieldapp.sync.photos import waiting
from fieldapp.ui.presenters.context import short_label
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.hold import when
from fieldapp.ui.presenters.keyed import ADDRESS, CROCKFORD, DIGITS, LETTERS, Entry, grouped_code
from fieldapp.ui.texts import say

SYNCED = "synced"
"""Setting: when everything was last exchanged."""

KINDS = ("docket", "bag", "context", "sample", "group", "tally", "photo", "hold")
"""Kinds of record that are told by name."""


class Progress(Protocol):
    """Told how far it is: changes sent and received, bytes both ways, seconds until the next try after a cut, and then
    how many bytes of pictures of how many."""

    def __call__(
        self, sent: int, received: int, moved: int = 0, wait: float = 0.0, pictures: tuple[int, int] = (0, 0), /
    ) -> None:
        """Something has moved."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """How an exchange with the cabin went.

    sent, received   changes
    trouble          a sentence, "" if it went through
    notices          sentences of the cabin's
    pictures         photographs that the cabin has since
    enrol            it is for a code from the cabin to mend: the cabin lets this tablet in no more, or is another one
    away             nothing answers where the cabin was: it may be at another address
    """

    sent: int = 0
    received: int = 0
    trouble: str = ""
    notices: tuple[str, ...] = ()
    cancelled: bool = False
    pictures: int = 0
    enrol: bool = False
    away: bool = False


class Cabin(Protocol):
    """What the screens want of the exchange."""

    def look(self) -> Sequence[Seen]:
        """The cabins that announce themselves on this network. Blocks for seconds; never raises."""

    def enrol(self, addresses: Sequence[str], code: str) -> str:
        """Enrols the tablet and notes the cabin; "" if it went through, else a sentence. Blocks."""

    def move(self, address: str) -> str:
        """Takes another address for the same cabin; "" if it answers there, else a sentence. Blocks."""

    def new_life(self) -> str:
        """Lets a copied tablet go on as a new one; "" if it went through, else a sentence. Blocks."""

    def fetch_key(self, person: str, role: str, password: str) -> str:
        """Fetches a specialist's key and keeps it; "" if it went through, else a sentence. Blocks."""

    def exchange(self, progress: Progress, cancelled: Callable[[], bool]) -> Exchange:
        """Sends and fetches everything. Blocks; never raises."""


class Setup:
    """The first start, or enrolment later. `way`: "" to choose, "cabin", "alone", or "picture" to choose one; "moved"
    to give another address for the cabin that the tablet is enrolled at.

    error    a sentence, or several; `refused`: it is about what was met at the address, not about what is typed
    found    cabins that announce themselves; None while they are looked for
    scan     reads the texts of the QR codes in a picture; None where this machine cannot
    """

    def __init__(self, desk: Desk, cabin: Cabin) -> None:
        self.desk = desk
        self.cabin = cabin
        self.way = ""
        self.at = "address"
        self.error = ""
        self.refused = False
        self.busy = False
        self.found: Sequence[Seen] | None = ()
        self.scan: Callable[[Path], Sequence[str]] | None = None
        self._also: tuple[str, ...] = ()
        self.entries = {
            "address": Entry(ADDRESS, 60, upper=False),
            "code": Entry(CROCKFORD, 14),
            "site": Entry(LETTERS + DIGITS, 10),
            "letter": Entry(LETTERS, 2),
        }

    def look(self) -> None:
        """Looks for cabins; blocks, for a thread of its own."""
        self.found = self.cabin.look()

    def choose(self, number: int) -> None:
        """Takes a cabin that was found: only the code is wanted still."""
        seen = (self.found or ())[number]
        self.begin("cabin")
        self._fill(seen.addresses)
        self.at = "code"

    def scanned(self, path: Path) -> bool:
        """Reads address and code from a picture of the cabin's QR code. False, with `error`, if there is none in it."""
        for text in self.scan(path) if self.scan is not None else ():
            try:
                addresses, code = enrolment.parse_qr(text)
            except enrolment.CodeError:
                continue
            self.begin("cabin")
            self._fill(addresses)
            self.entries["code"].clear()
            self.entries["code"].press(code)
            self.at = "code"
            return True
        self.error = say("setup.no_qr")
        return False

    def _fill(self, addresses: Sequence[str]) -> None:
        # As it is, whatever keys there are for typing one.
        self.entries["address"].text = addresses[0]
        self._also = tuple(addresses[1:])

    def addresses(self) -> list[str]:
        """Where to ask, in this order: what was typed or chosen, then what was found of the cabin the code is for."""
        code = self.entries["code"].text
        seen = [each for one in self.found or () if one.short == code[-enrolment.SHORT :] for each in one.addresses]
        typed = self.entries["address"].text
        return list(dict.fromkeys(one for one in (typed, *self._also, *seen) if one))

    def begin(self, way: str) -> None:
        """Takes one of the ways."""
        self.way = way
        self.forget()
        self._also = ()
        self.at = {"cabin": "address", "alone": "site", "moved": "address"}.get(way, "")
        if way == "moved":
            self._fill([str(self.desk.cabin.get("address", ""))])

    def forget(self) -> None:
        """What went wrong is read; now for another try."""
        self.error, self.refused = "", False

    def _asked(self, ask: Callable[[], str]) -> bool:
        self.error = self.ready()
        if not self.error:
            self.error = ask()
            self.refused = bool(self.error)
        self.desk.refresh()
        return not self.error

    def fields(self) -> tuple[str, ...]:
        """The entries of the way taken."""
        return {"cabin": ("address", "code"), "alone": ("site", "letter"), "moved": ("address",)}.get(self.way, ())

    def shown(self, name: str) -> str:
        """An entry as it is shown."""
        text = self.entries[name].text
        return grouped_code(text) if name == "code" else text

    def ready(self) -> str:
        """What is still wanted, as a sentence; "" when it can go on."""
        if self.way == "cabin":
            if not self.addresses():
                return say("setup.need_address")
            return "" if len(self.entries["code"].text) == 14 else say("setup.need_code")
        if self.way == "moved":
            return "" if self.entries["address"].text else say("setup.need_address")
        if len(self.entries["site"].text) < 2:
            return say("setup.need_site")
        return "" if self.entries["letter"].text else say("setup.need_letter")

    def start_alone(self) -> bool:
        """Goes on without the cabin. False, with `error` saying why, while something is wanted."""
        self.error = self.ready()
        if self.error:
            return False
        code = self.entries["site"].text
        self.desk.notebook.identify(site=ids.site_id(code), code=code, letter=self.entries["letter"].text)
        return True

    def move(self) -> bool:
        """Takes the address; blocks. False, with `error` saying why, if another cabin or none answers there."""
        return self._asked(lambda: self.cabin.move(self.entries["address"].text))

    def enrol(self) -> bool:
        """Enrols at the cabin; blocks. False, with `error` saying why, if it did not go through."""
        return self._asked(lambda: self.cabin.enrol(self.addresses(), self.shown("code")))


@dataclass
class Sync:
    """The sync screen. `running` while an exchange goes on elsewhere."""

    desk: Desk
    cabin: Cabin
    running: bool = False
    sent: int = 0
    received: int = 0
    pictures: tuple[int, int] = (0, 0)
    moved: int = 0
    wait: float = 0.0
    renewing: bool = False
    renewed: str = ""
    result: Exchange | None = None
    _cancelled: bool = field(default=False, repr=False)

    @property
    def address(self) -> str:
        """The cabin's address, "" before enrolment."""
        return str(self.desk.cabin.get("address", ""))

    @property
    def wants_code(self) -> bool:
        """Whether the last exchange ended so that the tablet has to be enrolled again."""
        return self.result is not None and self.result.enrol

    @property
    def away(self) -> bool:
        """Whether the last exchange found nobody where the cabin was."""
        return self.result is not None and self.result.away

    def begin(self) -> bool:
        """Marks the exchange as running. False if it is already, or if no cabin is known."""
        if self.running or not self.address:
            return False
        self.running, self._cancelled, self.result = True, False, None
        self.sent = self.received = self.moved = 0
        self.wait, self.renewed = 0.0, ""
        self.pictures = (0, 0)
        return True

    def run(self, heard: Callable[[], None]) -> None:
        """The exchange itself, for a thread of its own; `heard` is called after each step."""

        def progress(
            sent: int, received: int, moved: int = 0, wait: float = 0.0, pictures: tuple[int, int] = (0, 0), /
        ) -> None:
            self.sent, self.received, self.moved, self.wait, self.pictures = sent, received, moved, wait, pictures
            heard()

        self.result = self.cabin.exchange(progress, lambda: self._cancelled)
        self.running = False
        heard()

    def cancel(self) -> None:
        """Ends the exchange at the next step. Nothing is lost, and what was exchanged stays."""
        self._cancelled = True

    def finished(self) -> None:
        """What came in is on the screens from now on. On the screens' own thread."""
        found = self.result
        if found is not None and not found.trouble and not found.cancelled:
            self.desk.notebook.set_setting(SYNCED, self.desk.now())
        # Others may have read the docket by now; taking it back is no longer an undo of one's own.
        self.desk.last = None
        self.desk.refresh()

    @property
    def copied(self) -> bool:
        """Whether another copy of this tablet goes on elsewhere under the same number."""
        return self.desk.notebook.lives_elsewhere

    def renew(self) -> None:
        """Goes on as a new tablet; blocks, for a thread of its own. `renewed` says how it went."""
        trouble = self.cabin.new_life()
        self.renewed = trouble or say("sync.renewed", letter=self.desk.notebook.letter)
        self.renewing = False

    def told(self) -> list[str]:
        """What stays on the screen until somebody has done something about it."""
        found = [enrolling.letter_changed(self.desk.notebook), self.renewed]
        if self.copied:
            found += [say("sync.copied"), say("sync.copied.what"), say("sync.copied.else")]
        return [one for one in found if one]

    def read(self) -> None:
        """Somebody has read what was told."""
        enrolling.heard(self.desk.notebook)
        self.renewed = ""

    def words(self) -> list[str]:
        """How it stands, in sentences."""
        if self.renewing:
            return [say("sync.renewing")]
        if self.running:
            running = say("sync.running", sent=self.sent, received=self.received)
            moved = say("sync.moved", kb=f"{self.moved / 1000:,.0f}")
            wait = [say("sync.waiting", seconds=f"{self.wait:.0f}")] if self.wait >= 1 else []
            done, total = self.pictures
            pictures = [say("sync.running_pictures", done=_size(done), total=_size(total))] if total else []
            return [running, moved, *wait, *pictures, say("sync.go_on")]
        if not self.address:
            return [str(NotEnrolled())]
        found = self.result
        if found is None:
            return [say("sync.idle")]
        if found.trouble:
            head = [say("sync.trouble", why=found.trouble), say("sync.kept", n=self.desk.unsent())]
        elif found.cancelled:
            head = [say("sync.cancelled"), say("sync.kept", n=self.desk.unsent())]
        else:
            head = [say("sync.done")]
        counts = [say("sync.counts", sent=found.sent, received=found.received)]
        if found.pictures:
            counts.append(say("sync.pictures_sent", n=found.pictures))
        return [*head, *counts, *found.notices]

    def last(self) -> str:
        """When everything was last exchanged."""
        at = self.desk.notebook.setting(SYNCED)
        return say("sync.last", at=when(at)) if isinstance(at, str) else say("sync.never")

    def waits(self) -> str:
        """What waits here, by kind of record."""
        server = str(self.desk.cabin.get("fingerprint", ""))
        kinds = Counter(one.kind for one in self.desk.notebook.unsent(server))
        pictures = waiting(self.desk.notebook, self.desk.photos, server) if self.address else 0
        waits = [say("sync.pictures_wait", n=pictures)] if pictures else []
        if not kinds:
            return " ".join(waits) or say("sync.nothing_waits")
        parts = (say("sync.kind", n=n, kind=say(f"kind.{kind}")) for kind, n in kinds.most_common() if kind in KINDS)
        return " ".join([say("sync.waits", n=kinds.total(), what=", ".join(parts)), *waits])

    def after(self) -> list[str]:
        """What wants a look in the notebook now: disagreements, mine among them, and holds."""
        differ = [one for one in self.desk.notebook.disputed() if one.kind == "docket"]
        holds = self.desk.notebook.records("hold", deleted=True)
        found = []
        if differ:
            found.append(say("sync.differ", n=len(differ)))
            me = self.desk.by["name"]
            own = {one.record for one in written(self.desk.notebook) if one.by == me}
            mine = [short_label(one.value("label")) for one in differ if one.id in own]
            if mine:
                found.append(say("sync.differ_mine", labels=", ".join(mine[:12]) + (" …" if len(mine) > 12 else "")))
        if holds:
            found.append(say("sync.holds", n=len(holds)))
        return found


def _size(count: int) -> str:
    """Bytes as a person reads them."""
    return f"{count / 1_000_000:.1f} MB"
