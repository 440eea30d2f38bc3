"""Names that stay when the power goes: what the cabin's writers of files share. Not for what is in a file."""

from __future__ import annotations

import errno
import os
from pathlib import Path

_NOT_FOR_FOLDERS = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}
"""What file systems answer that cannot sync a folder."""


def sync_folder(folder: Path) -> None:
    """Makes the names in a folder durable. Windows has no such call and needs none."""
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
