"""Hollow Gate, an invented excavation: its people, its contexts, and what earlier weeks recorded there.

No such place, person or find exists. The earlier records are made by a seeded script, as the chained changes of a
third tablet's notebook; what the demonstration itself records is not here (server.demo plays it by touch).
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from demo_data.herds import HERDS, fragments
from fieldapp.domain import ids
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.labels import Label
from fieldapp.domain.readings import blank_reading
from fieldapp.records.changes import Change, write

CODE = "HLG26"
NAME = "Hollow Gate (invented site)"
ZONE = "trench A or B, whichever it is in, and the spoil from it"

# One invented name each, so that nobody real can be meant.
PEOPLE = (
    ("Wren", "recorder"),
    ("Moss", "recorder"),
    ("Bryony", "supervisor"),
    ("Tansy", "zooarchaeologist"),
    ("Oswin", "human_osteologist"),
    ("Linnet", "director"),
)

CONTEXTS = (
    {"number": "1038", "type": "layer", "grave_like": "no", "trench": "A", "phase": "2"},
    {"number": "1042", "type": "ditch_fill", "grave_like": "no", "trench": "A", "phase": "2"},
    {"number": "1057", "type": "pit_fill", "grave_like": "unknown", "trench": "B", "phase": "3"},
)

_TAXA = (
    ("sheep_goat", 10),
    ("cattle", 8),
    ("pig", 5),
    ("sheep", 3),
    ("horse", 1),
    ("dog", 1),
    ("fowl", 1),
    ("medium_mammal", 4),
)
_ELEMENTS = (
    "humerus",
    "radius",
    "femur",
    "tibia",
    "metacarpal",
    "metatarsal",
    "scapula",
    "pelvis",
    "mandible",
    "calcaneum",
    "phalanx_1",
    "rib",
)
_START = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)


class Tablet:
    """Writes the changes of one invented notebook, with labels of its letter. Ids come from the seed alone."""

    def __init__(self, letter: str, seed: int, person: dict[str, Any]) -> None:
        self._rng = random.Random(f"{letter}{seed}")
        self.notebook = self.new_id()
        self.letter = letter
        self.site = ids.site_id(CODE)
        self.by = person
        self._n = 0
        self._prev = ""
        self._label = 0
        self._at = _START

    def new_id(self) -> str:
        """A UUID from the seed."""
        return str(uuid.UUID(int=self._rng.getrandbits(128), version=4))

    def label(self) -> str:
        """The next field label."""
        self._label += 1
        return str(Label(CODE, self.letter, self._label))

    def write(self, kind: str, record: str, set: dict[str, Any], over: dict[str, list[str]] | None = None) -> Change:
        """The notebook's next change, some minutes after the last."""
        self._n += 1
        self._at += timedelta(seconds=self._rng.randint(20, 400))
        change = write(
            notebook=self.notebook, n=self._n, prev=self._prev, site=self.site, record=record, kind=kind,
            set=set, over=over or {}, by=self.by, at=self._at.isoformat(),
        )  # fmt: skip
        self._prev = change.id
        return change


def earlier_weeks(knowledge: Knowledge, dockets: int, seed: int = 26) -> Iterator[Change]:
    """The changes of tablet C: the contexts, a bag in each, and `dockets` fragments in them."""
    rng = random.Random(seed)
    tablet = Tablet("C", seed, {"person": "demo-bryony", "name": "Bryony", "role": "supervisor"})
    bags = []
    for context in CONTEXTS:
        record = ids.context_id(tablet.site, context["number"])
        yield tablet.write("context", record, {**context, "state": "open"})
        bag = tablet.new_id()
        sieve = context["type"] == "pit_fill"
        yield tablet.write(
            "bag",
            bag,
            {
                "label": f"{context['number']}-1",
                "context": record,
                "recovery": "sieve" if sieve else "hand",
                **({"mesh_mm": 4} if sieve else {}),
                "state": "dry",
            },
        )
        bags.append(bag)
    for _ in range(dockets):
        yield tablet.write("docket", tablet.new_id(), _docket(rng, tablet, rng.choice(bags), knowledge))


