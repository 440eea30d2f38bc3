"""Backs up, restores or replaces in a process of its own, to be killed or starved. Not a test itself.

    python -m tests.server.keeping.working backup|restore|replace CABIN FILE [ROOM]

Says `ready`, does it, says `done`. ROOM: bytes that any one file may grow to, which stands in for a full disk.
"""

from __future__ import annotations

import resource
import sys
from pathlib import Path

from server.config import Config
from server.keeping import archive, restoring
from server.keeping.backing_up import back_up
from server.keeping.errors import BackupError
from server.keeping.pictures import PictureFolder
from server.ledger import Ledger


def main() -> None:
    what, data, file = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    config = Config(data)
    ledger = Ledger.open(config.ledger) if what == "backup" else None
    print("ready", flush=True)
    if len(sys.argv) > 4:
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]), resource.RLIM_INFINITY))
    try:
        if ledger is not None:
            back_up(config, ledger, file, pictures=PictureFolder(data))
        else:
            with archive.reading(file) as backup:
                if what == "restore":
                    restoring.restore(backup, config)
                else:
                    before = data / "before.zip"
                    restoring.replace_with(backup, config, pictures=PictureFolder(data), before=before)
    except BackupError as error:
        print(type(error).__name__, error, flush=True)
        return
    print("done", flush=True)


if __name__ == "__main__":
    main()
