# cheroot has no types of its own.
# mypy: disable-error-code="no-untyped-call"
"""The door of the cabin's server: what is turned away, or let go, before a request reaches the app (cheroot).

Nobody keeps others out by standing in it. As many threads may serve as connections may be open; a visitor has to say
the request within `HEAD_SECONDS`, and its body at a walking pace; where all places are taken, a newcomer gets one from
the address that has most of them, of whoever has been silent there longest. A request whose end two readers might see
in two places is refused: without a plain `Content-Length`, or with one twice, or cut into chunks.
Not here: TLS and where the cabin listens (serving).
"""

from __future__ import annotations

import re
import socket
import threading
import time
from collections import Counter
from contextlib import suppress
from typing import Any

from cheroot.server import HeaderReader, HTTPConnection, HTTPRequest
from cheroot.wsgi import Server

FEWEST, MOST = 8, 120
"""Threads: always there, and at most. So many connections may be open."""

HEAD_SECONDS = 10
"""In which TLS is agreed and the head of a request has come."""

BODY_SECONDS, SLOWEST = 30, 500
"""Seconds, and bytes a second after them, in which a body has to come."""

LARGEST_HEAD = 64 * 2**10
"""Bytes of a request's first line and headers."""

_ONCE = {b"Content-Length", b"Host", b"Authorization", b"Content-Type", b"Content-Encoding", b"X-Notebook"}
_LENGTH = re.compile(rb"[0-9]{1,15}")


class _Headers(HeaderReader):
    """Refuses a header that stands twice where only one can be meant, and one that goes on in a second line; leaves
    out one with an underscore, which the app would take for the same name with a hyphen."""

    def _allow_header(self, key_name: bytes) -> bool:
        return b"_" not in key_name

    def __call__(self, rfile: Any, hdict: dict[bytes, bytes] | None = None) -> dict[bytes, bytes]:
        found: dict[bytes, bytes] = super().__call__(_Lines(rfile), hdict)
        return found


class _Lines:
    """The lines of a request's head, looked at as they are read."""

    def __init__(self, rfile: Any) -> None:
        self._rfile = rfile
        self._seen: set[bytes] = set()

    def readline(self) -> bytes:
        line: bytes = self._rfile.readline()
        name, colon, _ = line.partition(b":")
        if line[:1] in (b" ", b"\t") or (colon and name != name.strip()):
            raise ValueError("A header does not begin its line.")
        name = name.title()
        if name == b"Transfer-Encoding":
            raise ValueError("The request does not say how long it is.")
        if name in _ONCE & self._seen:
            raise ValueError("A header stands twice.")
        self._seen.add(name)
        return line


class _Request(HTTPRequest):
    header_reader = _Headers()

    def read_request_headers(self) -> bool:
        if not super().read_request_headers():
            return False
        if not _LENGTH.fullmatch(self.inheaders.get(b"Content-Length", b"0")):
            self.simple_response("400 Bad Request", "The request does not say plainly how long it is.")
            return False
        return True

    def respond(self) -> None:
        self.conn.said(self)
        super().respond()


class _Connection(HTTPConnection):
    RequestHandlerClass = _Request
    peer = ""

    def __init__(self, server: Any, *args: Any, **more: Any) -> None:
        super().__init__(server, *args, **more)
        self.since = time.monotonic()
        self.request: _Request | None = None
        self.served = False
        with suppress(OSError):
            self.peer = str(args[0].getpeername()[0])
        server.come(self)

    def communicate(self) -> bool:
        self.since, self.request, self.served = time.monotonic(), None, True
        try:
            kept: bool = super().communicate()
            return kept
        finally:
            self.since, self.request, self.served = time.monotonic(), None, False

    def said(self, request: _Request) -> None:
        """The head of a request is in."""
        self.since, self.request = time.monotonic(), request

    def awaited(self) -> int:
        """Bytes of a body that have yet to come."""
        return max(0, getattr(self.request.rfile, "remaining", 0)) if self.request is not None else 0

    def silent(self) -> bool:
        """Whether nothing is being worked out for it: its request, or the rest of it, has yet to come."""
        return self.request is None or self.awaited() > 0

    def late(self, now: float) -> bool:
        """Whether it has taken longer than it may. One between two requests is the library's to let go."""
        if self.request is None:
            return self.served and now - self.since > HEAD_SECONDS
        left = self.awaited()
        said = int(self.request.inheaders.get(b"Content-Length", 0)) - left
        return left > 0 and now - self.since > BODY_SECONDS + said / SLOWEST

    def let_go(self) -> None:
        """Ends it from outside: who reads from it, or waits for it to speak, finds it at its end."""
        # The socket's own, not TLS's: that one would be taken apart under the thread that reads.
        with suppress(OSError):
            socket.socket.shutdown(self.socket, socket.SHUT_RDWR)

    def close(self) -> None:
        self.server.gone(self)
        super().close()


class Door(Server):
    """A server with such a door. `keep` watches it until `shut`."""

    ConnectionClass = _Connection

    def __init__(self, address: tuple[str, int], app: Any, **more: Any) -> None:
        super().__init__(address, app, numthreads=FEWEST, max=MOST, request_queue_size=MOST, **more)
        self.max_request_header_size = LARGEST_HEAD
        self._open: set[_Connection] = set()
        self._guard = threading.Lock()
        self._shut = threading.Event()

    def come(self, one: _Connection) -> None:
        """A connection is there; if it is one too many, another goes."""
        with self._guard:
            self._open.add(one)
            if len(self._open) < MOST:
                return
            held = Counter(each.peer for each in self._open)
            silent = [each for each in self._open if each is not one and each.silent()]
            if silent:
                gone = min(silent, key=lambda each: (-held[each.peer], each.request is not None, each.since))
                self._open.discard(gone)
                gone.let_go()

    def gone(self, one: _Connection) -> None:
        """It is closed."""
        with self._guard:
            self._open.discard(one)

    def process_conn(self, conn: _Connection) -> None:
        """A thread for it, a new one if all have work."""
        conn.served = True
        if self.requests.idle <= self.requests.qsize:
            self.requests.grow(FEWEST // 2)
        super().process_conn(conn)

    def keep(self) -> None:
        """Lets go whoever takes too long, until `shut`."""
        while not self._shut.wait(0.5):
            now = time.monotonic()
            with self._guard:
                for one in self._open:
                    if one.late(now):
                        one.let_go()

    def shut(self) -> None:
        """No more watching."""
        self._shut.set()
