"""Answers kept for as long as nothing has changed, so that a page's charts and files do not work them out again.

For: the desk, where a table, its pictures and the records behind a row are asked for one after the other. An answer is
found by everything it depends on, so that none can be old. Not for: commands, which ask once.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from contextlib import suppress

from fieldapp.domain.assemblage.results import Result
from fieldapp.domain.assemblage.selection import Selection
from server.analysis.asking import Asked, Settled, Table, answers
from server.analysis.gathering import Assemblage, Gathered
from server.ledger import Ledger

MOST = 32
"""Answers kept; the one asked for longest ago goes first."""


class Kept:
    """The analyses of one ledger."""

    def __init__(self, ledger: Ledger) -> None:
        self._assemblage = Assemblage(ledger)
        self._lock = threading.Lock()
        self._gathering: threading.Thread | None = None
        self._answers: OrderedDict[object, tuple[Result, ...]] = OrderedDict()

    def now(self) -> Gathered:
        """All specimens as they stand."""
        return self._assemblage.now()

    def soon(self, seconds: float) -> bool:
        """Whether they are gathered within so long; if not, that goes on, and `progress` says how far it is."""
        with self._lock:
            if self._gathering is None or not self._gathering.is_alive():
                self._gathering = threading.Thread(target=self._gather, daemon=True)
                self._gathering.start()
            gathering = self._gathering
        gathering.join(seconds)
        return not gathering.is_alive()

    def _gather(self) -> None:
        # Who waits for it asks again, and meets what went wrong where it is dealt with.
        with suppress(Exception):
            self._assemblage.now()

    @property
    def progress(self) -> tuple[int, int]:
        """(records read, of how many) of the gathering that is going on."""
        return self._assemblage.progress

    def results(self, found: Settled) -> tuple[Result, ...]:
        """The tables of an answer. What is asked is of the specimens as they stand: see `now`."""
        table, asked = found.table, found.asked
        key = (
            table.key, asked.gathered.stamp, asked.selection, _fixed(table, asked.options), asked.hidden,
        )  # fmt: skip
        with self._lock:
            known = self._answers.get(key)
            if known is not None:
                self._answers.move_to_end(key)
                return known
        made = tuple(answers(found))
        with self._lock:
            self._answers[key] = made
            while len(self._answers) > MOST:
                self._answers.popitem(last=False)
        return made

    def asked(self, selection: Selection, options: Mapping[str, str], hidden: frozenset[str]) -> Asked:
        """A question of the specimens as they stand."""
        return Asked(self.now(), selection, options, hidden)


def _fixed(table: Table, options: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple((one.key, options[one.key]) for one in table.options if one.key in options)
