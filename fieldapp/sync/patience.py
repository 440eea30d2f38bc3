"""How an exchange bears a bad line: how much it sends at once, how often it tries again, how long it waits before.

A portion begins moderate, is halved after a cut or a slow answer and doubled after a quick one. Waits grow and are
jittered, so that all tablets of a site do not come back at one moment after the cabin was away. Anything that is
answered counts as progress and begins the count of failures anew. Not here: what is asked (exchange).
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from fieldapp.sync.errors import Cancelled, ConnectionCut, NotReachable, Refused, SyncError

T = TypeVar("T")

ATTEMPTS = 8
"""Tries without any progress before an exchange gives up."""

FIRST_ATTEMPTS = 2
"""Tries before anything was answered at all: most often the tablet is simply out of reach."""

FIRST_WAIT, LONGEST_WAIT = 0.5, 16.0
LOOK_UP = 0.2
"""Seconds between two looks, while waiting, whether somebody has cancelled."""

FIRST, LEAST, MOST = 500_000, 2_000, 4_000_000
"""Characters of changes at once, before they are packed: to begin with, at least, at most."""

PER_CHANGE = 200
"""Characters of a small change; tells how many changes a portion may hold."""

QUICK, SLOW = 3.0, 8.0
"""Seconds from question to answer: below the one more is sent next time, above the other less."""

_BUSY = (502, 503, 504)
"""Refusals that mean: not now."""


@dataclass(frozen=True, slots=True)
class Means:
    """What the world gives; passed in by tests. `jitter` gives numbers from 0 to 1."""

    sleep: Callable[[float], None] = time.sleep
    monotonic: Callable[[], float] = time.monotonic
    jitter: Callable[[], float] = random.random


@dataclass(slots=True)
class Portion:
    """How much goes at once. `most_changes` is what the cabin takes or gives at a time."""

    most_changes: int
    characters: int = FIRST

    @property
    def changes(self) -> int:
        """The most changes of a portion."""
        return max(1, min(self.most_changes, self.characters // PER_CHANGE))

    def take(self, entries: Sequence[tuple[str, str]], at: int) -> list[tuple[str, str]]:
        """The next (id, body) pairs from `at` on, in their order. A single large one goes alone."""
        batch: list[tuple[str, str]] = []
        size = 0
        for one in entries[at : at + self.changes]:
            size += len(one[1])
            if batch and size > self.characters:
                break
            batch.append(one)
        return batch

    def answered(self, seconds: float) -> None:
        """A portion was answered for after so long."""
        if seconds > SLOW:
            self.failed()
        elif seconds < QUICK:
            self.characters = min(MOST, self.characters * 2)

    def failed(self) -> None:
        """A portion was not answered for."""
        self.characters = max(LEAST, self.characters // 2)


@dataclass(slots=True)
class Patience:
    """Tries again what a bad line has cut.

    cancelled  whether somebody has had enough; asked before each try and during each wait
    waiting    told how many seconds the next try is away; 0 when it begins
    """

    means: Means = field(default_factory=Means)
    cancelled: Callable[[], bool] = lambda: False
    waiting: Callable[[float], None] = lambda seconds: None
    failures: int = 0
    met: bool = False

    def check(self) -> None:
        """Raises Cancelled if somebody has had enough."""
        if self.cancelled():
            raise Cancelled

    def ask(self, act: Callable[[], T], portion: Portion | None = None) -> T:
        """What `act` gives, tried until it is answered. Raises Cancelled, or the last error when patience is over."""
        while True:
            self.check()
            begun = self.means.monotonic()
            try:
                found = act()
            except (ConnectionCut, NotReachable, Refused) as fault:
                if portion is not None:
                    portion.failed()
                self._wait(fault)
                continue
            self.failures, self.met = 0, True
            if portion is not None:
                portion.answered(self.means.monotonic() - begun)
            return found

    def _wait(self, fault: SyncError) -> None:
        if isinstance(fault, Refused) and fault.fields.get("status") not in _BUSY:
            raise fault
        self.met = self.met or not isinstance(fault, NotReachable)
        self.failures += 1
        if self.failures >= (ATTEMPTS if self.met else FIRST_ATTEMPTS):
            raise fault
        left = min(LONGEST_WAIT, FIRST_WAIT * 2 ** (self.failures - 1)) * (0.5 + 0.5 * self.means.jitter())
        self.waiting(left)
        while left > 0:
            self.check()
            self.means.sleep(min(LOOK_UP, left))
            left -= LOOK_UP
        self.waiting(0.0)
