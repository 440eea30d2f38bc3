"""What the sync benchmark's figures come to: each as a ratio to what was timed beside it, and whether it holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class Line(NamedTuple):
    """A figure against what is wanted of it. `sign` is ≥ or ≤."""

    what: str
    found: float
    sign: str
    wanted: float
    must: bool

    @property
    def holds(self) -> bool:
        return self.found >= self.wanted if self.sign == "≥" else self.found <= self.wanted


def verdict(
    times: Mapping[str, float], sent: Mapping[str, float], count: int, steep: float | None, peaks: Mapping[int, float]
) -> list[Line]:
    """Every line of the verdict; those about growth only where it was measured."""
    push = times["floor.tls.push"] / times["cabin.push"]
    pull = times["floor.tls.pull"] / times["cabin.pull"]
    lines = [
        Line("push, durable: speed to the floor's (TLS)", push, "≥", 1.0, True),
        Line("push, merged and visible: speed to the floor's (TLS)", push, "≥", 0.5, True),
        Line("push, merged and visible: speed to PouchDB's", times["pouch.push"] / times["cabin.push"], "≥", 3, True),
        Line("push, bytes to the floor's (TLS)", sent["cabin.push"] / sent["floor.push"], "≤", 1.5, True),
        Line("rules afterwards, microseconds a record", times["cabin.rules"] * 1e6, "≤", 300, True),
        Line("nothing changed: time to PouchDB's", times["cabin.nothing"] / times["pouch.nothing"], "≤", 0.25, True),
        Line("nothing changed: bytes to PouchDB's", sent["cabin.nothing"] / sent["pouch.nothing"], "≤", 0.2, True),
        Line("100 fields: time to PouchDB's", times["cabin.edits"] / times["pouch.edits"], "≤", 0.15, True),
        Line("100 fields: bytes to PouchDB's", sent["cabin.edits"] / sent["pouch.edits"], "≤", 0.05, True),
        Line("pull, durable: speed to the floor's (TLS)", pull, "≥", 1.0, False),
        Line("pull, merged: speed to the floor's (TLS)", pull, "≥", 0.5, True),
        Line("pull, merged: speed to PouchDB's", times["pouch.pull"] / times["cabin.pull"], "≥", 3, True),
        Line("pull, bytes to the floor's (TLS)", sent["cabin.pull"] / sent["floor.pull"], "≤", 1.5, True),
    ]
    if steep is not None:
        lines.append(Line("growth of the push, slope", steep, "≤", 1.05, True))
    if len(peaks) > 1:
        first, last = peaks[min(peaks)], peaks[max(peaks)]
        lines.append(Line(f"server's memory, {max(peaks):,} to {min(peaks):,}", last / first, "≤", 1.2, True))
    return lines
