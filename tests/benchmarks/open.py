"""Opening the notebook, against `json.load` of the same changes, each in a fresh process, in turns in one run.

    python -m tests.benchmarks.open [--records 20000] [--rounds 3] [--times 5] [--json]

Contenders (imports not counted; the files are in the system's cache for all alike):
- anchor: json.load of the bodies of all changes as one array: the same bytes that the journal holds
- first screen: Notebook.open and `first`, after a rest
- first screen after a crash: the same with 200 saves behind the snapshot, which need the records first
- all: Notebook.open and `load`, after a rest
- all without a snapshot: every line read, checked, hashed and folded
- json.load of plain values; TinyDB as it comes, opened and asked one query: both keep no history and no disagreements

Printed: median and ratio to the anchor, each round apart, peak memory above an idle process, and slopes over 5,000 to
50,000 records with --sizes. Aims, as ratios to the anchor: first screen 0.1 or less, all 2 or less.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from tinydb import TinyDB, where

from fieldapp.store.lines import Entry, encode
from fieldapp.store.notebook import Notebook
from tests.benchmarks.dockets import changes, opened
from tests.benchmarks.save import slope

ANCHOR = "json.load of the bodies"
TAIL = 200


def prepare(folder: Path, size: int, seed: int) -> None:
    """The same `size` saves in every form that a contender opens."""
    folder.mkdir()
    made = changes(size + TAIL, seed)
    opened(folder / "rested").close()
    with (folder / "rested" / "journal").open("ab") as file:
        for one in made[:size]:
            file.write(encode([Entry("change", f"{one.id} {one.body}")]))
    shutil.rmtree(folder / "rested" / "snapshot")
    shutil.copytree(folder / "rested", folder / "bare")
    opened(folder / "rested").close()
    shutil.copytree(folder / "rested", folder / "crashed")
    with (folder / "crashed" / "journal").open("ab") as file:
        for one in made[size:]:
            file.write(encode([Entry("change", f"{one.id} {one.body}")]))
    (folder / "bodies.json").write_text("[" + ",".join(one.body for one in made[:size]) + "]")
    plain = {str(n): {"id": one.record, **one.set} for n, one in enumerate(made[:size], 1)}
    (folder / "tinydb.json").write_text(json.dumps({"_default": plain}))


def notebook(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))


def load_json(path: Path) -> object:
    with path.open() as file:
        return json.load(file)


CONTENDERS: dict[str, Callable[[Path], object]] = {
    ANCHOR: lambda folder: load_json(folder / "bodies.json"),
    "first screen": lambda folder: notebook(folder / "rested").first(),
    "first screen after a crash": lambda folder: notebook(folder / "crashed").first(),
    "all": lambda folder: notebook(folder / "rested").load(),
    "all without a snapshot": lambda folder: notebook(folder / "bare").load(),
    "json.load of plain values": lambda folder: load_json(folder / "tinydb.json"),
    "TinyDB as it comes": lambda folder: TinyDB(folder / "tinydb.json").get(where("count") == 1),
}


def one(name: str, folder: Path) -> None:
    """In its own process: opens as `name` does and prints seconds and the growth of the peak memory in MB."""
    before = peak_mb()
    start = time.perf_counter()
    kept = CONTENDERS[name](folder)
    took = time.perf_counter() - start
    assert kept
    print(json.dumps([took, peak_mb() - before]))


def peak_mb() -> float:
    """The process's peak memory. From Linux's own account, since getrusage counts in what the parent held; else 0."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:"))


def run(name: str, folder: Path) -> tuple[float, float]:
    command = [sys.executable, "-m", "tests.benchmarks.open", "--one", name, "--folder", str(folder)]
    took, memory = json.loads(subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout)
    return took, memory


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--records", type=int, default=20_000, help="the size whose rounds are printed")
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--times", type=int, default=5)
    options.add_argument("--sizes", default="5000,20000,50000", help="for the slope")
    options.add_argument("--seed", type=int, default=20260601)
    options.add_argument("--folder", type=Path, help="a folder on the disk to be measured")
    options.add_argument("--json", action="store_true")
    options.add_argument("--one", help=argparse.SUPPRESS)
    given = options.parse_args()
    if given.one:
        one(given.one, given.folder)
        return
    sizes = sorted({given.records, *(int(size) for size in given.sizes.split(",") if size)})
    rounds: list[dict[str, dict[str, float]]] = []
    medians: dict[str, dict[int, float]] = {name: {} for name in CONTENDERS}
    with tempfile.TemporaryDirectory(dir=given.folder) as temporary:
        for size in sizes:
            folder = Path(temporary) / str(size)
            prepare(folder, size, given.seed)
            told = [turn(folder, given.times) for _ in range(given.rounds)]
            for name, points in medians.items():
                points[size] = statistics.median(rows[name]["median_ms"] for rows in told)
            if size == given.records:
                rounds = told
                sizes_mb = {
                    file: (folder / file).stat().st_size / 1e6
                    for file in ("rested/journal", "rested/snapshot/state", "rested/snapshot/first", "bodies.json")
                }
    found = {
        "records": given.records,
        "rounds": rounds,
        "files_mb": sizes_mb,
        "medians_ms": medians,
        "slopes": {name: slope(points) for name, points in medians.items()} if len(sizes) > 1 else {},
    }
    if given.json:
        print(json.dumps(found, indent=1))
    else:
        show(found)


def turn(folder: Path, times: int) -> dict[str, dict[str, float]]:
    """One round: every contender `times` times, in turns."""
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in CONTENDERS}
    for _ in range(times):
        for name in CONTENDERS:
            taken[name].append(run(name, folder))
    base = statistics.median(took for took, _ in taken[ANCHOR])
    return {
        name: {
            "median_ms": (median := statistics.median(took for took, _ in each)) * 1e3,
            "worst_ms": max(took for took, _ in each) * 1e3,
            "ratio": median / base,
            "memory_mb": statistics.median(memory for _, memory in each),
        }
        for name, each in taken.items()
    }


def show(found: dict) -> None:  # type: ignore[type-arg]
    print(f"Opening {found['records']:,} records, a fresh process each")
    for number, rows in enumerate(found["rounds"], 1):
        print(f"\nround {number:<25} median     worst   to anchor    memory")
        for name, row in rows.items():
            numbers = f"{row['median_ms']:>9.1f} ms{row['worst_ms']:>7.1f} ms{row['ratio']:>12.3f}"
            print(f"  {name:<27}{numbers}{row['memory_mb']:>7.0f} MB")
    print("\n" + ", ".join(f"{file}: {size:.2f} MB" for file, size in found["files_mb"].items()))
    print(
        "\nmedian ms by records"
        + " " * 10
        + "".join(f"{size:>10,}" for size in found["medians_ms"][ANCHOR])
        + "     slope"
    )
    for name, points in found["medians_ms"].items():
        row = "".join(f"{value:>10.1f}" for value in points.values())
        print(f"  {name:<28}{row}{found['slopes'].get(name, float('nan')):>10.2f}")


if __name__ == "__main__":
    main()
