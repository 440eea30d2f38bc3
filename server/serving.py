"""Runs the cabin over TLS with its own certificate (cheroot). Not here: what it answers (server.app)."""

from __future__ import annotations

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

log = logging.getLogger(__name__)

TIMEOUT = 20
"""Seconds without a byte after which a connection is let go."""


class Serving:
    """A cabin that listens. Bound when made (`port` 0 takes a free one, see `port`); `run` serves until `stop`.

    Raises OSError where the address cannot be had, and what Cabin raises.
    """

    def __init__(self, config: Config, hasher: PasswordHasher | None = None) -> None:
        self.app = create_app(config, hasher)
        self.cabin: Cabin = self.app.extensions["bonedocket.cabin"]
        self._thread: threading.Thread | None = None
        try:
            self._server = _Server((config.host, config.port), self.app, timeout=TIMEOUT, shutdown_timeout=5)
            self._server.max_request_body_size = LARGEST
            self._server.ssl_adapter = _adapter(config)
            self._server.prepare()
        except BaseException:
            self.cabin.close()
            raise
        self.port: int = self._server.bind_addr[1]

    def run(self) -> None:
        """Serves until `stop` is called elsewhere, or the process is told to end."""
        # What was left due when the cabin was last closed.
        self.cabin.rules_due()
        threading.Thread(target=self._server.keep, name="door", daemon=True).start()
        try:
            self._server.serve()
        finally:
            self._server.shut()
            self._server.stop()
            self.cabin.close()

    def start(self) -> None:
        """Serves in a thread of its own."""
        self._thread = threading.Thread(target=self.run, name="cabin")
        self._thread.start()

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
