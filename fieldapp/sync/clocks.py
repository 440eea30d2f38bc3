"""How far the tablet's clock is from the cabin's: told to people, because nothing else depends on it.

Merging goes by what each form had shown, tokens have no dates, and certificates are known by their fingerprint. A
wrong clock only writes wrong times beside the records. Not here: setting any clock.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from fieldapp.assets import texts

TOLD_FROM = timedelta(minutes=2)

_UNITS = (("year", 365 * 86400), ("month", 30 * 86400), ("day", 86400), ("hour", 3600), ("minute", 60))
_ROUNDING = 30
"""Seconds by which a difference may fall short of a whole unit."""


def difference(asked: datetime, answered: datetime, theirs: object) -> timedelta | None:
    """Own time minus the cabin's (`theirs` is what it wrote), taken at the middle of the request.

    Half the time that the answer took stays unknown and is given to the clocks' benefit. None if `theirs` is no time.
    """
    try:
        told = datetime.fromisoformat(theirs) if isinstance(theirs, str) else None
        if told is None or told.tzinfo is None:
            return None
        half = max(timedelta(0), (answered - asked) / 2)
        off = asked + half - told
    except (ValueError, OverflowError):
        return None
    return off - half if off > half else off + half if off < -half else timedelta(0)


def sentence(off: timedelta | None) -> str:
    """What to tell of a difference; "" where it is too small to matter."""
    if off is None or abs(off) < TOLD_FROM:
        return ""
    words = texts()
    return words["sync.clock.ahead" if off > timedelta(0) else "sync.clock.behind"].format(much=_much(abs(off)))


def _much(off: timedelta) -> str:
    seconds = off.total_seconds()
    unit, long = next((unit, long) for unit, long in _UNITS if seconds + _ROUNDING >= long)
    n = round(seconds / long)
    return texts()[f"sync.clock.{unit}" if n == 1 else f"sync.clock.{unit}s"].format(n=n)
