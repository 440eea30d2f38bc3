"""Counting 1,000,000 fragments: NISP, MNE and MNI by context against one group-by of the same frame; and how near
minimum numbers come to the fewest bones and animals that fit.

    python -m tests.benchmarks.counts [--rows N] [--contexts N] [--herds N]

Prints ratios and the largest memory of the process that counted. Aims: NISP, MNE and MNI together in five times one
group-by over every column that a fragment is told by, within 2 GB. The figures themselves are held to the plain
definitions by tests, not here.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from math import inf
from random import Random

import numpy as np
import polars as pl

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.individuals import mni
from fieldapp.domain.assemblage.numbers import mne
from server.analysis.frames import PIECES, TEETH, Frame
from server.analysis.individuals import Animals
from server.analysis.numbers import Numbers

TAXA = {"cattle": 30, "sheep": 6, "goat": 2, "sheep_goat": 22, "pig": 18, "horse": 5, "dog": 4, "red_deer": 5,
        "roe_deer": 2, "hare": 1, "fowl": 2, "goose": 1, "cat": 1, "medium_mammal": 1}  # fmt: skip
ELEMENTS = (
    "mandible", "skull", "scapula", "humerus", "radius", "ulna", "metacarpal", "pelvis", "femur", "tibia", "metatarsal",
    "metapodial", "phalanx_1", "phalanx_2", "phalanx_3", "calcaneum", "astragalus", "atlas", "axis", "rib",
    "loose_tooth", "lumbar_vertebra", "thoracic_vertebra", "cervical_vertebra",
)  # fmt: skip
ROUNDS = 7


def made(rows: int, contexts: int, seed: int = 1) -> Frame:
    """A frame of so many fragments: a few large contexts and many small ones, as on a site."""
    known, rng = knowledge(), np.random.default_rng(seed)
    taxa, elements = [*known.taxa], [*known.elements]
    width = {element: min(len(known.portions_of(element)), 14) for element in ELEMENTS}
    weights = np.array([*TAXA.values()], float)
    taxon = rng.choice([taxa.index(one) for one in TAXA], rows, p=weights / weights.sum())
    at = rng.choice(len(ELEMENTS), rows)
    wide = np.array([width[one] for one in ELEMENTS])[at]
    start = (rng.random(rows) * wide).astype(np.int64)
    long = rng.choice([0, 1, 2, 3, 14], rows, p=[0.15, 0.4, 0.25, 0.12, 0.08])
    most = (((1 << np.minimum(start + long, wide)) - 1) ^ ((1 << np.minimum(start, wide)) - 1)).astype(np.uint32)
    seen = rng.random(rows)
    fused = np.where(seen < 0.2, rng.integers(1, 4, rows), 0)
    unfused = np.where((seen >= 0.2) & (seen < 0.3), rng.integers(1, 4, rows), 0)
    size = rng.pareto(1.2, contexts) + 0.05
    data = {
        "unit": rng.choice(contexts, rows, p=size / size.sum()), "key": np.arange(rows), "taxon": taxon,
        "element": np.array([elements.index(one) for one in ELEMENTS])[at],
        "side": rng.choice([0, 1, 2], rows, p=[0.2, 0.4, 0.4]),
        "count": np.ones(rows, np.int64), "sure": np.ones(rows, bool), "most": most, "fused": fused, "unfused": unfused,
        "fusing": np.zeros(rows, np.int64), "shed": np.zeros(rows, bool), "least": np.full(rows, -inf),
        "upto": np.where(unfused > 0, 24.0, inf),
    }  # fmt: skip
    data["least"] = np.where(fused > 0, 18.0, -inf)
    low = pl.DataFrame({name: pl.Series(data[name]).cast(PIECES[name]) for name in PIECES})
    bearing = low.filter(pl.col("element").is_in([elements.index("mandible"), elements.index("loose_tooth")]))
    keys = [*known.teeth.teeth]
    tooth = rng.choice([keys.index(one) for one in ("P4", "dP4", "M1", "M2", "M1_2", "M3", "P3")], bearing.height)
    teeth = bearing.select("unit", "key", "taxon", "side", "count", "sure", "least", "upto").with_columns(
        jaw=pl.lit(1), tooth=pl.Series(tooth), worn=pl.Series(rng.random(bearing.height) < 0.6),
        there=pl.Series(rng.random(bearing.height) < 0.95),
        place=bearing["element"] == elements.index("mandible"),
    )  # fmt: skip
    teeth = teeth.select(pl.col(name).cast(of) for name, of in TEETH.items())
    portions = {"metapodial": _some(14), **{one: _some(width[one]) for one in ELEMENTS}}
    centres = dict.fromkeys((*ELEMENTS, "metapodial"), ("a", "b"))
    return Frame(known, low, teeth, low.clear(), teeth.clear(), low.clear(), teeth.clear(), portions, centres)


def _some(n: int) -> tuple[str, ...]:
    return tuple(f"{at:02}" for at in range(n))


def nisp(of: Frame) -> pl.DataFrame:
    """NISP by context and animal: every fragment here names both."""
    return of.low.group_by("unit", "taxon").agg(pl.col("count").sum())


def counted(of: Frame) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """NISP, MNE and MNI by context, from nothing."""
    numbers = Numbers(of)
    return nisp(of), numbers.mne, Animals(numbers).mni


def once(of: Frame) -> pl.DataFrame:
    """One group-by: how many fragments there are alike in context, animal, element, side, portions and fusion."""
    return of.low.group_by("unit", "taxon", "element", "side", "most", "fused", "unfused").agg(pl.len())


def places(of: Frame) -> pl.DataFrame:
    """A plainer group-by: fragments by context, animal, element and side."""
    return of.low.group_by("unit", "taxon", "element", "side").agg(pl.len())


def run(rows: int, contexts: int) -> None:
    """Counts and prints, in this process."""
    of = made(rows, contexts)
    contenders: dict[str, Callable[[], object]] = {
        "one group-by, all columns": lambda: once(of),
        "one group-by, by place": lambda: places(of),
        "NISP": lambda: nisp(of),
        "MNE": lambda: Numbers(of).mne,
        "NISP, MNE and MNI": lambda: counted(of),
        "the same and age-refined": lambda: (counted(of), Animals(Numbers(of)).aged),
    }
    times: dict[str, list[float]] = {name: [] for name in contenders}
    peak = 0
    for _ in range(ROUNDS):
        for name, what in contenders.items():
            begun = time.perf_counter()
            what()
            times[name].append(time.perf_counter() - begun)
            if name == "NISP, MNE and MNI" and not peak:
                peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{rows:,} fragments, {contexts:,} contexts; medians of {ROUNDS}, interleaved")
    middle = {name: statistics.median(seconds) for name, seconds in times.items()}
    for name, seconds in middle.items():
        ratios = (f"{seconds / middle[anchor]:5.2f} x" for anchor in [*middle][:2])
        print(f"  {name:28} {seconds * 1000:8.0f} ms  {'  '.join(ratios)}")
    last = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print("  (against each of the two)")
    print(f"  largest memory {peak / 1e6:.2f} GB, with age-refined {last / 1e6:.2f} GB")


def near(herds: int, seed: int) -> None:
    """How often a minimum number is the fewest that fits."""
    from tests.domain.assemblage.herds import K, fewest_animals, fewest_bones, herd

    rng = Random(seed)
    bones = same_bones = animals = same_plain = same_aged = above = 0
    for _ in range(herds):
        found = herd(rng.randrange(1 << 30))
        for (_, element), one in mne(found.specimens, K).items():
            fewest = fewest_bones([each for each in found.specimens if each.element == element])
            bones, same_bones, above = bones + 1, same_bones + (one.low == fewest), above + (one.low > fewest)
        for one in mni(found.specimens, K).values():
            fewest = fewest_animals(found.specimens)
            animals, same_plain = animals + 1, same_plain + (one.low == fewest)
            same_aged, above = same_aged + (one.aged_low == fewest), above + (one.aged_low > fewest)
    print(f"{herds:,} small herds, broken and recorded at random (seed {seed})")
    print(f"  MNE is the fewest bones that fit in {same_bones / bones:.1%} of {bones:,}")
    shares = f"{same_plain / animals:.1%}, age-refined in {same_aged / animals:.1%} of {animals:,}"
    print(f"  MNI is the fewest animals that fit in {shares}")
    print(f"  above the fewest: {above}")


def main() -> None:
    """Reads the arguments and runs both, the counting in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--contexts", type=int, default=2_000)
    parser.add_argument("--herds", type=int, default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.here:
        run(args.rows, args.contexts)
        return
    here = [sys.executable, "-m", "tests.benchmarks.counts", "--here", "--rows", str(args.rows)]
    subprocess.run([*here, "--contexts", str(args.contexts)], check=True)
    if args.herds:
        near(args.herds, args.seed)


if __name__ == "__main__":
    main()
