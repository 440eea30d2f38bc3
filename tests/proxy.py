"""A relay between tablet and cabin that counts every byte and cuts where it is told to. For tests and benchmarks.

    with Proxy(port, plan) as proxy: … connect to proxy.port; proxy.up and proxy.down are what has passed

`plan(number)` says, for each new connection, after how many bytes each way both ends are closed. It relays TCP, so TLS
goes through it unread. Not here: delays, or anything that changes a byte.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable
from typing import NamedTuple, Self


class Cut(NamedTuple):
    """Bytes that pass towards the cabin (`up`) and back (`down`) before the connection is closed; None: all."""

    up: int | None = None
    down: int | None = None


def whole(number: int) -> Cut:
    """No cut at all."""
    return Cut()


class Proxy:
    """See the module. `port` may be changed while it runs: new connections go to the new one."""

    def __init__(self, target: int, plan: Callable[[int], Cut] = whole) -> None:
        self.target = target
        self.plan = plan
        self.up = self.down = self.connections = self.cuts = 0
        self._lock = threading.Lock()
        self._open: set[socket.socket] = set()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def passed(self) -> int:
        """Bytes that have passed, both ways."""
        return self.up + self.down

    def close(self) -> None:
        """Cuts what is open and listens no more."""
        with contextlib.suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        with self._lock:
            left = list(self._open)
        for one in left:
            _end(one)
        self._thread.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            cut = self.plan(self.connections)
            self.connections += 1
            try:
                far = socket.create_connection(("127.0.0.1", self.target))
            except OSError:
                near.close()
                continue
            for one in (near, far):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._open |= {near, far}
            for ends, name, limit in (((near, far), "up", cut.up), ((far, near), "down", cut.down)):
                threading.Thread(target=self._pass, args=(*ends, name, limit), daemon=True).start()

    def _pass(self, source: socket.socket, target: socket.socket, name: str, limit: int | None) -> None:
        left = limit
        try:
            while left is None or left > 0:
                data = source.recv(65536 if left is None else min(left, 65536))
                if not data:
                    break
                with self._lock:  # counted first: whoever has got the bytes finds them counted
                    setattr(self, name, getattr(self, name) + len(data))
                target.sendall(data)
                if left is not None:
                    left -= len(data)
            else:
                self.cuts += 1
        except OSError:
            pass
        finally:
            # One way ended is both ended: HTTP needs no half-open connections.
            for one in (source, target):
                _end(one)
            with self._lock:
                self._open -= {source, target}


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
