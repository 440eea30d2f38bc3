"""Several processes that serve one cabin on one port, and the one that watches over them.

The watcher binds the port and hands the listening socket to each worker; who is free takes the next connection, and
what waits is not lost with a worker that dies. One that dies is started again; one that dies at once waits longer each
time. When the watcher is told to end, or is gone, all end. Nothing that has to be the same for all is kept in a worker:
people, tries, tablets, codes and rules due lie in the ledger, the key of page sessions in a file.
Not here: serving itself (serving).
"""

from __future__ import annotations

import multiprocessing
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess

from server import keys, unit
from server.cabin import Cabin
from server.config import Config
from server.errors import WorkersRefused

SOON, LATEST = 0.2, 30.0
"""Seconds before a worker is started again: at first, and at most."""
SOUND = 10.0
"""Seconds after which a worker that ends has not failed at its start."""
ENDING = 20.0
"""Seconds that workers have to finish their requests."""

_spawn = multiprocessing.get_context("spawn")


class Workers:
    """`number` of them. Bound when made (`port` 0 takes a free one); `run` serves until SystemExit or Ctrl+C.

    `config` and `begin` go to other processes, so these, its clock and ids have to be functions of modules. `ended` is
    told the exit code of each worker that died; `begin` is called in each, with its number. `cabins` are the watcher's
    own, for what is to be done once.

    Raises WorkersRefused, OSError where the address cannot be had, and what Cabin does.
    """

    def __init__(
        self,
        config: Config,
        number: int,
        ended: Callable[[int | None], None] = lambda _: None,
        begin: Callable[[int], None] | None = None,
    ) -> None:
        if sys.platform == "win32":
            raise WorkersRefused("cabin.workers_share_a_port")
        sites = unit.configs(config) if unit.is_unit(config) else {"": config}
        if not sites or any(one.place.url is None for one in sites.values()):
            raise WorkersRefused("cabin.workers_need_a_server")
        self.config, self.number, self.ended = config, number, ended
        # Opened once before anybody serves: its tables are brought up to date, and what is wrong is told here.
        self.cabins: dict[str, Cabin] = {}
        try:
            for code, one in sites.items():
                self.cabins[code] = Cabin(one)
                self.fingerprint = self.cabins[code].fingerprint
                keys.session_key(one.session_key)
            self._socket = _listening(config.host, config.port)
        except BaseException:
            self._close()
            raise
        self.codes = tuple(sites)
        self._begin = begin
        self.port: int = self._socket.getsockname()[1]
        self._workers: list[_Worker] = []

    def run(self) -> None:
        """Starts them and watches over them."""
        try:
            self._workers = [
                _Worker(partial(_work, self.config, self._socket, self._begin, n)) for n in range(1, self.number + 1)
            ]
            while True:
                wait([one.process.sentinel for one in self._workers if one.process], self._until_next())
                for one in self._workers:
                    one.watch(self.ended)
        finally:
            self._end()

    def _until_next(self) -> float | None:
        times = [one.again_at - time.monotonic() for one in self._workers if one.process is None]
        return max(min(times), 0.0) if times else None

    def _end(self) -> None:
        # Told twice to end, we are ending already.
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        running = [one.process for one in self._workers if one.process]
        for process in running:
            process.terminate()
        until = time.monotonic() + ENDING
        for process in running:
            process.join(max(0.0, until - time.monotonic()))
            if process.is_alive():
                process.kill()
                process.join()
        self._socket.close()
        self._close()

    def _close(self) -> None:
        for one in self.cabins.values():
            one.close()


class _Worker:
    """One place among the workers: the process that fills it, or when the next one will."""

    def __init__(self, work: Callable[[], None]) -> None:
        self.work = work
        self.delay = SOON
        self.again_at = 0.0
        self.process: SpawnProcess | None = None
        self._start()

    def _start(self) -> None:
        self.began = time.monotonic()
        self.process = _spawn.Process(target=self.work, name="cabin worker", daemon=True)
        self.process.start()

    def watch(self, ended: Callable[[int | None], None]) -> None:
        now = time.monotonic()
        if self.process is None:
            if now >= self.again_at:
                self._start()
        elif not self.process.is_alive():
            ended(self.process.exitcode)
            self.delay = SOON if now - self.began > SOUND else min(self.delay * 2, LATEST)
            self.process, self.again_at = None, now + self.delay


def _listening(host: str, port: int) -> socket.socket:
    family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
    made = socket.create_server((str(address[0]), int(address[1])), family=family, backlog=128)
    made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return made


def _work(config: Config, listening: socket.socket, begin: Callable[[int], None] | None, number: int) -> None:
    """A worker's life."""
    # Imported here: the watcher serves nothing.
    from server.serving import Serving

    if begin is not None:
        begin(number)
    told = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: told.set())
    # Ctrl+C reaches everybody at the terminal; the watcher then tells us.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_outlived, args=(told,), name="watcher", daemon=True).start()
    serving = Serving(config, listening=listening)
    serving.start()
    while not told.wait(1) and serving.is_running():
        pass
    serving.stop()
    if not told.is_set():
        raise SystemExit(1)


def _outlived(told: threading.Event) -> None:
    """Ends this worker when its watcher is gone."""
    watcher = multiprocessing.parent_process()
    assert watcher is not None
    watcher.join()
    told.set()
