"""One save on the tablet, against appending the same bytes to a file and syncing it, in turns in one run.

    python -m tests.benchmarks.save [--records 20000] [--rounds 3] [--sizes 1000,5000,20000,50000] [--json]

Contenders, each with N records stored already:
- anchor: `os.write` of a save's very bytes to a file opened for appending, then `os.fsync`; nothing durable costs less
- journal: Journal.append of the same entry
- whole: Notebook.save of a new docket (written as a change, hashed, journaled, folded), then the rules of that record
- edit: Notebook.save of one field of an older docket, and its rules
- whole/edit without sync: the same saves less the time inside the sync, which hides everything else on a slow disk
- TinyDB as it comes: one insert into its JSON file (a few only: each rewrites the file)

Printed: median, p99 and ratio to the anchor, each round apart; writes, syncs and bytes of a save, counted; and over the
sizes the log-log slope of the medians. Aims, as ratios to the anchor: journal 1.5 or less, whole 5 or less;
one sync, 16 kB or less; slope 0.1 or less.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import os
import random
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable
from pathlib import Path

from tinydb import TinyDB

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.records.checking import values_of
from fieldapp.store import disk
from fieldapp.store.journal import Journal
from fieldapp.store.lines import Entry, encode
from fieldapp.store.notebook import Notebook
from tests.benchmarks.dockets import CONTEXT, changes, docket, opened
from tests.benchmarks.stats import ratios
from tests.records.makers import ANA

AROUND_VALUES = {
    "context": {"number": "1042", "type": "layer", "grave_like": "no", "state": "open"},
    "bag": {"label": "HLG26 B1-P", "context": CONTEXT, "recovery": "hand", "state": "open"},
}


class Stage:
    """Every contender with N records stored, in one folder."""

    def __init__(self, folder: Path, size: int, seed: int) -> None:
        folder.mkdir()
        self.rng = random.Random(seed)
        self.number = size
        self.knowledge = assets.knowledge()
        stored = changes(size, seed)
        self.notebook: Notebook = opened(folder / "notebook")
        self.notebook.pull(stored[:-1])
        self.last = stored[-1]
        self.entry = Entry("change", f"{self.last.id} {self.last.body}")
        self.line = encode([self.entry])
        filling = b"".join(encode([Entry("change", f"{one.id} {one.body}")]) for one in stored)
        (folder / "anchor").write_bytes(filling)
        self.anchor_file = os.open(folder / "anchor", os.O_WRONLY | os.O_APPEND)
        self.journal = Journal(folder / "journal", lambda: str(uuid.uuid4()))
        self.journal.replay()
        self.journal.append([Entry("change", f"{one.id} {one.body}") for one in stored])
        plain = {str(n): {"id": one.record, **one.set} for n, one in enumerate(stored, 1)}
        (folder / "tinydb.json").write_text(json.dumps({"_default": plain}))
        self.tinydb = TinyDB(folder / "tinydb.json")
        self.records = [one.record for one in stored[:-1]]

    def close(self) -> None:
        os.close(self.anchor_file)
        self.journal.close()
        self.notebook.close()
        self.tinydb.close()

    def anchor(self) -> None:
        os.write(self.anchor_file, self.line)
        os.fsync(self.anchor_file)

    def append(self) -> None:
        self.journal.append([self.entry])

    def whole(self) -> None:
        self.number += 1
        record = str(uuid.UUID(int=self.rng.getrandbits(128), version=4))
        values = docket(self.rng, self.number)
        start = time.perf_counter()  # filling in the form is not the notebook's work
        self.notebook.save("docket", record, values, {}, ANA)
        self.check(record, new=True)
        self.took = time.perf_counter() - start

    def edit(self) -> None:
        record = self.rng.choice(self.records)
        weight = round(self.rng.uniform(0.5, 120), 1)
        start = time.perf_counter()
        over = {"weight_g": self.notebook.load().fold.records[record].head_ids()["weight_g"]}
        self.notebook.save("docket", record, {"weight_g": weight}, over, ANA)
        self.check(record, new=False)
        self.took = time.perf_counter() - start

    def check(self, record: str, new: bool) -> None:
        found = self.notebook.load().get(record)
        assert found is not None
        around = rules.Around(record=record, new=new, context_id=CONTEXT, **AROUND_VALUES)  # type: ignore[arg-type]
        rules.check_docket(values_of(found), around, self.knowledge)

    def insert(self) -> None:
        self.tinydb.insert({"id": self.last.record, **self.last.set})

    def counted(self, save: Callable[[], None]) -> dict[str, float]:
        """Writes, syncs and bytes of one save, counted where they leave for the system; means of 20."""
        real_write, real_sync, told = os.write, os.fsync, {"writes": 0, "syncs": 0, "bytes": 0}

        def write(descriptor: int, data: bytes) -> int:
            done = real_write(descriptor, data)
            told["writes"] += 1
            told["bytes"] += done
            return done

        def sync(descriptor: int) -> None:
            told["syncs"] += 1
            real_sync(descriptor)

        os.write, os.fsync = write, sync  # type: ignore[assignment]
        try:
            for _ in range(20):
                save()
        finally:
            os.write, os.fsync = real_write, real_sync
        return {name: value / 20 for name, value in told.items()}


def run_round(stages: dict[int, Stage], saves: int) -> dict[int, dict[str, list[float]]]:
    """Seconds of every save by size and contender, all taking turns, so that the disk's moods hit all alike."""
    times: dict[int, dict[str, list[float]]] = {
        size: {"anchor": [], "journal": [], "whole": [], "edit": [], "whole without sync": [], "edit without sync": []}
        for size in stages
    }
    real, in_sync = disk.sync, [0.0]

    def watched(descriptor: int) -> None:
        start = time.perf_counter()
        real(descriptor)
        in_sync[0] = time.perf_counter() - start

    gc.collect()
    disk.sync = watched
    try:
        for _ in range(saves):
            for size, stage in stages.items():
                timed(times[size]["anchor"], stage.anchor)
                timed(times[size]["journal"], stage.append)
                stage.whole()
                times[size]["whole"].append(stage.took)
                times[size]["whole without sync"].append(stage.took - in_sync[0])
                stage.edit()
                times[size]["edit"].append(stage.took)
                times[size]["edit without sync"].append(stage.took - in_sync[0])
    finally:
        disk.sync = real
    for size, stage in stages.items():
        # Apart, since each of these writes the whole file and would leave the disk busy for the others.
        times[size]["TinyDB as it comes"] = []
        for _ in range(3):
            timed(times[size]["TinyDB as it comes"], stage.insert)
    return times


