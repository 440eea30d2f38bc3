"""A data folder, read without changing it: a tablet's notebook or a cabin's ledger, folded into records.

For the commands that look at a folder (`check`, `sheet`). Not for recording, merging or syncing. A notebook that the
app has open is refused, so that nobody checks half a save; a ledger can be read while the cabin runs.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.records.changes import Change, UnreadableChange, read
from fieldapp.records.fold import Fold, Record
from fieldapp.store.errors import StoreError
from fieldapp.store.notebook import Notebook

JOURNAL, LEDGER = "journal", "ledger.sqlite"


@dataclass
class Folder:
    """What a folder holds.

    name    what it is, in words
    fold    its changes folded
    who     {change id: (name, role, time)}
    faults  what is wrong with the keeping itself: broken chains, unreadable texts
    """

    name: str
    fold: Fold = field(default_factory=Fold)
    who: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def take(self, change: Change) -> None:
        """Folds a change in."""
        self.fold.apply(change)
        by = change.by
        self.who[change.id] = (str(by.get("name", "")), str(by.get("role", "")), change.at)

    def records(self, kind: str) -> list[Record]:
        """The records of a kind, deleted ones included."""
        return [one for one in self.fold if one.kind == kind]

    def site(self) -> Record | None:
        """The site's record, if it is here."""
        return min(self.records("site"), key=lambda one: one.id, default=None)


def read_folder(path: Path) -> Folder:
    """The notebook or ledger in `path`. Raises CommandError in words if it is neither or cannot be read."""
    if (path / LEDGER).is_file():
        return _ledger(path)
    if (path / JOURNAL).is_file():
        return _notebook(path)
    if not path.is_dir():
        raise CommandError(f"there is no folder {path}")
    raise CommandError(f"{path} holds neither a tablet's notebook ({JOURNAL}) nor a cabin's ledger ({LEDGER})")


def _notebook(path: Path) -> Folder:
    folder = Folder(f"notebook in {path.name}")
    try:
        with Notebook.open(path, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())) as notebook:
            for change in notebook.changes():
                folder.take(change)
            texts = assets.texts()
            folder.faults += [texts[problem.key].format(**problem.fields) for problem in notebook.verify().problems]
    except StoreError as error:
        raise CommandError(str(error)) from error
    return folder


def _ledger(path: Path) -> Folder:
    folder = Folder(f"ledger in {path.name}")
    for body, claimed in _bodies(path / LEDGER):
        try:
            folder.take(read(body, claimed))
        except UnreadableChange as error:
            folder.faults.append(f"change {claimed[:12]} in the ledger cannot be read: {error.reason}")
    return folder


def _bodies(file: Path) -> Iterator[tuple[str, str]]:
    # Read as a file, read-only: this side of the house does not know the cabin's packages.
    try:
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as ledger:
            yield from ledger.execute("select body, id from change order by seq").fetchall()
    except sqlite3.Error as error:
        raise CommandError(f"the ledger {file} cannot be read: {error}") from error
