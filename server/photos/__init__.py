"""The photographs that tablets bring: unfinished uploads, the store of whole ones, small copies to look at.

    photos = Photos(ledger, store, folder, key)
    photos.take(notebook, part, offset, chunks)     what a tablet sends, from any byte on
    photos.read(sha256), photos.small(sha256, "small")

Not here: HTTP (server.api.photos), who may look at what (server.review.photos).
"""

from __future__ import annotations

from server.photos.incoming import LARGEST, Part
from server.photos.keeping import Photos
from server.photos.store import Store, open_store, store_of

__all__ = ["LARGEST", "Part", "Photos", "Store", "open_store", "store_of"]
