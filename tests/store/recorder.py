"""A recorder that works until it is killed: `python -m tests.store.recorder FOLDER SEED [SAVES]`. Not a test.

Each thing that the notebook says is saved is acknowledged on standard output, one line, written straight to the
descriptor: `change <id>`, `label <number>`, `draft <key> <tap>`, `dropped <key>`, `two <id> <id>`.
"""

from __future__ import annotations

import os
import random
import sys
import uuid
from datetime import UTC, datetime
from pathlib import Path

from fieldapp.store import live
from fieldapp.store.notebook import Edit, Notebook
from tests.records.makers import ANA, SITE
from tests.store.makers import form


def acknowledge(*words: object) -> None:
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def work(notebook: Notebook, rng: random.Random) -> None:
    """One thing that a recorder does."""
    what = rng.choices(("docket", "docket and hold", "edit", "tap", "rest", "compact"), (6, 2, 4, 8, 0.4, 0.2))[0]
    if what == "docket":
        label = notebook.next_label()
        acknowledge("label", label.number)
        draft = rng.choice([None, *notebook.drafts()])
        made = notebook.save("docket", str(uuid.uuid4()), {**form(label.number), "label": str(label)}, {}, ANA,
                             finishes=draft)  # fmt: skip
        acknowledge("change", made.id)
        if draft is not None:
            acknowledge("dropped", draft)
    elif what == "docket and hold":
        docket, hold = str(uuid.uuid4()), str(uuid.uuid4())
        both = notebook.save_many(
            [Edit("docket", docket, {"human/1": {"answer": "stop"}}), Edit("hold", hold, {"docket": docket})], ANA
        )
        acknowledge("two", *(one.id for one in both))
    elif what == "edit":
        records = notebook.records("docket")
        if records:
            record = rng.choice(records)
            seen = {"count": record.head_ids().get("count", [])}
            acknowledge("change", notebook.save("docket", record.id, {"count": rng.randrange(9)}, seen, ANA).id)
    elif what == "tap":
        key = f"form-{rng.randrange(3)}"
        tap = notebook.drafts().get(key, {}).get("tap", 0) + 1
        notebook.draft(key, {"tap": tap, "form": form(tap)})
        acknowledge("draft", key, tap)
    elif what == "rest":
        notebook.rest()
    else:
        notebook.compact()


def main() -> None:
    folder, seed = Path(sys.argv[1]), int(sys.argv[2])
    saves = int(sys.argv[3]) if len(sys.argv) > 3 else 10**9
    rng = random.Random(seed)
    live.STATE_AFTER = 20  # so that being killed while a snapshot is written happens too
    with Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())) as notebook:
        notebook.identify(site=SITE, code="HLG26", letter="B")
        acknowledge("ready")
        for _ in range(saves):
            work(notebook, rng)


if __name__ == "__main__":
    main()
