"""What law and practice are said to ask at possible human remains, place by place: the lines of drafts.

For: the table `places`, from which a director makes the words of a site's place. Not for: what a site has set
(records.place), nor for showing at a stop: nothing here is law, advice or a default, and no place is ever guessed.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from fieldapp.domain.cells import Tables, cells_of

NAMES = ("places",)
_SEEN = "verified:"


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """One line of a place's draft; its words are the text `place.<place>.<at>`.

    at  where it stands in the draft, from 1;  source  whose word it is;  seen  verified:<address> or memory
    """

    place: str
    at: int
    source: str
    seen: str

    @property
    def text(self) -> str:
        """The key of its words."""
        return f"place.{self.place}.{self.at}"

    @property
    def address(self) -> str:
        """Where it was seen; "" for a line from memory."""
        return self.seen.removeprefix(_SEEN) if self.seen.startswith(_SEEN) else ""


def read(tables: Tables, texts: Container[str]) -> dict[str, tuple[PlaceLine, ...]]:
    """{place: its lines in order}. A line out of order, without words or a place without a name is a TableFault."""
    found: dict[str, tuple[PlaceLine, ...]] = {}
    for cells in cells_of("places", tables):
        line = PlaceLine(cells.key("place"), cells.whole("at"), cells.text("source"), cells.text("seen"))
        before = found.get(line.place, ())
        if line.at != len(before) + 1:
            raise cells.fault(f"`at` is {line.at}, but the next line of {line.place} is {len(before) + 1}")
        if not line.address and line.seen != "memory":
            raise cells.fault("what law asks is seen somewhere or recalled; it is no decision of this project")
        for key in (f"place.{line.place}", line.text):
            if key not in texts:
                raise cells.fault(f"there is no text {key!r}")
        found[line.place] = (*before, line)
    return found
