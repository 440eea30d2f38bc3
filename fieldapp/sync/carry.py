"""Writing a carry-file for the cabin: what an exchange would send, as one file for a stick. See records.carrying.

The lines within: `about` (format, epoch, seq and mark of the cursor, n of the notebook, whether it is
everything, the key to seal the answer to), then
`change` {id, body} in their order, then `photo` {sha256, sealed} with the picture's bytes.

Nothing counts as sent by being written: only the cabin's answer says so (carry_answer), and a file may be written,
lost and written again. Not here: an exchange over the network (exchange).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldapp.records import carrying
from fieldapp.records.carrying import TO_CABIN, Header, Writer
from fieldapp.records.changes import FORMAT, UnreadableChange, read
from fieldapp.store import disk
from fieldapp.store.notebook import Notebook
from fieldapp.store.photos import Photos
from fieldapp.sync import carry_keys
from fieldapp.sync.enrol import enrolled
from fieldapp.sync.errors import NotEnrolled
from fieldapp.sync.photos import to_carry

SUFFIX = ".carry"
Progress = Callable[[str, int, int], None]
"""Called with a stage ("pack" or "pull"), how many are done and how many there are (0: not known)."""


@dataclass(frozen=True, slots=True)
class Packed:
    """A carry-file that lies there.

    everything  all that is kept here was written, because the cabin was put back from a backup, or because it was asked
    code        the notebook's key as the cabin may ask for it: see `known`
    known       the cabin has been told this key before
    """

    path: Path
    changes: int
    photos: int
    everything: bool
    code: str
    known: bool


def pack(
    notebook: Notebook,
    target: Path,
    *,
    everything: bool = False,
    photos: bool = True,
    progress: Progress | None = None,
) -> Packed:
    """Writes what the cabin has not answered for to the file `target`; it is whole there, or not there.

    Raises NotEnrolled, SaveFailed for keys that cannot be kept, OSError as the system gives it.
    """
    cabin = enrolled(notebook)
    if cabin is None:
        raise NotEnrolled
    server, heard = cabin.fingerprint, progress or (lambda *_: None)
    own = carry_keys.keys(notebook)
    cursor = notebook.cursor(server)
    everything = everything or (bool(cursor.epoch) and notebook.setting(everything_at(server)) == cursor.epoch)
    header = Header(
        way=TO_CABIN,
        id=notebook.new_id(),
        site=cabin.site,
        code=cabin.site_code,
        sender=notebook.id,
        receiver=server,
        at=notebook.clock().isoformat(timespec="seconds"),
        signer=own.public["sign"],
    )
    pictures = to_carry(notebook, Photos(notebook.folder), server, everything) if photos else []
    total = 0 if everything else notebook.unsent_count(server)
    written = 0
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(target.name + ".new")
    try:
        with beside.open("wb") as file:
            writer = Writer(file, header, cabin.seal_key, carrying.tablets_sign(own.sign))
            writer.line(
                "about",
                format=FORMAT,
                epoch=cursor.epoch,
                seq=cursor.seq,
                mark=cursor.mark,
                n=notebook.n,
                everything=everything,
                seal=own.public["seal"],
            )
            bodies = kept(notebook) if everything else unsent(notebook, server)
            for written, (one, body) in enumerate(bodies, 1):
                writer.line("change", id=one, body=body)
                if written % 500 == 0:
                    heard("pack", written, max(total, written))
            for path, sha256, sealed in pictures:
                with path.open("rb") as picture:
                    size = os.fstat(picture.fileno()).st_size
                    writer.blob("photo", size, picture, sha256=sha256, sealed=sealed)
            writer.finish()
            file.flush()
            disk.sync(file.fileno())
        os.replace(beside, target)
        disk.sync_folder(target.parent)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    heard("pack", written, written)
    code = carrying.spoken(header.signer)
    return Packed(target, written, len(pictures), everything, code, carry_keys.registered(notebook, server))


def file_name(notebook: Notebook) -> str:
    """A name for the next file that tells people what it is."""
    at = notebook.clock().strftime("%Y%m%d-%H%M%S")
    return f"{notebook.code or 'carry'}-{notebook.letter or notebook.id[:8]}-{at}{SUFFIX}"


def everything_at(server: str) -> str:
    """The setting that names the epoch after which the cabin was put back, so that everything has to go to it."""
    return f"carry/everything/{server}"


def kept(notebook: Notebook) -> Iterator[tuple[str, str]]:
    """(id, body) of all that is kept here, as it came."""
    return ((one, body) for _, one, body in notebook.bodies())


def unsent(notebook: Notebook, server: str) -> Iterator[tuple[str, str]]:
    """(id, body) of the own changes that `server` has not answered for, oldest first, those of a newer program too."""
    pushed = notebook.cursor(server).pushed
    return ((one, body) for life, n, one, body in own_changes(notebook) if n > pushed.get(life, 0))


def own_changes(notebook: Notebook) -> Iterator[tuple[str, int, str, str]]:
    """(notebook, n, id, body) of all own changes that have a number, oldest first. Raises JournalDamaged."""
    for own, one, body in notebook.bodies():
        if not own:
            continue
        try:
            change = read(body)
        except UnreadableChange as fault:
            if fault.notebook is not None and fault.n is not None:
                yield fault.notebook, fault.n, one, body
        else:
            yield change.notebook, change.n, one, body
