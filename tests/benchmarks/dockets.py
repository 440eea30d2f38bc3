"""Dockets as the trench makes them, and notebooks full of them, for the store's benchmarks. Invented, from a seed."""

from __future__ import annotations

import random
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fieldapp.domain.labels import Label
from fieldapp.records.changes import Change, write
from fieldapp.store.notebook import Notebook
from tests.records.makers import ANA, SITE

BAG, CONTEXT = str(uuid.UUID(int=7)), str(uuid.UUID(int=8))
PORTIONS = [
    "medial_condyle", "lateral_condyle", "tuberosity", "proximal_metaphysis", "upper_shaft", "lower_shaft",
    "distal_metaphysis", "distal_medial", "distal_lateral",
]  # fmt: skip
"""Of a tibia, as the tables part it: with others every docket would be one that cannot be, and a rule raise it."""


def docket(rng: random.Random, number: int, bag: str = BAG) -> dict[str, Any]:
    """What a new docket sets: about a kilobyte as a change."""
    states = ["most", "part", "absent", "not_examined"]
    return {
        "label": str(Label("HLG26", "B", number)),
        "bag": bag,
        "material": "bone",
        "reading": {
            "element": "tibia",
            "side": rng.choice(["left", "right", None]),
            "taxon": rng.choice(["cattle", "sheep_goat", "pig"]),
            "certainty": "certain",
            "portions": {name: rng.choice(states) for name in PORTIONS},
            "fusion": {"proximal": "not_visible", "distal": rng.choice(["fused", "unfused"])},
            "sex": None,
            "stage": "trench",
            "compared": "",
        },
        f"human/{uuid.UUID(int=rng.getrandbits(128), version=4)}": {
            "answer": "no_sign", "why": "", "in_place": False, "by_rule": None, "stage": "trench",
        },
        "count": 1,
        "weight_g": round(rng.uniform(0.5, 120), 1),
        f"note/{uuid.UUID(int=rng.getrandbits(128), version=4)}": {"text": "under the stones", "stage": "trench"},
    }  # fmt: skip


def changes(count: int, seed: int) -> list[Change]:
    """One notebook's first `count` saves: new dockets, chained."""
    rng, made, prev = random.Random(seed), [], ""
    notebook = str(uuid.UUID(int=rng.getrandbits(128), version=4))
    for n in range(1, count + 1):
        change = write(
            notebook=notebook, n=n, prev=prev, site=SITE, record=str(uuid.UUID(int=rng.getrandbits(128), version=4)),
            kind="docket", set=docket(rng, n), over={}, by=ANA, at="2026-06-01T09:00:00+02:00",
        )  # fmt: skip
        prev = change.id
        made.append(change)
    return made


def opened(folder: Path) -> Notebook:
    """The notebook in `folder`, ready to record."""
    notebook = Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))
    notebook.identify(site=SITE, code="HLG26", letter="B")
    return notebook
