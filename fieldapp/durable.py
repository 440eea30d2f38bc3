"""Names that stay when the power goes: shared by who writes files here and at the cabin. Not for what is in a file."""

from __future__ import annotations

import errno
import os
from pathlib import Path

_NOT_FOR_FOLDERS = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}
"""What file systems answer that cannot sync a folder (shared storage of some tablets): nothing to wait for then."""


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
