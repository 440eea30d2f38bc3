"""The cabin's log as lines of JSON, with nothing in it that is somebody's.

    {"time", "level", "event", "where"?, "route"?, "method"?, "status"?, "ms"?, "bytes"?, "tablet"?, "fault"?}

What a line may say is chosen here and by nobody else: an event's name, a route's *pattern*, numbers, a tablet's letter.
Messages are not written at all, neither a library's nor an exception's, for they may quote a record, a name, a
place or an address; a fault is its types and where in the code it came by. So nobody's browser is in it either.
Not here: who did what (the ledger's own log).
"""

from __future__ import annotations

import json
import logging
import os
import sys
import time
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any

from flask import Flask, Response, g, has_request_context, request

log = logging.getLogger(__name__)

LARGEST, KEPT = 5_000_000, 5
"""Bytes of a file before the next is begun, and how many old ones stay."""

SCREEN = "-"
REQUEST = "request"
_FIELDS = ("route", "method", "status", "ms", "bytes", "tablet")
_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


class Lines(logging.Formatter):
    """See the module."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": getattr(record, "event", "message"),
        }
        if told["event"] != REQUEST:
            told["where"] = f"{record.name} {record.module}:{record.lineno}"
        told |= getattr(record, "fields", None) or _route()
        if record.exc_info and record.exc_info[1] is not None:
            told["fault"] = list(_fault(record.exc_info[1]))
        return json.dumps(told)


def _fault(fault: BaseException) -> Iterator[dict[str, Any]]:
    """The fault and what it came from: type, and file, line and function of each step; no message, no values."""
    seen: set[int] = set()
    one: BaseException | None = fault
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        steps = traceback.extract_tb(one.__traceback__)
        yield {
            "type": f"{type(one).__module__}.{type(one).__qualname__}",
            "at": [f"{_short(step.filename)}:{step.lineno} {step.name}" for step in steps],
        }
        one = one.__cause__ or one.__context__


def _short(file: str) -> str:
    """The end of a file's path: where the program is installed is nobody's business."""
    return "/".join(Path(file).parts[-3:])


def _route() -> dict[str, Any]:
    if not has_request_context():
        return {}
    rule = request.url_rule
    return {"route": rule.rule if rule else "", "method": request.method if request.method in _METHODS else "?"}


def begin(to: str) -> logging.Handler:
    """From now on this process logs to the file `to`, or to the screen (standard error) for "-". Raises OSError."""
    handler = logging.StreamHandler(sys.stderr) if to == SCREEN else _Rotating(Path(to))
    handler.setFormatter(Lines())
    root = logging.getLogger()
    root.addHandler(handler)
    logging.getLogger("server").setLevel(logging.INFO)
    # Python's own warnings quote what they warn of; here they become lines without words like everything else.
    logging.captureWarnings(True)
    return handler


def end(handler: logging.Handler) -> None:
    """Lets go of the file."""
    logging.getLogger().removeHandler(handler)
    logging.captureWarnings(False)
    handler.close()


class _Rotating(RotatingFileHandler):
    """By size; every file of it readable by its owner only. A full disk stops the log, not the cabin."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        super().__init__(path, maxBytes=LARGEST, backupCount=KEPT, encoding="utf-8")

    def _open(self) -> TextIOWrapper:
        return TextIOWrapper(open(self.baseFilename, "ab", opener=_private), encoding="utf-8")

    def handleError(self, record: logging.LogRecord) -> None:
        """The library would print the record, words and all."""


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def register(app: Flask) -> None:
    """A line for every request that `app` answers."""

    @app.before_request
    def begun() -> None:
        g.begun = time.perf_counter()

    @app.after_request
    def answered(response: Response) -> Response:
        begun_at = g.get("begun")
        taken = 0 if begun_at is None else round((time.perf_counter() - begun_at) * 1000)
        fields = _route() | {
            "status": response.status_code,
            "ms": taken,
            "bytes": response.content_length or 0,
        }
        if letter := g.get("letter"):
            fields["tablet"] = letter
        log.info(
            REQUEST, extra={"event": REQUEST, "fields": {name: fields[name] for name in _FIELDS if name in fields}}
        )
        return response
