"""Runs the cabin over TLS with its own certificate (cheroot). Not here: what it answers (server.app)."""

from __future__ import annotations

import gc
import logging
import socket
import ssl
import sys
import threading

from argon2 import PasswordHasher
from cheroot.ssl.builtin import BuiltinSSLAdapter

from server import create_app
from server.api.answers import LARGEST
from server.cabin import Cabin
from server.config import Config
from server.door import Door
from server.unit import Unit, is_unit

COLLECT_EVERY = 50_000
"""Objects made more than let go of, after which Python looks for circles among the young ones. A batch of changes makes
that many and no circles; looking every 700, as is usual, takes a sixth of its time."""

log = logging.getLogger(__name__)

TIMEOUT = 20
"""Seconds without a byte after which a connection is let go."""


class Serving:
    """A cabin, or the several of a unit, that listens. Bound when made (`port` 0 takes a free one, see `port`);
    `run` serves until `stop`.

    `listening`: a socket that several processes share, in the place of one of its own.

    Raises OSError where the address cannot be had, and what Cabin raises.
    """

    def __init__(
        self, config: Config, hasher: PasswordHasher | None = None, listening: socket.socket | None = None
    ) -> None:
        self.unit = Unit(config, hasher) if is_unit(config) else None
        if self.unit is None:
            self.app = create_app(config, hasher)
            self.cabins = {"": self.app.extensions["bonedocket.cabin"]}
        else:
            self.cabins = self.unit.cabins
        self.codes = tuple(self.cabins)
        self.fingerprint = self.cabin.fingerprint
        self._thread: threading.Thread | None = None
        try:
            self._server = _Server(
                (config.host, config.port), self.unit or self.app, timeout=TIMEOUT, shutdown_timeout=5
            )
            self._server.max_request_body_size = LARGEST
            self._server.ssl_adapter = _adapter(config)
            self._server.listening = listening
            self._server.prepare()
            if listening is not None:
                # Whoever is too late for a connection goes on at once.
                listening.settimeout(0)
        except BaseException:
            self._close()
            raise
        self.port: int = self._server.bind_addr[1]

    def run(self) -> None:
        """Serves until `stop` is called elsewhere, or the process is told to end."""
        gc.set_threshold(COLLECT_EVERY)
        # What was left due when the cabin was last closed.
        for one in self.cabins.values():
            one.rules_due()
        threading.Thread(target=self._server.keep, name="door", daemon=True).start()
        try:
            self._server.serve()
        finally:
            self._server.shut()
            self._server.stop()
            self._close()

    def _close(self) -> None:
        for one in self.cabins.values():
            one.close()

    @property
    def cabin(self) -> Cabin:
        """The cabin of a server with one site; the first of several."""
        found: Cabin = next(iter(self.cabins.values()))
        return found

    def start(self) -> None:
        """Serves in a thread of its own."""
        self._thread = threading.Thread(target=self.run, name="cabin")
        self._thread.start()

    def is_running(self) -> bool:
        """Whether it serves, having been started."""
        return self._thread is not None and self._thread.is_alive()

    def stop(self) -> None:
        """Lets present requests finish and ends."""
        self._server.stop()
        if self._thread is not None:
            self._thread.join()

    def __enter__(self) -> Serving:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


class _Server(Door):
    """Logs in one line what is no fault of the program: a connection that breaks, a browser shy of our certificate."""

    listening: socket.socket | None = None

    def bind(self, family: int, type: int, proto: int = 0) -> socket.socket:
        if self.listening is None:
            own: socket.socket = super().bind(family, type, proto)
            return own
        self.socket = self.listening
        self.bind_addr = self.socket.getsockname()[:2]
        return self.listening

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        fault = sys.exc_info()[1]
        if isinstance(fault, OSError):
            log.info("%s: %s", msg, fault)
        else:
            log.log(level, msg, exc_info=traceback)


class _Door(BuiltinSSLAdapter):
    """Shakes hands in the thread that serves the connection, at its first byte.

    By itself the library does it in the one thread that takes connections in, where a tablet that walks out of reach
    in the middle of it would keep all others waiting.
    """

    def wrap(self, sock: socket.socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        secure = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        return secure, {"wsgi.url_scheme": "https", "HTTPS": "on"}


def _adapter(config: Config) -> _Door:
    adapter = _Door(str(config.certificate), str(config.certificate_key))
    adapter.context.minimum_version = ssl.TLSVersion.TLSv1_2
    return adapter


def addresses(host: str) -> list[str]:
    """Where others reach a cabin that listens at `host`: itself, or this machine's addresses for "every network"."""
    if host not in ("0.0.0.0", "::", ""):
        return [host]
    found: list[str] = []
    # No packet is sent: connecting a datagram socket only asks which of our addresses would be used.
    for target in ("192.168.0.1", "10.0.0.1", "172.16.0.1", "192.0.2.1"):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            try:
                asking.connect((target, 9))
                found.append(asking.getsockname()[0])
            except OSError:
                continue
    return list(dict.fromkeys(found)) or ["127.0.0.1"]
