"""A bad line between a tablet and a cabin: a TCP proxy on this machine that is slow, late, and breaks connections.

What it does follows from its seed alone, as far as the order of connections does. It breaks connections as a lost
Wi-Fi does for whoever uses them: without a word, in the middle of a byte stream. Single packets that are lost and sent
again by the kernel are not played; to the program they are lateness. Not here: what is said over the line.
"""

from __future__ import annotations

import contextlib
import random
import socket
import struct
import threading
import time
from dataclasses import dataclass
from typing import Self

PIECE = 1024


@dataclass(frozen=True)
class Weather:
    """How bad it is. Changed while the line runs by giving the line another one.

    rate      bytes in a second, each way, shared by all connections; 0 for no limit
    latency   seconds that the first byte after a silence takes, each way
    cut       probability, for each kB that passes, that its connection breaks there
    after     break each connection after so many bytes towards the cabin, None for never
    refuses   probability that a connection breaks before a byte has passed
    """

    rate: float = 0.0
    latency: float = 0.0
    cut: float = 0.0
    after: int | None = None
    refuses: float = 0.0


class BadLine:
    """Leads `port` of this line to `to` on this machine. `cuts`, `passed`: connections broken, bytes carried."""

    def __init__(self, to: int, weather: Weather, seed: int) -> None:
        self.to, self.weather, self.seed = to, weather, seed
        self.cuts = self.passed = self.connections = 0
        self._lock = threading.Lock()
        self._free_at = [0.0, 0.0]
        self._open: set[socket.socket] = set()
        self._over: dict[socket.socket, int] = {}
        self._threads: list[threading.Thread] = []
        self._closing = threading.Event()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        self._start(self._accept)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._closing.set()
        socket.create_connection(("127.0.0.1", self.port), 5).close()
        self._threads[0].join(5)
        self._door.close()
        with self._lock:
            still = list(self._open)
        for one in still:
            _break(one)
        for thread in self._threads:
            thread.join(5)

    def _start(self, work, *args) -> None:
        thread = threading.Thread(target=work, args=args, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            inside, _ = self._door.accept()
            if self._closing.is_set():
                inside.close()
                return
            self.connections += 1
            luck = random.Random(f"{self.seed} {self.connections}")
            if luck.random() < self.weather.refuses:
                self.cuts += 1
                _break(inside)
                inside.close()
                continue
            outside = socket.create_connection(("127.0.0.1", self.to), 10)
            with self._lock:
                self._open |= {inside, outside}
            for way, (source, target) in enumerate(((inside, outside), (outside, inside))):
                self._start(self._carry, source, target, way, random.Random(f"{self.seed} {self.connections} {way}"))

    def _carry(self, source: socket.socket, target: socket.socket, way: int, luck: random.Random) -> None:
        passed, spoke = 0, 0.0
        with contextlib.suppress(OSError):  # the other end was broken or closed
            while data := source.recv(PIECE):
                weather = self.weather
                passed += len(data)
                if luck.random() < weather.cut * len(data) / 1024 or (
                    way == 0 and weather.after is not None and passed > weather.after
                ):
                    self.cuts += 1
                    _break(source)
                    _break(target)
                    break
                if weather.latency and time.monotonic() - spoke > 0.05:
                    time.sleep(weather.latency)
                self._at_its_rate(len(data), way)
                target.sendall(data)
                spoke = time.monotonic()
                with self._lock:
                    self.passed += len(data)
        # Only this way is over; the other may still have something to say.
        with contextlib.suppress(OSError):
            target.shutdown(socket.SHUT_WR)
        with self._lock:
            self._over[source] = self._over[target] = 1 + self._over.get(source, 0)
            done = self._over[source] == 2
            if done:
                self._open -= {source, target}
        if done:
            source.close()
            target.close()

    def _at_its_rate(self, size: int, way: int) -> None:
        if not self.weather.rate:
            return
        with self._lock:
            now = time.monotonic()
            # What a busy machine slept too long is made up for within half a second.
            self._free_at[way] = max(now - 0.5, self._free_at[way]) + size / self.weather.rate
            wait = self._free_at[way] - now
        self._closing.wait(wait)


def _break(one: socket.socket) -> None:
    """Ends a connection at once, and what was still to be sent with it."""
    with contextlib.suppress(OSError):
        one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        one.shutdown(socket.SHUT_RDWR)
