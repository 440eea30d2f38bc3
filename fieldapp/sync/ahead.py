"""The next portion is made ready in a thread of its own, while whoever got the last one works on it.

    with Ahead(make) as ahead:
        first = ahead.take(0)        made now
        ahead.prepare(500)           made meanwhile
        …
        second = ahead.take(500)     there already; for any other place made anew

Not here: what is made (exchange).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Generic, Self, TypeVar

T = TypeVar("T")


class Ahead(Generic[T]):
    """See the module. `make`: what belongs to a place; it may be called in another thread, one call at a time there."""

    def __init__(self, make: Callable[[int], T]) -> None:
        self._make = make
        self._worker = ThreadPoolExecutor(1, "ahead")
        self._made: tuple[int, Future[T]] | None = None

    def prepare(self, at: int) -> None:
        """Begins with what belongs to a place, unless that was begun already."""
        if self._made is None or self._made[0] != at:
            self._made = (at, self._worker.submit(self._make, at))

    def take(self, at: int) -> T:
        """What belongs to a place. What was prepared is given once: asked again, it is made anew."""
        made, self._made = self._made, None
        return made[1].result() if made is not None and made[0] == at else self._make(at)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._worker.shutdown(cancel_futures=True)
