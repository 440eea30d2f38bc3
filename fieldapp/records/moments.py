"""The moment that a written time stands for, to put what people wrote into the order in which it happened.

For: times with the zone of whoever wrote them: of a tablet in the field, of a cabin whose clock shows another zone, of
before and after the clocks are put back. Not for: how a time is shown, nor the clock; and no time decides what stands.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache


@lru_cache(maxsize=4096)
def moment(at: str) -> str:
    """An ISO 8601 time as a text that sorts by the moment it stands for; one without a zone is taken as it stands, and
    so is what is no time."""
    try:
        time = datetime.fromisoformat(at)
        return time.replace(tzinfo=time.tzinfo or UTC).astimezone(UTC).isoformat(timespec="microseconds")
    except (ValueError, OverflowError):
        return at
