"""Checking records by the rules: one docket while it is recorded, and a whole site's records among each other.

    python -m tests.benchmarks.check [--dockets 400] [--rounds 5] [--sizes 5000,10000,20000] [--seed 26] [--json]

One docket: `rules.check_docket` with its bag and context around it, as the form does after every tap; ordinary dockets,
and the same ones laden with teeth, measurements and marks. Anchor: the same values to JSON and back, which is what
keeping them costs anyhow. All records: `Among(records).check_all()`, shapes and rules, over a site of 40 dockets a bag
and four bags a context, articulated groups among them. Growth is the log-log slope of the time over the number of
records; beside it that of a plain loop that writes each record's values as JSON. Seconds are the process's own,
and over all records the least of the rounds: what neighbours on the machine add is no part of the work.

Aims: one docket, laden or not, 0.5 ms; 20,000 records 5 s; slope 1.05, or the plain loop's.
"""

from __future__ import annotations

import argparse
import cProfile
import gc
import json
import math
import pstats
import random
import statistics
import time
import uuid
from collections import Counter
from collections.abc import Callable
from typing import Any

from demo_data.site import CODE, Tablet, earlier_weeks
from fieldapp import assets
from fieldapp.domain import ids, rules
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.checking import Among
from fieldapp.records.fold import Fold
from tests.benchmarks.stats import ratios

PERSON = {"person": "demo-bryony", "name": "Bryony", "role": "supervisor"}
IN_BAG, IN_CONTEXT = 40, 160
BAG = {"label": "1042-1", "context": "c1", "recovery": "sieve", "mesh_mm": 4}
CONTEXT = {"number": "1042", "type": "pit_fill", "grave_like": "no", "state": "open"}
AIM_US, AIM_S, AIM_SLOPE = 500.0, 5.0, 1.05


def new_id(rng: random.Random) -> str:
    return str(uuid.UUID(int=rng.getrandbits(128), version=4))


