"""The few places where the store asks the disk to keep its word. Not for what is written.

Every function raises OSError as the system gives it.
"""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

from fieldapp.durable import sync_folder as sync_folder

_FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}
# Windows would otherwise turn each LF into two bytes.
BINARY: int = getattr(os, "O_BINARY", 0)


def is_full(error: OSError) -> bool:
    """Whether `error` says that there is no room left."""
    return error.errno in _FULL


def write_all(descriptor: int, data: bytes) -> None:
    """Writes every byte of `data`: the system may take fewer at a time."""
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def sync(descriptor: int) -> None:
    """Returns when the file's bytes are on the medium, as far as the system can tell."""
    if sys.platform == "darwin":
        import fcntl

        try:
            # There, fsync stops at the drive's own cache.
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
            return
        except OSError:
            pass  # a file system without it: fsync is the best there is
    os.fsync(descriptor)


def write_new(path: Path, data: bytes) -> None:
    """Makes `path` hold `data`: all of it or what was there before, never a part."""
    beside = path.with_name(path.name + ".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | BINARY, 0o600)
    try:
        write_all(descriptor, data)
        sync(descriptor)
    except BaseException:
        os.close(descriptor)
        beside.unlink(missing_ok=True)
        raise
    os.close(descriptor)
    os.replace(beside, path)
    sync_folder(path.parent)


def append_aside(path: Path, what: str, data: bytes) -> None:
    """Appends `data`, untouched, below a line that says what it was; durable on return."""
    is_new = not path.exists()
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | BINARY, 0o600)
    before = os.fstat(descriptor).st_size
    try:
        write_all(descriptor, f"# {what}\n".encode() + data + b"\n")
        sync(descriptor)
    except BaseException:
        os.ftruncate(descriptor, before)
        raise
    finally:
        os.close(descriptor)
    if is_new:
        sync_folder(path.parent)
