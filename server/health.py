"""`/health`: whether the cabin is well, for whoever watches over it; without signing in, and so with nothing in it.

    {"state": "ok" | "troubled", "version", "ledger": {"readable", "writable"}, "rules": {"due", "seconds"},
     "backup": {"at", "hours", "failed"}, "disk": "ok" | "low", "troubles": [sentences]}

As JSON, or as a page for a browser. 503 while troubled. Whoever asks often gets what was found a moment ago.
Not here: numbers of records, names, places; what to do about it (`bonedocket doctor`).
"""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from importlib.metadata import version
from typing import Any

from flask import Blueprint, Flask, current_app, jsonify, render_template, request
from flask.typing import ResponseReturnValue
from sqlalchemy import select

from fieldapp import assets
from fieldapp.assets import texts
from server.cabin import Cabin
from server.keeping.backing_up import last_backup
from server.ledger import tables

NAME = "bonedocket.health"
FRESH = 10.0
"""Seconds for which what was found is given to everybody who asks."""
PATIENCE = 3.0
"""Seconds an answer waits for the ledger; a batch may be holding it."""
STUCK = 60.0
"""Seconds after which a ledger that does not answer is a trouble."""
LONG_DUE = 3600.0
"""Seconds after which rules that are due are a trouble."""
LOW = 500_000_000
"""Bytes free below which a disk is low."""

blueprint = Blueprint("health", __name__, template_folder="templates")


@dataclass(slots=True)
class _Ledger:
    """What was seen of the ledger."""

    readable: bool = False
    writable: bool = False
    due: bool = False
    backup_at: str | None = None
    failed: bool = False


@dataclass(slots=True)
class Health:
    """One cabin's, looked at when somebody asks and no more often than that."""

    cabin: Cabin
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _asker: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "health"))
    _asked: Future[_Ledger] | None = None
    _asked_at: float = 0.0
    _seen: _Ledger | None = None
    _found: dict[str, Any] | None = None
    _found_at: float = 0.0
    _due_since: float | None = None

    def now(self) -> dict[str, Any]:
        """What it is, at most FRESH seconds old."""
        with self._lock:
            if self._found is None or time.monotonic() - self._found_at >= FRESH:
                self._found, self._found_at = self._look(), time.monotonic()
            return self._found

    def close(self) -> None:
        """Ends its thread."""
        self._asker.shutdown(wait=False, cancel_futures=True)

    def _look(self) -> dict[str, Any]:
        seen, stuck = self._ledger()
        moment = time.monotonic()
        if not seen.due:
            self._due_since = None
        elif self._due_since is None:
            self._due_since = moment
        due_for = None if self._due_since is None else round(moment - self._due_since)
        try:
            low = shutil.disk_usage(self.cabin.config.data).free < LOW
        except OSError:
            low = True
        troubles = [
            name
            for name, is_so in (
                ("unreadable", not seen.readable),
                ("unwritable", seen.readable and not seen.writable),
                ("stuck", stuck),
                ("rules", due_for is not None and due_for > LONG_DUE),
                ("backup", seen.failed),
                ("disk", low),
            )
            if is_so
        ]
        return {
            "state": "troubled" if troubles else "ok",
            "version": _version(),
            "ledger": {"readable": seen.readable, "writable": seen.writable and not stuck},
            "rules": {"due": seen.due, "seconds": due_for},
            "backup": {"at": seen.backup_at, "hours": self._hours(seen.backup_at), "failed": seen.failed},
            "disk": "low" if low else "ok",
            "troubles": troubles,
        }

    def _hours(self, at: str | None) -> int | None:
        if at is None:
            return None
        return max(0, int((self.cabin.ledger.clock() - datetime.fromisoformat(at)).total_seconds() // 3600))

    def _ledger(self) -> tuple[_Ledger, bool]:
        """What was seen last, and whether the ledger has not answered for too long. One asks at a time."""
        if self._asked is None:
            self._asked, self._asked_at = self._asker.submit(self._ask), time.monotonic()
        try:
            self._seen = self._asked.result(timeout=PATIENCE)
            self._asked = None
        except NotYet:
            # Somebody's batch has the ledger, or a backup is being put back.
            return self._seen or _Ledger(True, True), time.monotonic() - self._asked_at > STUCK
        return self._seen, False

    def _ask(self) -> _Ledger:
        seen = _Ledger()
        database = self.cabin.ledger.database
        try:
            with database.reading() as connection:
                seen.due = connection.scalar(select(tables.record.c.id).where(tables.record.c.due).limit(1)) is not None
                seen.backup_at, seen.failed = last_backup(connection)
            seen.readable = True
            # The writer's lock is taken and given back: nothing is written, and nothing grows by being asked.
            with database.writing():
                seen.writable = True
        except Exception:
            # Whatever keeps the ledger from answering is what this is here to tell.
            return seen
        return seen


@cache
def _version() -> str:
    return version("bonedocket")


def register(app: Flask) -> None:
    """Adds `/health` to `app`."""
    app.register_blueprint(blueprint)


def stand_behind(app: Flask, cabin: Cabin) -> None:
    """From now on `app` tells of this cabin."""
    found = app.extensions[NAME] = Health(cabin)
    cabin.when_closed(found.close)


def register_together(app: Flask, sites: Iterable[Flask]) -> None:
    """Adds `/health` to `app` for all of a server's sites as one: which of them is in trouble, it does not say."""
    register(app)
    app.extensions[NAME] = _Together([one.extensions[NAME] for one in sites])


class _Together:
    """The worst of several."""

    def __init__(self, several: Sequence[Health]) -> None:
        self._several = several

    def now(self) -> dict[str, Any]:
        """What they are, taken together."""
        found = [one.now() for one in self._several]
        rules, backups = [one["rules"] for one in found], [one["backup"] for one in found]
        # The site that was backed up longest ago, or never.
        oldest = min(backups, key=lambda one: one["at"] or "")
        return {
            "state": "troubled" if any(one["troubles"] for one in found) else "ok",
            "version": _version(),
            "ledger": {name: all(one["ledger"][name] for one in found) for name in ("readable", "writable")},
            "rules": {
                "due": any(one["due"] for one in rules),
                "seconds": max((one["seconds"] for one in rules if one["seconds"] is not None), default=None),
            },
            "backup": {**oldest, "failed": any(one["failed"] for one in backups)},
            "disk": "low" if any(one["disk"] == "low" for one in found) else "ok",
            "troubles": list(dict.fromkeys(name for one in found for name in one["troubles"])),
        }


@blueprint.get("/health")
def health() -> ResponseReturnValue:
    """See the module."""
    found: dict[str, Any] = current_app.extensions[NAME].now()
    status = 503 if found["troubles"] else 200
    language = request.accept_languages.best_match(assets.languages()) or assets.languages()[0]
    with assets.speaking(language):
        told = found | {"troubles": [texts()[f"health.trouble.{one}"] for one in found["troubles"]]}
        if request.accept_mimetypes.best_match(["application/json", "text/html"]) == "text/html":
            return render_template("health.html", found=told, say=texts(), language=language), status
        return jsonify(told), status
