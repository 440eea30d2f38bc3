"""A tablet that records and exchanges through a bad network until it is told to stop or killed. Not a test.

    python -m tests.end_to_end.one_of_twelve FOLDER PORT SEED BATCH

Says on standard output, one line each, written straight to the descriptor: `saved <id>` for what the notebook has
saved, `sent` after an exchange that went through, `refused <status>` for an answer of the 5xx kind, `fault …` for what
must not be. Ends when its standard input does.
"""

from __future__ import annotations

import os
import random
import select
import sys
import time
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fieldapp.store.notebook import Notebook
from fieldapp.sync import exchange as exchanging
from fieldapp.sync.errors import Refused, SyncError
from tests.cabin_process import way
from tests.end_to_end.unruly import Unruly
from tests.sync.conftest import BY

PATHS = ("count", "bag", "note/1", "weight_g")


def say(*words: object) -> None:
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def record(notebook: Notebook, rng: random.Random) -> None:
    """One save: a docket of its own, or a field of one that several tablets know."""
    if rng.random() < 0.4:
        made = notebook.save("docket", str(uuid.UUID(int=rng.getrandbits(128), version=4)), {"count": 1}, {}, BY)
    else:
        shared, path = str(uuid.UUID(int=rng.randrange(1, 30))), rng.choice(PATHS)
        found = notebook.record("docket", shared)
        over = {path: found.head_ids().get(path, [])} if found else {}
        made = notebook.save("docket", shared, {path: rng.randrange(9)}, over, BY)
    say("saved", made.id)


def told_to_stop() -> bool:
    ready, _, _ = select.select([0], [], [], 0)
    return bool(ready)


def main() -> None:
    folder, port, seed, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    rng = random.Random(seed)
    exchanging.BATCH, exchanging.PAGE = batch, 4 * batch
    wrong = timedelta(days=rng.randint(-3650, 3650))
    with Notebook.open(folder, lambda: datetime.now(UTC) + wrong, lambda: str(uuid.uuid4())) as notebook:
        say("ready")
        while not told_to_stop():
            for _ in range(rng.randrange(12)):
                record(notebook, rng)
            try:
                with way(notebook, port) as transport:
                    exchanging.exchange(notebook, Unruly(transport, rng))
                say("sent")
            except Refused as refused:
                say("refused" if int(str(refused.fields["status"])) >= 500 else "fault", refused.fields["status"])
            except SyncError as error:
                say("cut", type(error).__name__)
            if rng.random() < 0.05:
                notebook.rest()
            time.sleep(rng.random() * 0.4)


if __name__ == "__main__":
    try:
        main()
    except Exception as error:
        say("fault", repr(error).replace("\n", " "))
        raise
