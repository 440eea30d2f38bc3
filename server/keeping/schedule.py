"""Backups every few hours while the cabin runs: a dated file each, the last few kept. Not here: what is in one.

Which is the last is told by the folder, so that a cabin that was off makes the one that is due at once. A failure is
logged, stands in the ledger's log (and so in /health) and is tried again after a while.
"""

from __future__ import annotations

import logging
import re
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

from server.config import Config
from server.keeping.backing_up import FAILED, back_up
from server.keeping.files import PART
from server.keeping.pictures import Pictures
from server.ledger import Ledger

log = logging.getLogger(__name__)

HOURS, KEEP = 24.0, 14
AGAIN = timedelta(minutes=15)
"""After a failure."""

_DATED = re.compile(r"bonedocket-[A-Z0-9]+-(\d{8}T\d{6}Z)\.zip")
_STAMP = "%Y%m%dT%H%M%SZ"


def dated(code: str, moment: datetime) -> str:
    """The name of a backup of a moment."""
    return f"bonedocket-{code}-{moment.astimezone(UTC).strftime(_STAMP)}.zip"


class Schedule:
    """Makes backups into `folder` from `start` to `stop`. `every`: hours; `keep`: how many files stay."""

    def __init__(
        self,
        config: Config,
        ledger: Ledger,
        folder: Path,
        *,
        pictures: Pictures | None,
        every: float = HOURS,
        keep: int = KEEP,
        passphrase: bytes | None = None,
    ) -> None:
        self._config, self._ledger, self._folder = config, ledger, folder
        self._pictures, self._passphrase = pictures, passphrase
        self._every, self._keep = timedelta(hours=every), max(1, keep)
        self._code = str(ledger.site().value("code"))
        self._failed: datetime | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="backups", daemon=True)

    def start(self) -> None:
        """From now on."""
        self._thread.start()

    def stop(self) -> None:
        """Waits for one that is being written."""
        self._stopping.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.step()
            self._stopping.wait(30)

    def step(self) -> Path | None:
        """Makes the backup that is due, if one is; its file."""
        now = self._config.clock()
        if self._failed is not None and now - self._failed < AGAIN:
            return None
        try:
            last = max((moment for moment, _ in self._made()), default=None)
            # One from the future is from a clock that was wrong: it keeps no other from being made.
            if last is not None and timedelta(0) <= now - last < self._every:
                return None
            path = self._folder / dated(self._code, now)
            back_up(self._config, self._ledger, path, pictures=self._pictures, passphrase=self._passphrase)
            self._failed = None
            self._let_go(path)
            return path
        except Exception as error:
            self._failed = now
            log.exception("a backup failed", extra={"event": FAILED})
            try:
                self._ledger.note(FAILED, "cabin", {"why": type(error).__name__})
            except Exception:
                log.exception("the ledger cannot be written", extra={"event": "ledger_unwritable"})
            return None

    def _made(self) -> list[tuple[datetime, Path]]:
        found = []
        for path in self._folder.glob(f"bonedocket-{self._code}-*.zip"):
            if dates := _DATED.fullmatch(path.name):
                found.append((datetime.strptime(dates[1], _STAMP).replace(tzinfo=UTC), path))
        return sorted(found)

    def _let_go(self, newest: Path) -> None:
        """Only after one is whole: older ones beyond the number, and what a run that was cut off has left behind."""
        for _, path in [one for one in self._made() if one[1] != newest][: -(self._keep - 1) or None]:
            path.unlink(missing_ok=True)
        for path in self._folder.glob(f"bonedocket-{self._code}-*.zip.*{PART}"):
            path.unlink(missing_ok=True)
