"""A carry-file on the tablet: written for the cabin where there is no network, and the cabin's answer loaded.

Not here: the files (sync.carry, sync.carry_answer), and choosing a file with the system's own window (device).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from fieldapp.store.errors import StoreError
from fieldapp.sync import carry, carry_answer
from fieldapp.sync.errors import SyncError
from fieldapp.ui.cabin import notices_of
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say

FOLDER = "carry/folder"
"""Setting: the folder that was typed last."""


@dataclass
class Carry:
    """The carry-file screen.

    running  "write" or "load" while that goes on elsewhere, else ""
    told     what became of it
    shared   a folder of the system's that other programs and sticks reach; None for the notebook's own
    choose   lets a file be chosen in the system's window and tells which; None where there is none
    """

    desk: Desk
    running: str = ""
    told: list[str] = field(default_factory=list)
    shared: Path | None = None
    choose: Callable[[Callable[[str], None]], None] | None = None
    _done: int = 0
    _at: Path = field(default_factory=Path, repr=False)

    @property
    def where(self) -> str:
        """The folder for files out and in."""
        kept = self.desk.notebook.setting(FOLDER)
        return kept if isinstance(kept, str) and kept else str(self.shared or self.desk.notebook.folder / "carry")

    def words(self) -> list[str]:
        """How it stands, in sentences."""
        if self.running:
            return [say(f"carry.running.{self.running}", n=self._done)]
        return self.told or [say("carry.what")]

    def begin(self, what: str, where: str) -> bool:
        """Marks it as running, with a folder (or a file to load) as typed; False if it cannot begin."""
        if self.running:
            return False
        at = Path(where.strip() or self.where)
        # A file is loaded where it lies; the folder stays what it was.
        self._at = at
        if not at.is_file() and str(at) != self.where:
            self.desk.notebook.set_setting(FOLDER, str(at))
        self.running, self.told, self._done = what, [], 0
        return True

    def run(self, heard: Callable[[], None]) -> None:
        """Writes or loads, for a thread of its own."""

        def progress(stage: str, done: int, total: int) -> None:
            self._done = done
            heard()

        try:
            self.told = self._write(progress) if self.running == "write" else self._load(progress)
        except (SyncError, StoreError, OSError) as error:
            self.told = [say("carry.trouble", why=error)]
        self.running = ""
        heard()

    def finished(self) -> None:
        """What came in is on the screens from now on. On the screens' own thread."""
        self.desk.last = None
        self.desk.refresh()

    def _write(self, progress: carry.Progress) -> list[str]:
        notebook = self.desk.notebook
        folder = self._at.parent if self._at.is_file() else self._at
        found = carry.pack(notebook, folder / carry.file_name(notebook), progress=progress)
        told = [say("carry.written", n=found.changes, file=found.path)]
        if found.photos:
            told.append(say("carry.photos", n=found.photos))
        if found.everything:
            told.append(say("carry.everything"))
        if not found.known:
            told.append(say("carry.code", code=found.code))
        return [*told, say("carry.next")]

    def _load(self, progress: carry.Progress) -> list[str]:
        notebook, path = self.desk.notebook, self._at
        if not path.is_file():
            answers = carry_answer.answers_in(notebook, path)
            if not answers:
                return [say("carry.no_answer", folder=path)]
            path = answers[0]
        report = carry_answer.load(notebook, path, progress)
        counts = say("sync.counts", sent=report.sent + report.known, received=report.received)
        return [say("carry.loaded", file=path.name), counts, *notices_of(report)]
