"""A random site as tablets write it, from a seed: with disputes, deletions, holds, joins, groups, tallies, samples.

Everything is made as changes, so that whoever recounts it can begin with the very lines that were written.
"""

from __future__ import annotations

from random import Random

from fieldapp.assets import knowledge
from tests.server.tablets import SITE, Tablet, an_id, context_id, reading

K = knowledge()
TAXA = ("sheep", "sheep", "goat", "sheep_goat", "cattle", "cattle", "pig", "medium_mammal", "gryphon", None)
ELEMENTS = ("humerus", "tibia", "metacarpal", "metapodial", "radio_ulna", "mandible", "loose_tooth", "phalanx_1", "rib",
            "horn_core", "long_bone")  # fmt: skip
SEATS = ("in_jaw", "in_jaw", "socket_only")


class OddSite:
    """`tablets`: who wrote it, the first most of it. `name`: what a record is called, for an_id."""

    def __init__(self, seed: int, dockets: int = 120) -> None:
        self.rng = Random(seed)
        self.first = Tablet(f"odd {seed}")
        self.tablets = [self.first]
        self.bags = self._places()
        self.made = [self._docket(n) for n in range(dockets)]
        self._oddities()

    def _places(self) -> list[str]:
        bags = []
        for n in range(4):
            where = {"number": f"{n}", "trench": "AB"[n % 2], "phase": str(n // 2)}
            self.first.write("context", context_id(SITE, str(n)), where)
            for way in ({"recovery": "hand"}, {"recovery": "sieve", "mesh_mm": 4}, {}):
                name = f"bag {n} {way}"
                self.first.write("bag", an_id(name), {"label": name, "context": context_id(SITE, str(n)), **way})
                bags.append(an_id(name))
        parts = {"fraction/a": {"mesh_mm": 4, "sorted_share": 0.25}, "fraction/b": {"mesh_mm": 4}}
        self.first.write("sample", an_id("sample"), {"label": "S1", "context": context_id(SITE, "1"), **parts})
        for part in "ab":
            of_sample = {"sample": an_id("sample"), "fraction": part, "recovery": "sieve", "mesh_mm": 4}
            self.first.write("bag", an_id(part), {"label": part, "context": context_id(SITE, "1"), **of_sample})
            bags.append(an_id(part))
        return bags

    def _reading(self, taxon: str | None = None) -> dict:
        rng, taxon = self.rng, taxon or self.rng.choice(TAXA)
        element = rng.choice(ELEMENTS)
        if element == "horn_core" and taxon == "pig":
            element = "rib"
        rows = K.portions_of(element, taxon if taxon in K.taxa else None)
        steps = sorted({row.step for row in rows})
        first, last = sorted(rng.choices(range(len(steps)), k=2)) if steps else (0, 0)
        there = {row.key: rng.choice(("most", "most", "part")) for row in rows if row.step in steps[first : last + 1]}
        portions = {row.key: there.get(row.key, "absent") for row in rows} if rng.random() < 0.9 else {}
        shows = {row.centre for row in rows if row.key in portions and row.key in there and row.centre}
        fusion = {centre: rng.choice(("fused", "fused", "fusing", "unfused")) for centre in sorted(shows)}
        side = rng.choice(("left", "right", "left", "right", None)) if K.elements[element].sided else None
        return reading(element, taxon, side=side, portions=portions, fusion=fusion)

    def _docket(self, n: int) -> str:
        rng, name, own = self.rng, f"docket {n}", self._reading()
        material = {"loose_tooth": "tooth", "horn_core": "horn_core"}.get(own["element"], "bone")
        values = {
            "bag": rng.choice(self.bags), "context": None, "reading": own,
            "count": rng.choice((1, 1, 1, 1, 2, 5, None)),
            "weight_g": rng.choice((None, round(rng.uniform(0.1, 40), 1))),
            "material": material if rng.random() < 0.95 else rng.choice((None, "shell")),
            "preservation": rng.choice((None, "good", "poor", "lost")),
            "burning": rng.choice((*("unburnt",) * 5, "charred")),
        }  # fmt: skip
        if own["element"] in ("mandible", "loose_tooth"):
            loose = own["element"] == "loose_tooth"
            for tooth in rng.sample(("dP4", "P4", "M1", "M2", "M3"), 1 if loose else 3):
                seat = "loose" if loose else rng.choice(SEATS)
                values[f"tooth/{an_id(name + tooth)}"] = {
                    "tooth": tooth, "jaw": "lower", "side": own["side"], "seat": seat,
                    "stage": rng.choice(("in_wear", "full_unworn", None)) if seat != "socket_only" else None,
                }  # fmt: skip
        for kind in rng.sample(("cut", "chop", "carnivore_gnawing"), rng.choice((0, 0, 1, 2))):
            values[f"mark/{an_id(name + kind)}"] = {"kind": kind, "portion": None, "number": rng.choice((None, 3))}
        if own["element"] in ("tibia", "humerus"):
            values[f"measure/{an_id(name)}"] = {"code": "Bd", "mm": round(rng.uniform(25, 60), 1), "estimated": False}
        self.first.docket(name, **values)
        return name

    def _write(self, name: str, *said: dict) -> None:
        """Each of these by another person, none of whom knew of the others."""
        heads = {}
        for one in self.first.changes:
            if one.record == an_id(name):
                heads.update({path: [one.id] for path in one.set})
        for n, values in enumerate(said):
            tablet = Tablet(f"{self.first.id} {name} {n}")
            tablet.write("docket", an_id(name), values, {path: heads.get(path, []) for path in values})
            self.tablets.append(tablet)

    def _oddities(self) -> None:
        rng, names = self.rng, iter(self.rng.sample(self.made, 40))
        for animals in (("cattle", "pig"), ("sheep", "cattle"), ("pig", "goat")):
            self._write(next(names), *({"reading": self._reading(one)} for one in animals))
        self._write(next(names), {"count": 2}, {"count": 4})
        name = next(names)
        own = self.first.changes[[one.record for one in self.first.changes].index(an_id(name))].set["reading"]
        self._write(name, {"reading": {**own, "side": "left"}}, {"reading": {**own, "side": "right"}})
        self._write(next(names), {f"mark/{an_id('m')}": {"kind": "cut"}}, {"deleted": True})
        gone = next(names)
        (made,) = (one for one in self.first.changes if one.record == an_id(gone))
        self.first.write(
            "docket", an_id(gone), {"deleted": True}, {"deleted": [], **{path: [made.id] for path in made.set}}
        )
        held = next(names), next(names)
        for name, answer in zip(held, ("query", "not_excluded"), strict=True):
            self.first.human(name, answer, item=name)
        self.first.write("docket", an_id(next(names)), {f"same_as/{an_id(held[0])}": True})
        for _ in range(3):
            self.first.write("docket", an_id(next(names)), {f"same_as/{an_id(next(names))}": True})
        for _ in range(3):
            self.first.write("docket", an_id(next(names)), {f"joins/{an_id(next(names))}": {"break": "old"}})
        for relation in ("articulated_observed", "associated"):
            members = {f"member/{an_id(next(names))}": True for _ in range(4)}
            self.first.write("group", an_id(f"group {relation}"), {"label": "G", "relation": relation, **members})
        for n in range(4):
            tallied = {"bag": rng.choice(self.bags), "taxon": rng.choice(("cattle", "medium_mammal")), "element": "rib"}
            self.first.write("tally", an_id(f"tally {n}"), {"label": f"T{n}", "count": rng.randint(5, 40), **tallied})
        first = self.first.changes[-1]
        for n, taxon in enumerate(("pig", "sheep")):
            tablet = Tablet(f"{self.first.id} tally {n}")
            tablet.write("tally", first.record, {"taxon": taxon}, {"taxon": [first.id]})
            self.tablets.append(tablet)
