"""A large invented site in a cabin's ledger, for the benchmark of the desk, from a seed: contexts, bags, dockets of
many bones and animals, with disagreements, problems, questions and holds in the shares that a season may bring."""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from itertools import islice
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.domain.ids import context_id, hold_id
from fieldapp.domain.labels import Label
from fieldapp.domain.readings import blank_reading
from fieldapp.records.changes import Change, write
from server.ledger import Ledger

BONES = ("humerus", "radius", "femur", "tibia", "metacarpal", "metatarsal", "scapula", "mandible", "rib", "phalanx_1")
ANIMALS = ("cattle", "sheep", "goat", "sheep_goat", "pig", "horse", "dog", "medium_mammal", "large_mammal")
A_CONTEXT, A_BAG = 50, 25
"""Dockets in a context and in a bag."""
DISPUTED, ASKED, HEAVY, BLANK, HOLD = 100, 200, 40, 20, 3_000
"""One docket in so many."""
BATCH = 1000


class Writer:
    """One tablet's changes, chained."""

    def __init__(self, rng: random.Random, site: str, name: str) -> None:
        self.rng, self.site, self.n, self.prev = rng, site, 0, ""
        self.notebook = self.id()
        self.by = {"person": "", "name": name, "role": "recorder"}

    def id(self) -> str:
        return str(uuid.UUID(int=self.rng.getrandbits(128), version=4))

    def write(self, kind: str, record: str, values: dict[str, Any]) -> Change:
        self.n += 1
        change = write(
            notebook=self.notebook, n=self.n, prev=self.prev, site=self.site, record=record, kind=kind, set=values,
            over={}, by=self.by, at=f"2026-06-{1 + self.n // 5000 % 28:02}T09:00:00+02:00",
        )  # fmt: skip
        self.prev = change.id
        return change


def changes(site: str, count: int, seed: int) -> Iterator[Change]:
    """What two tablets wrote: `count` dockets and all they lie in."""
    rng, known = random.Random(seed), knowledge()
    one, other = Writer(rng, site, "Wren"), Writer(rng, site, "Moss")
    blank = {(bone, animal): blank_reading(bone, animal, known, "trench") for bone in BONES for animal in ANIMALS}
    shafts = {bone: [it.key for it in known.portions_of(bone) if it.kind == "shaft"] for bone in BONES}
    context = bag = ""
    for n in range(count):
        if n % A_CONTEXT == 0:
            number = str(1000 + n // A_CONTEXT)
            context = context_id(site, number)
            values = {"number": number, "type": rng.choice(["pit_fill", "ditch_fill", "layer"]), "state": "closed"}
            yield one.write("context", context, {**values, "trench": rng.choice("ABCD"), "phase": rng.choice("123")})
        if n % A_BAG == 0:
            bag = one.id()
            yield one.write("bag", bag, {"label": f"bag {n // A_BAG}", "context": context, "recovery": "hand"})
        bone, animal = rng.choice(BONES), rng.choice(ANIMALS)
        reading = {**blank[bone, animal], "side": rng.choice(["left", "right"]) if bone != "rib" else None}
        reading["portions"] = reading["portions"] | dict.fromkeys(shafts[bone], "most")
        docket = one.id()
        values = {"label": str(Label("HLG26", "B", n + 1)), "bag": bag, "material": "bone", "count": 1}
        values |= {"weight_g": 30_000.0 if n % HEAVY == 7 else round(rng.uniform(0.5, 90), 1)}
        if n % BLANK != 3:
            values["reading"] = reading
        if n % ASKED == 11:
            values["ask"] = True
        values[f"human/{one.id()}"] = {
            "answer": "query" if n % HOLD == 5 else "no_sign", "why": "", "in_place": False, "stage": "trench",
        }  # fmt: skip
        yield one.write("docket", docket, values)
        if n % HOLD == 5:
            yield one.write("hold", hold_id(docket), {"docket": docket, "tier": "query", "zone": "finds hut"})
        if n % DISPUTED == 9 and n % BLANK != 3:
            yield other.write("docket", docket, {"reading": {**reading, "taxon": "horse"}})


def fill(ledger: Ledger, count: int, seed: int) -> None:
    """Into the ledger, batch by batch, and the rules over all of it."""
    every = changes(ledger.names().site, count, seed)
    while batch := list(islice(every, BATCH)):
        ledger.accept([(one.id, one.body) for one in batch], batch[0].notebook)
    while ledger.check_due():
        pass
