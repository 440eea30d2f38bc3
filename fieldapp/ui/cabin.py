"""The real exchange with the cabin, as the screens want it: sentences instead of errors, and a way to cancel."""

from __future__ import annotations

from collections.abc import Callable

from fieldapp.store.errors import StoreError
from fieldapp.sync import personal_key
from fieldapp.sync.enrol import enrol, transport_for
from fieldapp.sync.errors import SyncError
from fieldapp.sync.exchange import Report, exchange
from fieldapp.sync.photos import PhotoReport, send_photos
from fieldapp.ui.presenters.cabin import Exchange, Progress
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say


class _Cancelled(Exception):
    """The recorder has enough."""


class RealCabin:
    """Talks to the cabin through fieldapp.sync. Its methods block; any thread may call them."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def enrol(self, address: str, code: str) -> str:
        """Enrols the tablet; "" if it went through, else a sentence."""
        try:
            enrol(self.desk.notebook, address, code, name=say("setup.tablet"))
        except (SyncError, StoreError, OSError) as error:
            return str(error)
        # So that the people and contexts are there to choose from. If it fails, the sync screen says why.
        self.exchange(lambda *counts: None, lambda: False)
        return ""

    def fetch_key(self, person: str, role: str, password: str) -> str:
        """Fetches a specialist's key; "" if it went through, else a sentence."""
        try:
            with transport_for(self.desk.notebook) as transport:
                personal_key.fetch(self.desk.notebook, transport, person, role, password)
        except (SyncError, StoreError, OSError) as error:
            return str(error)
        return ""

    def exchange(self, progress: Progress, cancelled: Callable[[], bool]) -> Exchange:
        """Sends and fetches everything; every end is told in the answer."""
        counts = {"push": 0, "pull": 0}

        def heard(stage: str, done: int, total: int) -> None:
            counts[stage] = done
            progress(counts["push"], counts["pull"])
            if cancelled():
                raise _Cancelled

        def sending(done: int, total: int) -> None:
            progress(counts["push"], counts["pull"], done, total)
            if cancelled():
                raise _Cancelled

        try:
            with transport_for(self.desk.notebook) as transport:
                report = exchange(self.desk.notebook, transport, heard)
                pictures = send_photos(self.desk.notebook, self.desk.photos, transport, sending)
        except _Cancelled:
            return Exchange(counts["push"], counts["pull"], cancelled=True)
        except SyncError as error:
            done = error.report or Report()
            return Exchange(done.sent + done.known, done.received, str(error), notices_of(done))
        except (StoreError, OSError) as error:
            return Exchange(counts["push"], counts["pull"], str(error))
        notices = (*notices_of(report), *_of_pictures(pictures))
        return Exchange(report.sent + report.known, report.received, "", notices, pictures=pictures.sent)


def notices_of(report: Report) -> tuple[str, ...]:
    """What else the recorder should know of an exchange."""
    found = list(report.notices)
    if report.forks:
        found.append(say("sync.fork"))
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
