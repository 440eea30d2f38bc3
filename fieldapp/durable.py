"""Files and names that stay when the power goes: shared by who writes files here and at the cabin. Not for what is in
a file."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from pathlib import Path

_NOT_FOR_FOLDERS = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}
"""What file systems answer that cannot sync a folder (shared storage of some tablets): nothing to wait for then."""


PART = ".part"
"""Ends the name of a file that is being written. One that is left over was never finished."""


def write_whole(path: Path, data: bytes, *, over: bool = True) -> None:
    """Makes `path` hold `data`: all of it or what was there before, wherever it is stopped, and on the disk.

    Raises OSError as the system gives it, FileExistsError if nothing is to be written `over`.
    """
    beside = path.with_name(path.name + PART)
    try:
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if not over and path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        os.replace(beside, path)
    except BaseException:
        # What stopped it is told, not that there was nothing to take away.
        with suppress(OSError):
            beside.unlink()
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Makes new and changed names in a folder durable. Windows has no such call and needs none."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NOT_FOR_FOLDERS:
            raise
    finally:
        os.close(descriptor)