def laden(values: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """A docket with two teeth, three measurements, three marks and what is said of a surface."""
    found = dict(values)
    for tooth, stage in (("M1", "in_wear"), ("M2", "erupting")):
        found[f"tooth/{new_id(rng)}"] = {
            "tooth": tooth, "jaw": "lower", "side": "left", "seat": "in_jaw", "stage": stage, "scheme": None,
            "wear": None, "crown_height_mm": None, "note": "",
        }  # fmt: skip
    for code, mm in (("GL", 182.5), ("Bp", 44.1), ("SD", 27.3)):
        found[f"measure/{new_id(rng)}"] = {"code": code, "mm": mm, "estimated": False, "note": ""}
    portion = next((key for key, state in values["reading"]["portions"].items() if state == "most"), None)
    for kind in ("cut", "chop", "carnivore_gnawing"):
        found[f"mark/{new_id(rng)}"] = {
            "kind": kind, "portion": portion, "aspect": "medial", "direction": "transverse", "tool": None,
            "number": 2, "tone": "same", "note": "",
        }  # fmt: skip
    return {**found, "burning": "unburnt", "weathering": 1, "breaks": "old", "longest_mm": 85}


def site(knowledge: Knowledge, dockets: int, seed: int) -> Fold:
    """`dockets` fragments in their bags and contexts, one in four laden; and a group of five for every 200."""
    rng, tablet, fold = random.Random(seed), Tablet("D", seed, PERSON), Fold()
    bag = context = ""
    members: list[str] = []
    made = (change for change in earlier_weeks(knowledge, dockets, seed) if change.kind == "docket")
    for at, change in enumerate(made):
        if at % IN_CONTEXT == 0:
            number = str(1000 + at // IN_CONTEXT)
            context = ids.context_id(ids.site_id(CODE), number)
            fold.apply(tablet.write("context", context, {**CONTEXT, "number": number}))
        if at % IN_BAG == 0:
            bag = tablet.new_id()
            fold.apply(tablet.write("bag", bag, {**BAG, "label": tablet.label(), "context": context}))
        values = {**change.set, "label": tablet.label(), "bag": bag}
        record = tablet.new_id()
        fold.apply(tablet.write("docket", record, laden(values, rng) if rng.random() < 0.25 else values))
        members = [*members[-4:], record]
        if at % 200 == 199:
            group = {"label": tablet.label(), "context": context, "relation": "associated"}
            fold.apply(tablet.write("group", tablet.new_id(), group | {f"member/{one}": True for one in members}))
    return fold


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def one_docket(knowledge: Knowledge, dockets: int, rounds: int, seed: int) -> dict[str, list[float]]:
    """Seconds of each check by contender, in turns over the same dockets."""
    rng = random.Random(seed)
    plain = [change.set for change in earlier_weeks(knowledge, dockets, seed) if change.kind == "docket"]
    full = [laden(values, rng) for values in plain]
    around = rules.Around(record="d1", bag=BAG, context=CONTEXT, context_id="c1", labels={})
    names = ("to JSON and back", "ordinary docket", "laden docket")
    times: dict[str, list[float]] = {name: [] for name in names}
    gc.collect()
    gc.disable()
    try:
        for _ in range(rounds):
            for values, more in zip(plain, full, strict=True):
                for name, work in zip(
                    names,
                    (
                        lambda v=values: json.loads(json.dumps(v)),
                        lambda v=values: rules.check_docket(v, around, knowledge),
                        lambda v=more: rules.check_docket(v, around, knowledge),
                    ),
                    strict=True,
                ):
                    times[name].append(seconds(work))
    finally:
        gc.enable()
    return times


def all_records(knowledge: Knowledge, sizes: list[int], rounds: int, seed: int) -> dict[str, dict[int, float]]:
    """Least seconds over all records by size, sizes in turns; and how many findings and records there were."""
    found: dict[str, dict[int, list[float]]] = {name: {n: [] for n in sizes} for name in ("check_all", "plain loop")}
    told: dict[str, dict[int, float]] = {"findings": {}, "records": {}}
    stages = {size: site(knowledge, size, seed) for size in sizes}
    for _ in range(rounds):
        for size, fold in stages.items():
            records = list(fold)
            gc.collect()
            start = time.process_time()
            findings = sum(1 for _ in Among(records, knowledge).check_all())
            found["check_all"][size].append(time.process_time() - start)
            found["plain loop"][size].append(
                seconds(lambda r=records: [json.dumps(one.values(), default=str) for one in r])
            )
            told["findings"][size], told["records"][size] = findings, len(records)
    return {name: {n: min(times) for n, times in own.items()} for name, own in found.items()} | told


def slope(points: dict[int, float]) -> float:
    """The log-log slope of time over size, by least squares."""
    xs, ys = [math.log(size) for size in points], [math.log(value) for value in points.values()]
    mean_x, mean_y = statistics.mean(xs), statistics.mean(ys)
    return sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / sum((x - mean_x) ** 2 for x in xs)


def slowest(knowledge: Knowledge, dockets: int, seed: int, most: int = 12) -> list[tuple[str, float]]:
    """(rule, microseconds a docket) of the slowest rules, laden dockets; profiling makes all of them look slower."""
    rng = random.Random(seed)
    full = [laden(c.set, rng) for c in earlier_weeks(knowledge, dockets, seed) if c.kind == "docket"]
    around = rules.Around(record="d1", bag=BAG, context=CONTEXT, context_id="c1", labels={})
    profile = cProfile.Profile()
    profile.enable()
    for values in full:
        rules.check_docket(values, around, knowledge)
    profile.disable()
    spent: Counter[str] = Counter()
    for (_, _, name), row in pstats.Stats(profile).stats.items():  # type: ignore[attr-defined]
        if name in knowledge.rules:
            spent[name] += row[3]
    return [(name, total / len(full) * 1e6) for name, total in spent.most_common(most)]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--dockets", type=int, default=400)
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--sizes", default="5000,10000,20000", help="two or more, for the slope")
    options.add_argument("--seed", type=int, default=26)
    options.add_argument("--json", action="store_true")
    given = options.parse_args()
    knowledge = assets.knowledge()
    sizes = sorted({int(one) for one in given.sizes.split(",") if one})
    if len(sizes) < 2:
        options.error("--sizes needs two sizes or more")
    one_docket(knowledge, given.dockets // 4, 1, given.seed)
    told: dict[str, Any] = {
        "rules": len(knowledge.rules),
        "one docket": ratios(one_docket(knowledge, given.dockets, given.rounds, given.seed), "to JSON and back"),
        "all records": all_records(knowledge, sizes, given.rounds, given.seed),
        "slowest rules": slowest(knowledge, given.dockets, given.seed),
    }
    told["slopes"] = {name: slope(told["all records"][name]) for name in ("check_all", "plain loop")}
    print(json.dumps(told, indent=1)) if given.json else show(told)


def show(told: dict[str, Any]) -> None:
    print(f"{told['rules']} rules\n\none docket            median        p99   to anchor")
    for name, row in told["one docket"].items():
        aim = "" if "JSON" in name else f"   aim {AIM_US:.0f} us: {met(row['median_us'] <= AIM_US)}"
        print(f"{name:<18}{row['median_us']:>7.0f} us{row['p99_us']:>8.0f} us{row['ratio']:>12.2f}{aim}")
    print("\nall records" + "".join(f"{size:>12,} dockets" for size in told["all records"]["check_all"]))
    for name, points in told["all records"].items():
        unit = "" if name in ("findings", "records") else " s"
        print(f"{name:<12}" + "".join(f"{value:>17,.{2 if unit else 0}f}{unit:2}" for value in points.values()))
    size, took = max(told["all records"]["check_all"].items())
    ours, plain = told["slopes"]["check_all"], told["slopes"]["plain loop"]
    if size >= 20_000:
        print(f"{size:,} dockets in {took:.2f} s   aim {AIM_S:g} s: {met(took <= AIM_S)}")
    grows = met(ours <= max(AIM_SLOPE, plain))
    print(f"slope {ours:.3f}, plain loop {plain:.3f}   aim {AIM_SLOPE} or the loop's: {grows}")
    print("\nslowest rules (profiled, laden dockets)")
    for name, spent in told["slowest rules"]:
        print(f"  {name:<32}{spent:>7.1f} us")


def met(is_so: bool) -> str:
    return "met" if is_so else "MISSED"


if __name__ == "__main__":
    main()
