"""The real tablet for the sync benchmark: a notebook full of unsent dockets, and the same dockets as documents.

Not here: the cabin's process (tests.cabin_process), what is timed (sync_runs).
"""

from __future__ import annotations

import random
import uuid
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fieldapp.store import disk
from fieldapp.store.notebook import Notebook
from tests.benchmarks.dockets import docket
from tests.records.makers import ANA, SITE

PER_BAG = 20


def documents(count: int, seed: int) -> list[dict[str, Any]]:
    """Dockets as plain documents, twenty in a bag: the very values that `tablet` writes down."""
    rng = random.Random(seed)
    found: list[dict[str, Any]] = []
    for number in range(1, count + 1):
        if number % PER_BAG == 1:
            bag = _uuid(rng)
        found.append({"id": _uuid(rng), **docket(rng, number, bag)})
    return found


def _uuid(rng: random.Random) -> str:
    return str(uuid.UUID(int=rng.getrandbits(128), version=4))


def opened(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4()))


def tablet(folder: Path, documents: list[dict[str, Any]]) -> None:
    """A notebook that has saved each of `documents`, one by one, and sent none."""
    real, disk.sync = disk.sync, lambda descriptor: None  # filling it is not what is measured
    try:
        with opened(folder) as notebook:
            notebook.identify(site=SITE, code="HLG26")
            for one in documents:
                notebook.save("docket", one["id"], {path: one[path] for path in one if path != "id"}, {}, ANA)
    finally:
        disk.sync = real


def edit(notebook: Notebook, count: int) -> None:
    """One field of `count` dockets, each saved by itself."""
    for record in notebook.records("docket")[:count]:
        over = {"count": record.head_ids()["count"]}
        notebook.save("docket", record.id, {"count": record.value("count") + 1}, over, ANA)
