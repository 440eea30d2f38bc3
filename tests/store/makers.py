"""Short ways to open notebooks in tests: a ticking clock, ids that are the same in every run, a form as filled in."""

from __future__ import annotations

import random
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from fieldapp.store.notebook import Notebook
from tests.records.makers import ANA, SITE

__all__ = ["ANA", "SITE", "clock", "form", "new_id", "state", "tablet"]


def clock(start: datetime = datetime(2026, 6, 1, 9, tzinfo=timezone(timedelta(hours=2)))) -> Callable[[], datetime]:
    """A clock that is a second later each time it is read."""
    ticks = iter(range(10_000_000))
    return lambda: start + timedelta(seconds=next(ticks))


_rng = random.Random(20260601)


def new_id() -> str:
    """A UUID as random as any, and the same in every run. Never twice: as little as real ones."""
    return str(uuid.UUID(int=_rng.getrandbits(128), version=4))


def tablet(folder: Path, letter: str = "B") -> Notebook:
    """The notebook in `folder`, opened and ready to record on the invented site."""
    notebook = Notebook.open(folder, clock(), new_id)
    notebook.identify(site=SITE, code="HLG26", letter=notebook.letter or letter)
    return notebook


def form(number: int, note: str = "") -> dict[str, Any]:
    """A docket as it is saved in the trench."""
    return {
        "label": f"no label {number}",
        "bag": str(uuid.UUID(int=number % 40)),
        "material": "bone",
        "reading": {
            "element": "tibia",
            "side": "left",
            "taxon": "cattle",
            "certainty": "certain",
            "portions": {"proximal_epiphysis": "absent", "proximal_shaft": "part", "distal_epiphysis": "most"},
            "fusion": {"distal": "fused"},
            "sex": None,
            "stage": "trench",
            "compared": "",
        },
        "count": 1,
        "weight_g": 12.5 + number,
        **({"note/1": {"text": note, "stage": "trench"}} if note else {}),
    }


def state(notebook: Notebook) -> dict[str, Any]:
    """Everything that a notebook holds in memory, as JSON values that can be compared."""
    book = notebook.load()
    return {
        "keeping": notebook._live.keeping.as_json(),
        "records": {record.id: record.as_json() for record in book.fold},
        "seen": sorted(book.fold.seen),
        "disputed": sorted(book.disputed),
        "deleted": sorted(book.deleted),
        "kinds": {kind: sorted(ids) for kind, ids in book.kinds.items() if ids},
    }
