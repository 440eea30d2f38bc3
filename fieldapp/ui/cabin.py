"""The real exchange with the cabin, as the screens want it: sentences instead of errors, and a way to cancel."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fieldapp.store.errors import StoreError
from fieldapp.sync import clocks, finding, lives, personal_key
from fieldapp.sync.enrol import enrol, transport_for
from fieldapp.sync.errors import Cancelled, CertificateChanged, NotEnrolled, NotReachable, SyncError, TokenWithdrawn
from fieldapp.sync.exchange import Report, Step, exchange
from fieldapp.sync.finding import Seen
from fieldapp.sync.photos import PhotoReport, send_photos
from fieldapp.ui.presenters.cabin import Exchange, Progress
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say

_FAULTS = (SyncError, StoreError, OSError)
_WANT_A_CODE = (NotEnrolled, TokenWithdrawn, CertificateChanged)


class RealCabin:
    """Talks to the cabin through fieldapp.sync. Its methods block; any thread may call them."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def look(self) -> Sequence[Seen]:
        """The cabins that announce themselves on this network."""
        return finding.look()

    def enrol(self, addresses: Sequence[str], code: str) -> str:
        """Enrols the tablet; "" if it went through, else a sentence."""
        try:
            # What it is called is said at the cabin, with the code.
            enrol(self.desk.notebook, addresses, code)
        except _FAULTS as error:
            return str(error)
        # So that the people and contexts are there to choose from. If it fails, the sync screen says why.
        self.exchange(lambda *_, **__: None, lambda: False)
        return ""

    def move(self, address: str) -> str:
        """Takes another address for this tablet's cabin; "" if it is the same cabin that answers, else a sentence."""
        try:
            finding.moved_to(self.desk.notebook, address)
        except NotReachable:
            return say("setup.nobody", address=address)
        except _FAULTS as error:
            return str(error)
        return ""

    def fetch_key(self, person: str, role: str, password: str) -> str:
        """Fetches a specialist's key; "" if it went through, else a sentence."""
        try:
            with transport_for(self.desk.notebook) as transport:
                personal_key.fetch(self.desk.notebook, transport, person, role, password)
        except _FAULTS as error:
            return str(error)
        return ""

    def new_life(self) -> str:
        """Lets a copied tablet go on as a new one; "" if it went through, else a sentence."""
        try:
            lives.finish(self.desk.notebook)
            if self.desk.notebook.lives_elsewhere:
                with transport_for(self.desk.notebook) as transport:
                    lives.go_on_as_new(self.desk.notebook, transport)
        except _FAULTS as error:
            return str(error)
        return ""

    def exchange(self, progress: Progress, cancelled: Callable[[], bool]) -> Exchange:
        """Sends and fetches everything; every end is told in the answer.

        A cabin that does not answer where it was is looked for on the network, once.
        """
        try:
            lives.finish(self.desk.notebook)
            return self._exchange(progress, cancelled)
        except NotReachable as error:
            if not cancelled() and finding.found_again(self.desk.notebook):
                try:
                    return self._exchange(progress, cancelled)
                except _FAULTS as second:
                    return _ended(second)
            return _ended(error)
        except _FAULTS as error:
            return _ended(error)

    def _exchange(self, progress: Progress, cancelled: Callable[[], bool]) -> Exchange:
        counts = {"hello": 0, "push": 0, "pull": 0}

        def heard(step: Step) -> None:
            counts[step.stage] = step.done
            progress(counts["push"], counts["pull"], step.sent + step.received, step.wait)

        def sending(done: int, total: int) -> None:
            progress(counts["push"], counts["pull"], 0, 0.0, (done, total))
            if cancelled():
                raise Cancelled

        with transport_for(self.desk.notebook) as transport:
            report = exchange(self.desk.notebook, transport, heard, cancelled=cancelled)
            try:
                pictures = send_photos(self.desk.notebook, self.desk.photos, transport, sending)
            except SyncError as error:
                error.report = report
                raise
        notices = (*notices_of(report), *_of_pictures(pictures))
        return Exchange(report.sent + report.known, report.received, "", notices, pictures=pictures.sent)


def _ended(error: SyncError | StoreError | OSError) -> Exchange:
    """How an exchange went that did not go through."""
    done = getattr(error, "report", None) or Report()
    ended = isinstance(error, Cancelled)
    return Exchange(
        done.sent + done.known,
        done.received,
        "" if ended else str(error),
        notices_of(done),
        cancelled=ended,
        enrol=isinstance(error, _WANT_A_CODE),
        away=isinstance(error, NotReachable),
    )


def notices_of(report: Report) -> tuple[str, ...]:
    """What else the recorder should know of an exchange. Of a fork the screen tells for as long as it stands."""
    found = list(report.notices)
    if told := clocks.sentence(report.clock):
        found.append(told)
    if report.epoch_changed:
        found.append(say("sync.epoch"))
    if report.unread or report.set_aside:
        found.append(say("sync.not_taken", n=len(report.unread) + len(report.set_aside)))
    if report.received_unread:
        found.append(say("sync.unread", n=report.received_unread))
    return tuple(found)


def _of_pictures(report: PhotoReport) -> tuple[str, ...]:
    """What the recorder should know of the pictures."""
    found = list(dict.fromkeys(report.refused))
    if report.damaged:
        found.append(
            say("sync.pictures_damaged", n=len(report.damaged), names=", ".join(one[:8] for one in report.damaged))
        )
    if report.held:
        found.append(say("sync.pictures_held", n=report.held))
    return tuple(found)
