"""What can go wrong in the store, told in sentences a recorder can act on.

    StoreError
    ├── SaveFailed        the disk took nothing; memory and the lines before are as they were
    ├── JournalDamaged    a line before the last does not match its checksum
    ├── NotTheJournal     the file is no journal, or one of a later version
    ├── NotebookInUse     another program holds the notebook
    ├── NotebookClosed    a call after close()
    ├── NotSetUp          no site yet, or for a label no letter and site code
    └── TableIsAView      a record table was written to through TinyDB

Every error carries its parts in `fields`; its text is the sentence at `key` in the texts, filled with them.
"""

from __future__ import annotations

from pathlib import Path


class StoreError(Exception):
    """Base of the store's errors. `key` names the sentence, `fields` fills it."""

    key = "store.error"

    def __init__(self, **fields: object) -> None:
        super().__init__(self.key)
        self.fields = fields

    def __str__(self) -> str:
        # Imported here: the texts are files, and an error must be raisable where files fail.
        try:
            from fieldapp.assets import texts

            return str(texts()[self.key]).format(**self.fields)
        except (ImportError, OSError, LookupError, ValueError):
            return f"{self.key} {self.fields}"


class SaveFailed(StoreError):
    """The disk did not take a line. `full` tells a full disk from any other fault; `cause` is the system's word."""

    def __init__(self, cause: OSError, full: bool) -> None:
        super().__init__(cause=str(cause))
        self.full = full
        self.key = "store.disk_full" if full else "store.save_failed"


class JournalDamaged(StoreError):
    """Line `line` (from 1) at byte `offset` of `path` is damaged; `good_before` and `good_after` lines are not."""

    key = "store.journal_damaged"

    def __init__(self, path: Path, line: int, offset: int, good_before: int, good_after: int, bad: int) -> None:
        super().__init__(
            file=path.name, line=line, offset=offset, good_before=good_before, good_after=good_after, bad=bad
        )
        self.path = path
        self.line = line
        self.offset = offset
        self.good_before = good_before
        self.good_after = good_after
        self.bad = bad


class NotTheJournal(StoreError):
    """The file begins with a good line of another sort, or of a later journal format."""

    key = "store.not_the_journal"


class NotebookInUse(StoreError):
    """Another program, or this one a second time, has the notebook open."""

    key = "store.in_use"


class NotebookClosed(StoreError):
    """The notebook was closed; nothing was saved by this call."""

    key = "store.closed"


class NotSetUp(StoreError):
    """The notebook does not know its site yet; for a label, the site's code and the tablet's letter."""

    key = "store.not_set_up"


class TableIsAView(StoreError):
    """A record table was written to. Records change by saving a change, so that nobody's reading is lost."""

    key = "store.table_is_a_view"
