"""Merging, against pycrdt's apply_update, interleaved in one run.

    python -m tests.benchmarks.merge [--changes 20000] [--rounds 5] [--json]

The anchor applies the same single-field edits to a pycrdt document, 500 in one update, which suits it best (a flat
map; it keeps no conflicts). Ours is `Fold.apply` of changes that are parsed already, as pycrdt's are decoded already;
reading a change from its text is a row of its own. Contenders take turns batch by batch. Growth is the log-log slope
of total time between 1,000 and 50,000 records, beside that of a plain dict, which no merge can beat.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import random
import time
import uuid
from collections.abc import Callable

from pycrdt import Doc, Map

from fieldapp.records.changes import Change, read, write
from fieldapp.records.fold import Fold
from tests.benchmarks.stats import ratios, summary

FIELDS = [f"f{i}" for i in range(25)]
BATCH = 500


def single_field_changes(count: int, records: int, seed: int) -> list[Change]:
    """Edits of one field by five notebooks over `records` records; one in ten has not seen the others."""
    rng = random.Random(seed)
    pens = [{"id": str(uuid.UUID(int=i + 1)), "n": 0, "prev": ""} for i in range(5)]
    heads: dict[tuple[str, str], list[str]] = {}
    made = []
    for _ in range(count):
        pen = rng.choice(pens)
        place = (f"r{rng.randrange(records)}", rng.choice(FIELDS))
        pen["n"] += 1
        over = {} if rng.random() < 0.1 else {place[1]: heads.get(place, [])}
        change = write(
            notebook=pen["id"], n=pen["n"], prev=pen["prev"], site="s", record=place[0], kind="docket",
            set={place[1]: rng.randrange(1000)}, over=over, by={}, at="2026-06-01T09:00:00+00:00",
        )  # fmt: skip
        pen["prev"] = change.id
        heads[place] = [change.id] if over.get(place[1]) else [*heads.get(place, []), change.id]
        made.append(change)
    return made


def whole_forms(count: int, seed: int) -> list[Change]:
    """New records of 25 fields each."""
    rng = random.Random(seed)
    return [
        write(
            notebook="n", n=i + 1, prev="", site="s", record=f"w{i}", kind="docket",
            set={name: rng.randrange(1000) for name in FIELDS}, over={}, by={}, at="2026-06-01T09:00:00+00:00",
        )
        for i in range(count)
    ]  # fmt: skip


def crdt_updates(changes: list[Change]) -> list[bytes]:
    """The same edits as pycrdt updates of BATCH edits each, made by one document."""
    doc: Doc = Doc()
    root = doc.get("records", type=Map)
    updates = []
    for start in range(0, len(changes), BATCH):
        before = doc.get_state()
        with doc.transaction():
            for change in changes[start : start + BATCH]:
                for path, value in change.set.items():
                    root[f"{change.record}/{path}"] = value
        updates.append(doc.get_update(before))
    return updates


def timed(times: list[float], work: Callable[[], None], each: int) -> None:
    start = time.perf_counter()
    work()
    times.append((time.perf_counter() - start) / each)


def apply_all(state: Fold, changes: list[Change]) -> None:
    for change in changes:
        state.apply(change)


def run_round(changes: list[Change], forms: list[Change], updates: list[bytes]) -> dict[str, list[float]]:
    fold, whole, doc = Fold(), Fold(), Doc()
    doc.get("records", type=Map)
    times: dict[str, list[float]] = {
        "pycrdt apply_update, one field": [],
        "fold, one field": [],
        "fold, 25 fields": [],
        "read and hash the text, one field": [],
        "plain dict assignment": [],
    }
    plain: dict[tuple[str, str], object] = {}

    def texts(batch: list[Change]) -> None:
        for change in batch:
            read(change.body, change.id)

    def assign(batch: list[Change]) -> None:
        for change in batch:
            for path, value in change.set.items():
                plain[change.record, path] = value

    gc.collect()
    gc.disable()  # as everything compared here is; the collector would charge one contender for another's garbage
    try:
        for start in range(0, len(changes), BATCH):
            batch, some = changes[start : start + BATCH], forms[start // 10 : start // 10 + BATCH // 10]
            timed(
                times["pycrdt apply_update, one field"],
                lambda b=updates[start // BATCH]: doc.apply_update(b),
                len(batch),
            )
            timed(times["fold, one field"], lambda b=batch: apply_all(fold, b), len(batch))
            timed(times["fold, 25 fields"], lambda b=some: apply_all(whole, b), max(1, len(some)))
            timed(times["read and hash the text, one field"], lambda b=batch: texts(b), len(batch))
            timed(times["plain dict assignment"], lambda b=batch: assign(b), len(batch))
    finally:
        gc.enable()
    return times


def growth(seed: int) -> dict[str, float]:
    """Microseconds a change over stores of 1,000 to 50,000 records, and the log-log slopes of total time."""
    sizes = (1_000, 5_000, 20_000, 50_000)
    ours: dict[int, list[float]] = {size: [] for size in sizes}
    plain: dict[int, list[float]] = {size: [] for size in sizes}
    gc.disable()
    try:
        for _ in range(3):
            for size in sizes:
                changes = single_field_changes(size, size, seed)
                table: dict[str, dict[str, object]] = {}
                timed(ours[size], lambda c=changes: apply_all(Fold(), c), size)
                timed(
                    plain[size], lambda c=changes, t=table: [t.setdefault(x.record, {}).update(x.set) for x in c], size
                )
                gc.collect()
    finally:
        gc.enable()
    found = {f"{size} records, us a change": summary(ours[size])["median_us"] for size in sizes}
    for name, costs in (("slope", ours), ("slope of a plain dict", plain)):
        first, last = summary(costs[1_000])["median_us"], summary(costs[50_000])["median_us"]
        found[name] = 1 + math.log(last / first) / math.log(50)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    rows = []
    for round_ in range(args.rounds):
        changes = single_field_changes(args.changes, 5_000, args.seed + round_)
        forms = whole_forms(args.changes // 10, args.seed + round_)
        times = run_round(changes, forms, crdt_updates(changes))
        rows.append(ratios(times, "pycrdt apply_update, one field"))
    grown = growth(args.seed)
    if args.json:
        print(json.dumps({"rounds": rows, "growth": grown}, indent=1))
        return
    for name in rows[0]:
        line = "   ".join(
            f"{row[name]['median_us']:7.2f} us p99 {row[name]['p99_us']:7.2f} x{row[name]['ratio']:.2f}" for row in rows
        )
        print(f"{name:36} {line}")
    print("growth:", {name: round(value, 2) for name, value in grown.items()})
    medians = summary([row["fold, one field"]["median_us"] / 1e6 for row in rows])
    print(f"fold, one field, median of {args.rounds} rounds: {medians['median_us']:.2f} us")


if __name__ == "__main__":
    main()