WASHED = (
    {"number": "2003", "type": "ditch_fill", "trench": "A", "phase": "1"},
    {"number": "2007", "type": "pit_fill", "trench": "A", "phase": "1"},
    {"number": "2010", "type": "ditch_fill", "trench": "A", "phase": "2"},
    {"number": "2014", "type": "layer", "trench": "B", "phase": "2"},
    {"number": "2016", "type": "pit_fill", "trench": "B", "phase": "2"},
    {"number": "2021", "type": "layer", "trench": "B", "phase": "3"},
    {"number": "2025", "type": "pit_fill", "trench": "A", "phase": "3"},
)
"""Contexts of last season, whose bone has been washed and read."""


def last_season(knowledge: Knowledge, times: int = 1, seed: int = 25) -> Iterator[Change]:
    """The changes of tablet D: last season's contexts, each with a bag collected by hand and one from the sieve, and
    some 700 fragments of invented herds, read in analysis; `times` as many of them."""
    rng = random.Random(seed)
    tablet = Tablet("D", seed, {"person": "demo-tansy", "name": "Tansy", "role": "zooarchaeologist"})
    bags: dict[str, list[tuple[str, str]]] = {}
    for context in WASHED:
        record = ids.context_id(tablet.site, context["number"])
        yield tablet.write("context", record, {**context, "grave_like": "no", "state": "closed"})
        both = tablet.new_id(), tablet.new_id()
        for n, (bag, recovery) in enumerate(zip(both, ("hand", "sieve"), strict=True), 1):
            way = {"recovery": recovery, "mesh_mm": 4 if recovery == "sieve" else None}
            yield tablet.write(
                "bag", bag, {"label": f"{context['number']}-{n}", "context": record, **way, "state": "dry"}
            )
        bags.setdefault(context["phase"], []).append(both)
    for n in range(times):
        for phase, herds in HERDS.items():
            for values in fragments(herds, knowledge, (seed, n, phase), tablet.new_id):
                hand, sieve = rng.choice(bags[phase])
                small = values["reading"]["element"] in ("phalanx_1", "phalanx_2", "astragalus")
                bag = sieve if rng.random() < (0.5 if small else 0.12) else hand
                yield tablet.write("docket", tablet.new_id(), {"label": tablet.label(), "bag": bag, **values})


def _docket(rng: random.Random, tablet: Tablet, bag: str, knowledge: Knowledge) -> dict[str, Any]:
    names, weights = zip(*_TAXA, strict=True)
    taxon = rng.choices(names, weights)[0]
    possible = [one for one in _ELEMENTS if knowledge.occurs(one, taxon)]
    if taxon == "medium_mammal":
        possible = ["rib", "long_bone"]
    element = rng.choice(possible)
    reading = blank_reading(element, taxon, knowledge, "trench")
    reading["certainty"] = "certain" if rng.random() < 0.9 else "cf"
    bone = knowledge.elements[element]
    reading["side"] = rng.choice(("left", "right")) if bone.sided else ("midline" if bone.midline else None)
    _portions(rng, element, taxon, reading, knowledge)
    values: dict[str, Any] = {
        "label": tablet.label(),
        "bag": bag,
        "material": bone.material,
        "reading": reading,
        "count": 1,
        "weight_g": round(rng.uniform(2, 90 if taxon in ("cattle", "horse") else 25), 1),
    }
    if rng.random() < 0.8:
        # Nearly everybody is asked; the rest stays "not asked" and is counted as such.
        values[f"human/{tablet.new_id()}"] = {
            "answer": "no_sign",
            "why": "",
            "in_place": False,
            "by_rule": None,
            "stage": "trench",
        }
    if rng.random() < 0.15:
        values[f"note/{tablet.new_id()}"] = {
            "text": rng.choice(("gnawed at one end", "surface flaking", "fresh break")),
            "stage": "trench",
        }
    return values


def _portions(rng: random.Random, element: str, taxon: str, reading: dict[str, Any], knowledge: Knowledge) -> None:
    """A run of neighbouring steps survives; a centre shows its state where its epiphysis does."""
    portions = knowledge.portions_of(element, taxon)
    if not portions:
        return
    steps = sorted({portion.step for portion in portions})
    first = rng.randrange(len(steps))
    kept = steps[first : first + rng.randint(1, len(steps))]
    for portion in portions:
        state = rng.choice(("most", "most", "part")) if portion.step in kept else "absent"
        reading["portions"][portion.key] = state
    for centre in knowledge.centres_of(element, taxon):
        ends = [one for one in portions if one.centre == centre.key]
        there = any(reading["portions"][one.key] != "absent" for one in ends)
        reading["fusion"][centre.key] = rng.choice(("fused", "fused", "fused", "fusing")) if there else "not_visible"
