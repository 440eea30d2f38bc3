"""A site of many read fragments in a cabin, for the benchmark of the assemblage: the invented herds, repeated."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from demo_data.site import last_season
from fieldapp.assets import knowledge
from fieldapp.records.changes import Change
from server.ledger import Ledger

BATCH = 1000


def fill(ledger: Ledger, dockets: int, seed: int = 25) -> None:
    """About so many dockets, looked at by the rules."""
    entries = enough(dockets, seed)
    while batch := [(one.id, one.body) for one in islice(entries, BATCH)]:
        ledger.accept(batch, "benchmark")
    while ledger.check_due():
        pass


def enough(dockets: int, seed: int) -> Iterator[Change]:
    """The changes of so many dockets and what they lie in."""
    made = 0
    for change in last_season(knowledge(), times=max(1, dockets), seed=seed):
        yield change
        made += change.kind == "docket"
        if made >= dockets:
            return
