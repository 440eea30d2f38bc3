"""What can go wrong with backups, told in sentences somebody can act on.

CabinError
└── BackupError
    ├── BackupThere       the file is there already; none is ever written over
    ├── BackupMissing     there is no such file
    ├── BackupDamaged     not every byte is as it was written, or the file is no backup; `why` says how that shows
    ├── BackupIsNewer     a later program has written it
    ├── NeedsPassphrase   it is locked and no passphrase was given
    ├── WrongPassphrase   the one given does not open it
    ├── NoPassphrase      the passphrase's file is empty
    ├── OtherSite         it is another site's
    ├── OtherCabin        it is this site's, from a cabin with other keys
    ├── FolderNotEmpty    something is in the folder, and --replace was not said
    ├── NothingToReplace  --replace was said and there is no cabin
    ├── LedgerUnreadable  what is to be replaced cannot be saved first
    └── NoRoom            the disk is full
"""

from __future__ import annotations

import errno

from server.errors import CabinError

_FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}


class BackupError(CabinError):
    """Base of them."""

    key = "keeping.error"


class BackupThere(BackupError):
    """Nothing was written."""

    key = "keeping.there"


class BackupMissing(BackupError):
    """Nothing was done."""

    key = "keeping.missing"


class BackupDamaged(BackupError):
    """Nothing of it is used."""

    key = "keeping.damaged"


class BackupIsNewer(BackupError):
    """Nothing of it is used."""

    key = "keeping.newer"


class NeedsPassphrase(BackupError):
    """Nothing was read."""

    key = "keeping.needs_passphrase"


class WrongPassphrase(BackupError):
    """Nothing was read."""

    key = "keeping.wrong_passphrase"


class NoPassphrase(BackupError):
    """Nothing was done."""

    key = "keeping.no_passphrase"


class OtherSite(BackupError):
    """A cabin is one site's."""

    key = "keeping.other_site"


class OtherCabin(BackupError):
    """Tablets have pinned the other certificate."""

    key = "keeping.other_cabin"


class FolderNotEmpty(BackupError):
    """Nothing was touched."""

    key = "keeping.not_empty"


class NothingToReplace(BackupError):
    """Nothing was done."""

    key = "keeping.nothing_to_replace"


class LedgerUnreadable(BackupError):
    """Nothing was touched: what is there could not be saved first."""

    key = "keeping.ledger_unreadable"


class NoRoom(BackupError):
    """Nothing was left behind."""

    key = "keeping.no_room"


def is_full(error: OSError) -> bool:
    """Whether `error` says that there is no room left."""
    return error.errno in _FULL
