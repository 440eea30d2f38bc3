"""The real exchange with the cabin, as the screens want it."""

from __future__ import annotations

from collections.abc import Callable

from fieldapp.ui.presenters.cabin import Exchange, Progress
from fieldapp.ui.presenters.desk import Desk


class RealCabin:
    """Talks to the cabin through fieldapp.sync."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def enrol(self, address: str, code: str) -> str:
        """Not yet."""
        return "not yet"

    def exchange(self, progress: Progress, cancelled: Callable[[], bool]) -> Exchange:
        """Not yet."""
        return Exchange(trouble="not yet")
