"""A tablet that exchanges until it is done or killed. Not a test.

python -m tests.end_to_end.pushing FOLDER PORT BATCH
"""

from __future__ import annotations

import sys
import uuid
from datetime import UTC, datetime
from pathlib import Path

from fieldapp.store.notebook import Notebook
from fieldapp.sync import exchange as exchanging
from tests.cabin_process import way


def main() -> None:
    folder, port, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    exchanging.BATCH = batch
    with Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())) as notebook:
        with way(notebook, port) as transport:
            print("ready", flush=True)
            exchanging.exchange(notebook, transport)
        print("done", flush=True)


if __name__ == "__main__":
    main()
