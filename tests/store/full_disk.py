"""Saves into a disk that is full at every byte in turn: `python -m tests.store.full_disk FOLDER`. Not a test itself.

The limit on file size stands in for a full disk: the system takes the bytes up to it and refuses the rest. Prints one
JSON line of what was tried; any failed check ends it with a traceback.
"""

from __future__ import annotations

import json
import resource
import sys
import uuid
from pathlib import Path

from fieldapp.store.errors import SaveFailed
from tests.store.makers import ANA, form, state, tablet


def set_room(size: int) -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))


def main() -> None:
    notebook = tablet(Path(sys.argv[1]))
    journal = notebook.folder / "journal"
    notebook.save("docket", "r1", form(1), {}, ANA)
    notebook.draft("open", {"taps": 3})
    refused = worked = 0
    length = None
    room = 0
    while worked < 3:
        before, size, memory = journal.read_bytes(), journal.stat().st_size, state(notebook)
        told: SaveFailed | None = None
        set_room(size + room)
        try:
            notebook.save("docket", str(uuid.UUID(int=room)), form(1), {}, ANA, finishes="open")
        except SaveFailed as error:
            told = error
        set_room(resource.RLIM_INFINITY)
        room += 1
        if told is None:
            length = length or journal.stat().st_size - size
            worked += 1
            continue
        assert told.full, told
        assert "full" in str(told)
        assert journal.read_bytes() == before
        assert state(notebook) == memory
        refused += 1
    assert notebook.verify().problems == []
    notebook.save("docket", "r2", form(2), {}, ANA)
    after = state(notebook)
    notebook.close()
    again = tablet(Path(sys.argv[1]))
    assert state(again) == after
    assert again.drafts() == {}
    again.close()
    print(json.dumps({"refused": refused, "length": length}))


if __name__ == "__main__":
    main()
