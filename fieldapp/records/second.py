"""Second readings as records: which belong to one draw, which are still to be made, and from whom they hide what.

A draw is the second readings that share a `sample`; each is a record of its own, and none is ever a disagreement. It is
over when every one is done or was ended. Shared by tablet and cabin. Not here: drawing, figures, pages, screens.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fieldapp.records.fold import Record

KIND = "second_reading"
SEEN = "first_seen"
"""First part of the paths that name who has looked at the first reading: true, if before the second was made."""


@dataclass(frozen=True)
class Draw:
    """The second readings of one draw."""

    id: str
    readings: tuple[Record, ...]

    @cached_property
    def drawn(self) -> Mapping[str, Any]:
        """How it was drawn, as its readings say."""
        return next((value for one in self.readings if isinstance(value := one.value("drawn"), Mapping)), {})

    @property
    def name(self) -> str:
        """Its name, or the beginning of its id."""
        name = self.drawn.get("name")
        return name if isinstance(name, str) and name else self.id[:8]

    @property
    def shown(self) -> frozenset[str]:
        """What of the docket a reader is shown beside its label: bag, context, weight."""
        given = self.drawn.get("shown")
        return frozenset(one for one in given if isinstance(one, str)) if isinstance(given, list) else frozenset()

    @property
    def done(self) -> tuple[Record, ...]:
        """Those that were read."""
        return tuple(one for one in self.readings if is_done(one))

    @property
    def open(self) -> tuple[Record, ...]:
        """Those still to be read."""
        return tuple(one for one in self.readings if is_open(one))

    @property
    def over(self) -> bool:
        """Whether none is still to be read: only then may anything be compared."""
        return not self.open


def is_done(one: Record) -> bool:
    """Whether a second reading was made."""
    return one.value("done") is True


def is_open(one: Record) -> bool:
    """Whether it is still to be made."""
    return not is_done(one) and one.value("ended") is not True


def is_read(reading: Any) -> bool:
    """Whether anything is said in a docket's reading, so that there is something to read again."""
    return isinstance(reading, Mapping) and any(reading.get(name) for name in ("taxon", "element", "side", "stage"))


def is_hard(reading: Any, disputed: bool) -> bool:
    """Whether a bone that was read so is a hard one: people disagree on it, or are not certain, or no part of it is
    there by more than half."""
    if not is_read(reading):
        return False
    portions = reading.get("portions")
    whole = isinstance(portions, Mapping) and "most" in portions.values()
    return disputed or reading.get("certainty") == "cf" or not whole


def reader_of(one: Record) -> str:
    """Who was asked for it, "" for anybody who may."""
    return _text(one, "reader")


def docket_of(one: Record) -> str:
    """The docket that it is of."""
    return _text(one, "docket")


def sample_of(one: Record) -> str:
    """The draw that it belongs to."""
    return _text(one, "sample")


def is_asked(one: Record, person: str) -> bool:
    """Whether this person is the one, or one of those, to make it."""
    return reader_of(one) in ("", person)


def seen_early(one: Record) -> set[str]:
    """Who looked at the first reading before this one was made, or mended it since."""
    return {person for person, early in one.items(SEEN).items() if early}


def draws(readings: Iterable[Record]) -> list[Draw]:
    """Every draw, those that are not over first, then by name."""
    found: dict[str, list[Record]] = defaultdict(list)
    for one in readings:
        found[sample_of(one)].append(one)
    named = [Draw(sample, tuple(those)) for sample, those in found.items()]
    return sorted(named, key=lambda one: (one.over, one.name, one.id))


def hiding(readings: Iterable[Record], person: str) -> dict[str, Record]:
    """{docket: its second reading} of those whose first reading is hidden from this person, until the draw is over."""
    return {
        docket_of(one): one
        for draw in draws(readings)
        if not draw.over
        for one in draw.readings
        if is_asked(one, person) and person not in one.items(SEEN)
    }


def _text(one: Record, path: str) -> str:
    value = one.value(path)
    return value if isinstance(value, str) else ""
