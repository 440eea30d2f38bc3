"""Keeping what the cabin holds: backups in one file, putting them back, proving that both are whole.

    archive       the file: an ordinary zip, sealed as a whole; `locked` puts it under a passphrase
    backing_up    writes one, of one moment, while the cabin runs
    restoring     puts one back, whole or not at all
    verifying     looks a cabin or a backup through
    schedule      makes one every few hours

Knows the ledger by its tables only (SQLAlchemy Core), so that a backup of one database goes back into another.
Not here: copies of single records (a tablet sends again what it has), exports in open formats.
"""
