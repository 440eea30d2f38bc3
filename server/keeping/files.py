"""New files that are whole or not there. Not for what is in them."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from fieldapp.durable import sync_folder
from server.keeping.errors import BackupThere, NoRoom, is_full

PART = ".part"
"""Ends the name of a file that is being written. One that is left over was never finished."""


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write, which only its owner can read. It has its name, and is on the disk, when the block ends.

    Never over another (BackupThere), and nothing is left of a block that raises. Raises NoRoom.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            raise BackupThere(file=path)
        # mkstemp: readable by its owner only, from its first byte on.
        descriptor, beside = tempfile.mkstemp(PART, path.name + ".", path.parent)
        try:
            with os.fdopen(descriptor, "wb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            _name(Path(beside), path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
        sync_folder(path.parent)
    except OSError as error:
        if is_full(error):
            raise NoRoom(folder=path.parent) from error
        raise


def _name(beside: Path, path: Path) -> None:
    """Gives a finished file its name, never over another: by a link where there are any, which two cannot both make."""
    try:
        if os.name != "nt":
            os.link(beside, path)
            beside.unlink()
            return
    except FileExistsError as error:
        raise BackupThere(file=path) from error
    except OSError:
        pass  # a stick's file system, which has no links
    if path.exists():
        raise BackupThere(file=path)
    try:
        # On Windows this refuses a name that is taken.
        os.rename(beside, path)
    except FileExistsError as error:
        raise BackupThere(file=path) from error
