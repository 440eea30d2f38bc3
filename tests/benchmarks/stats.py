"""Median, p99 and ratio of interleaved contenders: what every benchmark here prints.

A speed is claimed only as a ratio to an anchor timed in the same run. Not a timing framework.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence


def summary(seconds: Sequence[float]) -> dict[str, float]:
    """Median and 99th percentile of `seconds`, in microseconds."""
    ordered = sorted(seconds)
    return {
        "median_us": statistics.median(ordered) * 1e6,
        "p99_us": ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))] * 1e6,
    }


def ratios(times: Mapping[str, Sequence[float]], anchor: str) -> dict[str, dict[str, float]]:
    """{contender: median, p99 and ratio of its median to the anchor's}."""
    base = summary(times[anchor])["median_us"]
    found = {}
    for name, seconds in times.items():
        row = summary(seconds)
        found[name] = {**row, "ratio": row["median_us"] / base}
    return found
