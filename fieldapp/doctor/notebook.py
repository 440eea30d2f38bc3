"""A tablet's notebook folder: does its journal open, is it whole, what is still to be sent.

Not here: mending a damaged journal, which the app offers when it opens one.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from fieldapp.assets import texts
from fieldapp.doctor import machine
from fieldapp.findings import GOOD, NOTE, WRONG, Finding
from fieldapp.store.errors import NotebookInUse, StoreError
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import enrolled

JOURNAL = "journal"


def fits(folder: Path) -> bool:
    """Whether there is a notebook in the folder."""
    return (folder / JOURNAL).is_file()


def examine(folder: Path, port: int) -> Iterator[Finding]:
    """Everything about one. It must not be open in the app."""
    yield from machine.writable(folder)
    yield from machine.room(folder)
    yield from machine.local(folder)
    try:
        with Notebook.open(folder, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())) as notebook:
            yield from _whole(notebook)
            yield from _unsent(notebook)
    except NotebookInUse as error:
        yield Finding(NOTE, "doctor.notebook_in_use", {"why": error})
    except StoreError as error:
        yield Finding(WRONG, "doctor.notebook_shut", {"why": error})


def _whole(notebook: Notebook) -> Iterator[Finding]:
    found = notebook.verify()
    for problem in found.problems:
        why = texts()[problem.key].format(**problem.fields)
        yield Finding(WRONG, "doctor.notebook_problem", {"why": why})
    if not found.problems:
        yield Finding(GOOD, "doctor.notebook", {"own": found.own, "pulled": found.pulled})
    if notebook.torn:
        yield Finding(NOTE, "doctor.notebook_torn")
    if notebook.lives_elsewhere:
        yield Finding(WRONG, "doctor.notebook_copied")


def _unsent(notebook: Notebook) -> Iterator[Finding]:
    let_in = enrolled(notebook)
    if let_in is None:
        yield Finding(NOTE, "doctor.not_enrolled", {"number": notebook.n})
        return
    number = notebook.unsent_count(let_in.fingerprint)
    yield Finding(NOTE if number else GOOD, "doctor.unsent" if number else "doctor.all_sent", {"number": number})