def timed(times: list[float], save: Callable[[], None]) -> None:
    start = time.perf_counter()
    save()
    times.append(time.perf_counter() - start)


def slope(points: dict[int, float]) -> float:
    """The log-log slope of time over size, by least squares."""
    xs, ys = [math.log(size) for size in points], [math.log(value) for value in points.values()]
    mean_x, mean_y = statistics.mean(xs), statistics.mean(ys)
    return sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / sum((x - mean_x) ** 2 for x in xs)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--records", type=int, default=20_000, help="the size whose rounds are printed")
    options.add_argument("--saves", type=int, default=200)
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--sizes", default="1000,5000,20000,50000", help="for the slope")
    options.add_argument("--seed", type=int, default=20260601)
    options.add_argument("--folder", type=Path, help="a folder on the disk to be measured")
    options.add_argument("--json", action="store_true")
    given = options.parse_args()
    sizes = sorted({given.records, *(int(one) for one in given.sizes.split(",") if one)})
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        stages = {size: Stage(Path(folder) / str(size), size, given.seed) for size in sizes}
        run_round(stages, max(5, given.saves // 10))
        rounds = [run_round(stages, given.saves) for _ in range(given.rounds)]
        stage = stages[given.records]
        counted = {"whole": stage.counted(stage.whole), "edit": stage.counted(stage.edit)}
        for stage in stages.values():
            stage.close()
    medians = {
        name: {
            size: statistics.median(seconds for times in rounds for seconds in times[size][name]) * 1e6
            for size in sizes
        }
        for name in rounds[0][given.records]
    }
    told = {
        "records": given.records,
        "saves": given.saves,
        "sizes": sizes,
        "rounds": [ratios(times[given.records], "anchor") for times in rounds],
        "a save": counted,
        "medians_us": medians,
        "slopes": {name: slope(points) for name, points in medians.items()} if len(sizes) > 1 else {},
    }
    if given.json:
        print(json.dumps(told, indent=1))
    else:
        show(told)


def show(told: dict) -> None:  # type: ignore[type-arg]
    print(f"One save with {told['records']:,} records stored, {told['saves']} saves a round, in turns")
    for number, rows in enumerate(told["rounds"], 1):
        print(f"\nround {number:<20} median        p99   to anchor")
        for name, row in rows.items():
            print(f"  {name:<20}{row['median_us']:>9.0f} us{row['p99_us']:>9.0f} us{row['ratio']:>12.2f}")
    for name, row in told["a save"].items():
        print(f"\n{name}: {row['writes']:g} write, {row['syncs']:g} sync, {row['bytes']:,.0f} bytes")
    print("\nmedian us by records stored" + "".join(f"{size:>10,}" for size in told["sizes"]) + "     slope")
    for name, points in told["medians_us"].items():
        row = "".join(f"{value:>10.0f}" for value in points.values())
        print(f"  {name:<25}{row}{told['slopes'].get(name, float('nan')):>10.2f}")


if __name__ == "__main__":
    main()
