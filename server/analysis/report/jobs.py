"""Reports that are being made and that were made: one after the other beside the server's other work, kept as files.

For: the desk, where nobody holds a request open for minutes. Not for: what is in a report (contents), how it is written
(making), or commands, which wait for what they make.
"""

from __future__ import annotations

import logging
import shutil
import tempfile
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from pathlib import Path

from server.analysis.report.telling import Told

MOST_KEPT = 6
MOST_WAITING = 4
"""So many reports may wait or be made at once: a person asks for one, and each takes a minute or more."""

WAITING, MADE, FAILED = "waiting", "made", "failed"

Make = Callable[[Told], bytes]


@dataclass
class Job:
    """A report.

    state           one of the above, or what is going on (telling)
    what, done, of  how far it is
    file            once it is made
    """

    state: str = WAITING
    what: str = ""
    done: int = 0
    of: int = 0
    file: Path | None = None
    over: threading.Event = field(default_factory=threading.Event)

    def told(self, state: str, what: str, done: int, of: int) -> None:
        """See Told. What is going on comes last: who looks meanwhile sees what belongs to it."""
        self.what, self.done, self.of, self.state = what, done, of, state


class TooMany(Exception):
    """So many reports are waiting that no other is begun."""


class Reports:
    """The reports of one server."""

    def __init__(self) -> None:
        self._lock, self._one = threading.Lock(), threading.Lock()
        self._jobs: OrderedDict[Hashable, Job] = OrderedDict()
        self._folder = tempfile.mkdtemp(prefix="bonedocket-reports-")
        weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)

    def ask(self, key: Hashable, make: Make, seconds: float = 0.0) -> Job:
        """The report with a key that names all it depends on: begun if nobody has asked for it, and begun anew if it
        could not be made; waited for so long. Raises TooMany."""
        with self._lock:
            job = self._jobs.get(key)
            if job is None or job.state == FAILED:
                job = self._begun(key, make)
            self._jobs.move_to_end(key)
        job.over.wait(seconds)
        return job

    def failed(self, key: Hashable) -> bool:
        """Whether it was tried and could not be made; asked once, as to ask again is to try again."""
        with self._lock:
            job = self._jobs.get(key)
            return job is not None and job.state == FAILED

    def _begun(self, key: Hashable, make: Make) -> Job:
        if sum(not one.over.is_set() for one in self._jobs.values()) >= MOST_WAITING:
            raise TooMany
        job = self._jobs[key] = Job()
        threading.Thread(target=self._run, args=(job, make), daemon=True).start()
        return job

    def _run(self, job: Job, make: Make) -> None:
        # One at a time: two would take as long together, and the rest of the desk would wait for both.
        with self._one:
            try:
                content = make(job.told)
                with tempfile.NamedTemporaryFile(dir=self._folder, delete=False) as file:
                    file.write(content)
                job.file, job.state = Path(file.name), MADE
            except Exception:
                logging.getLogger(__name__).exception("a report could not be made")
                job.state = FAILED
            finally:
                job.over.set()
        self._tidied()

    def _tidied(self) -> None:
        with self._lock:
            over = [key for key, job in self._jobs.items() if job.over.is_set()]
            for key in over[:-MOST_KEPT]:
                job = self._jobs.pop(key)
                if job.file is not None:
                    job.file.unlink(missing_ok=True)
