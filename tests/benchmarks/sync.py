"""Sync of dockets from a tablet to an empty cabin and back, against a floor and against PouchDB, in turns in one run.

    python -m tests.benchmarks.sync [--rounds 3] [--quick] [--no-growth] [--json]

- floor: plain json, gzip at 6, 500 a POST, Flask behind the cabin's WSGI server, one executemany and one commit a POST
  into SQLite (WAL, synchronous FULL), nothing merged; with TLS, as the cabin, and once without
- cabin: `exchange` of a notebook with the same dockets unsent, over TLS, to the cabin as it is served
- PouchDB: replication between leveldb stores with its own defaults, over plain HTTP

Every server is a process of its own on 127.0.0.1. The cabin answers a batch when it is on the disk and folded, so that
durable and merged are one figure. Bytes are counted both ways by a relay, in a pass of their own: TLS's are in the
floor's and the cabin's, PouchDB has none. What must hold is said so; where it does not, the exit status is 1.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from tests.benchmarks import sync_runs as runs
from tests.benchmarks.sync_pouch import NoPouch
from tests.benchmarks.sync_verdict import Line, verdict

SIZES = (2_500, 10_000, 40_000)


def slope(points: dict[int, float]) -> float:
    """The log-log slope of time over size, by least squares."""
    xs, ys = [math.log(size) for size in points], [math.log(value) for value in points.values()]
    x, y = statistics.mean(xs), statistics.mean(ys)
    return sum((a - x) * (b - y) for a, b in zip(xs, ys, strict=True)) / sum((a - x) ** 2 for a in xs)


def measured(folder: Path, count: int, rounds: int, seed: int) -> tuple[dict[str, float], dict[str, float]]:
    """(medians of what each contender took, bytes each sent)."""
    stage = runs.Stage(folder / "stage", count, seed)
    times: dict[str, list[float]] = defaultdict(list)
    contenders = [runs.floor_tls, runs.floor_plain, runs.cabin, runs.pouch]
    for number in range(rounds):
        turn = number % len(contenders)
        for one in (*contenders[turn:], *contenders[:turn]):
            start = time.perf_counter()
            for name, value in one(stage, folder / f"{number}-{one.__name__}").items():
                times[name].append(value)
            print(f"  round {number + 1}: {one.__name__}, {time.perf_counter() - start:.1f} s", file=sys.stderr)
    sent: dict[str, float] = {}
    for count_bytes in (runs.floor_bytes, runs.cabin_bytes, runs.pouch_bytes):
        sent |= count_bytes(stage, folder / count_bytes.__name__)
    return {name: statistics.median(found) for name, found in times.items()}, sent


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--records", type=int, default=10_000)
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--seed", type=int, default=20260601)
    options.add_argument("--quick", action="store_true", help="2,000 records, one round, no growth: to try it out")
    options.add_argument("--no-growth", action="store_true", help="leave out larger sizes and memory")
    options.add_argument("--json", action="store_true")
    given = options.parse_args()
    count, rounds = (2_000, 1) if given.quick else (given.records, given.rounds)
    try:
        with tempfile.TemporaryDirectory() as kept:
            folder = Path(kept)
            times, sent = measured(folder, count, rounds, given.seed)
            grown, peaks = {}, {}
            if not (given.quick or given.no_growth):
                grown = runs.growth(folder / "growth", SIZES, rounds, given.seed)
                peaks = runs.memory(folder / "memory", (10_000, 100_000), given.seed)
    except NoPouch as missing:
        sys.exit(str(missing))
    steep = slope(grown) if grown else None
    lines = verdict(times, sent, count, steep, peaks)
    if given.json:
        told = {"records": count, "rounds": rounds, "seconds": times, "bytes": sent, "growth": grown, "memory": peaks}
        print(json.dumps({**told, "lines": [one._asdict() for one in lines]}, indent=1))
    else:
        show(lines, times, sent, count, rounds, grown, peaks)
    sys.exit(1 if any(one.must and not one.holds for one in lines) else 0)


def show(
    lines: list[Line], times: dict[str, float], sent: dict[str, float], count: int, rounds: int,
    grown: dict[int, float], peaks: dict[int, float],
) -> None:  # fmt: skip
    print(f"{count:,} dockets, medians of {rounds} rounds in turns\n")
    for name, seconds in times.items():
        what = f"{count / seconds:>9,.0f} records/s" if name.endswith((".push", ".pull")) else ""
        print(f"  {name:<28}{seconds * 1e3:>12.2f} ms {what}")
    for name, bytes_ in sent.items():
        what = f"{bytes_ / count:>9,.1f} a record" if name.endswith((".push", ".pull")) else ""
        print(f"  {name:<28}{bytes_:>12,.0f} bytes {what}")
    for size, seconds in grown.items():
        print(f"  push of {size:<20,}{seconds * 1e3:>12.0f} ms")
    for size, peak in peaks.items():
        print(f"  server's peak at {size:<11,}{peak / 1e6:>12.1f} MB")
    print(f"\n{'':<58}{'found':>9}{'wanted':>10}")
    for one in lines:
        state = "holds" if one.holds else "FAILS" if one.must else "short of its aim"
        print(
            f"  {one.what:<56}{one.found:>9.2f}  {one.sign}{one.wanted:<8g}{'must' if one.must else 'aim':<5} {state}"
        )


if __name__ == "__main__":
    main()
