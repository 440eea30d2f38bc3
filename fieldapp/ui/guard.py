"""Which contacts count as a tap: a wet, muddy screen reports more than fingers do. Free of kivy; time is passed in."""

from __future__ import annotations

from collections.abc import Callable, Hashable

HAND = 3
"""From so many contacts at once on, it is a hand or water."""

BOUNCE_S = 0.25
"""A second tap on one target, or within REACH_MM of the last, sooner than this is the same tap bouncing."""

REACH_MM = 8.0


class TouchGuard:
    """Counts contacts and remembers the last tap.

    clock  seconds from any start, never going back
    """

    def __init__(self, clock: Callable[[], float], bounce_s: float = BOUNCE_S) -> None:
        self.clock = clock
        self.bounce_s = bounce_s
        self._down: set[Hashable] = set()
        self._spoilt = False
        self._last: tuple[str, float, float, float] | None = None

    def down(self, contact: Hashable) -> bool:
        """A contact begins. Whether it may become a tap."""
        self._down.add(contact)
        # Until every contact of the hand has gone, none of them is a finger.
        self._spoilt = self._spoilt or len(self._down) >= HAND
        return not self._spoilt

    def up(self, contact: Hashable) -> bool:
        """A contact ends. Whether it was a tap."""
        good = not self._spoilt
        self._down.discard(contact)
        if not self._down:
            self._spoilt = False
        return good

    def accepts(self, target: str, x_mm: float, y_mm: float) -> bool:
        """Whether a tap that has just ended on `target` at (x, y) is a new one; if so it is remembered."""
        now = self.clock()
        if self._last is not None:
            before, last_x, last_y, when = self._last
            near = abs(x_mm - last_x) <= REACH_MM and abs(y_mm - last_y) <= REACH_MM
            if now - when < self.bounce_s and (near or before == target):
                return False
        self._last = target, x_mm, y_mm, now
        return True
