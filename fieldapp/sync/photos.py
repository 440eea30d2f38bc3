"""Photographs on their way to the cabin: those that it lacks, from the byte it has reached.

    report = send_photos(notebook, photos, transport, progress)
    to_carry(notebook, photos, server), kept_there(notebook, photos, server, names)      the same on a carry-file

After the exchange, when it is known what others have said by now. A picture goes only if a record names it. One that is
closed, or whose bone may be human by anybody's reading, goes sealed or not at all. Parts grow while they go well and
shrink after a cut; what the cabin has said that it keeps is noted beside the pictures and not asked about again in this
life of its ledger. Not here: taking pictures, and what is closed with a raise (ui.presenters.closing).
"""

from __future__ import annotations

import hashlib
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.records import standing
from fieldapp.records.fold import Record
from fieldapp.store.errors import StoreError
from fieldapp.store.notebook import Notebook
from fieldapp.store.photos import Photos
from fieldapp.sync.enrol import enrolled
from fieldapp.sync.errors import ConnectionCut, NotReachable, NotUnderstood, PictureRefused, Refused
from fieldapp.sync.transport import Transport

ASKED = 500
"""Pictures asked about at a time."""

SMALLEST, START, LARGEST = 8_192, 65_536, 4_194_304
"""Bytes of a part."""

TRIES = 4
"""How often in a row a part may fail before the rest is left for another time."""

Progress = Callable[[int, int], None]
"""Told the bytes that are at the cabin and those to be sent in all, between parts. What it raises ends the sending."""


@dataclass(slots=True)
class PhotoReport:
    """What became of the pictures.

    sent     pictures that are whole at the cabin since
    bytes    sent, those of parts that failed left out
    damaged  SHA-256 of those whose file is not what its name says: not sent, or thrown away at the cabin
    refused  the cabin's sentences about those that it does not take
    held     closed ones that are still in the clear here, because the cabin's key is not known or there is no room
    """

    sent: int = 0
    bytes: int = 0
    damaged: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    held: int = 0


@dataclass(frozen=True, slots=True)
class _File:
    sha256: str
    sealed: bool
    path: Path
    size: int

    @property
    def name(self) -> str:
        return _name(self.sha256, self.sealed)


def _name(sha256: str, sealed: bool) -> str:
    return f"{sha256} {'sealed' if sealed else 'clear'}"


def waiting(notebook: Notebook, photos: Photos, server: str) -> int:
    """How many pictures the cabin with this fingerprint has not answered for."""
    known = photos.noted(_note(notebook, server))
    return sum(_file(photos, sha256, closed).name not in known for sha256, closed, _ in _named(notebook, photos))


def send_photos(
    notebook: Notebook,
    photos: Photos,
    transport: Transport,
    progress: Progress | None = None,
    *,
    pause: Callable[[float], None] = time.sleep,
) -> PhotoReport:
    """Sends what the cabin lacks. Raises SyncError where it cannot go on; what is there by then is not sent again."""
    report = PhotoReport()
    note = _note(notebook, transport.fingerprint)
    known = photos.noted(note)
    files = []
    for one in _to_send(notebook, photos, known, report):
        if one.sealed or _is_whole(one.path, one.sha256):
            files.append(one)
        else:
            report.damaged.append(one.sha256)
    lacking = []
    for start in range(0, len(files), ASKED):
        part = files[start : start + ASKED]
        wanted = _wanted(transport, part)
        lacking += [one for one in part if one.sha256 in wanted]
        photos.note(note, [one.name for one in part if one.sha256 not in wanted])
    sending = _Sending(
        transport, report, sum(one.size for one in lacking), progress or (lambda done, total: None), pause
    )
    for one in lacking:
        if sending.send(one):
            photos.note(note, [one.name])
    return report


def to_carry(notebook: Notebook, photos: Photos, server: str, everything: bool = False) -> list[tuple[Path, str, bool]]:
    """(file, SHA-256, whether it is sealed) of those that the cabin has not answered for, or of all, sealed or in the
    clear as they have to travel. Those that are damaged are left out."""
    known = set() if everything else photos.noted(_note(notebook, server))
    files = _to_send(notebook, photos, known, PhotoReport())
    return [(one.path, one.sha256, one.sealed) for one in files if one.sealed or _is_whole(one.path, one.sha256)]


def kept_there(notebook: Notebook, photos: Photos, server: str, pictures: Iterable[tuple[str, bool]]) -> None:
    """Notes what the cabin has answered for on a carry-file: (SHA-256, whether it went sealed). Raises SaveFailed."""
    note = _note(notebook, server)
    known = photos.noted(note)
    photos.note(note, sorted({_name(*one) for one in pictures} - known))


class _Sending:
    """One after another, over one connection."""

    def __init__(
        self,
        transport: Transport,
        report: PhotoReport,
        total: int,
        progress: Progress,
        pause: Callable[[float], None],
    ) -> None:
        self.transport = transport
        self.report = report
        self.total = total
        self.progress = progress
        self.pause = pause
        self.behind = 0
        self.part = START

    def send(self, file: _File) -> bool:
        """Whether the picture is whole at the cabin now."""
        for last in (False, True):
            try:
                self._upload(file)
            except PictureRefused:
                # Its bytes may have suffered at the cabin's end of a cut; a second time it is the file.
                if last:
                    self.report.damaged.append(file.sha256)
            except Refused as error:
                if error.fields.get("status") != 413:
                    raise
                self.report.refused.append(str(error.fields.get("message", "")))
                break
            else:
                self.report.sent += 1
                self.behind += file.size
                self.progress(self.behind, self.total)
                return True
        self.total -= file.size
        return False

    def _upload(self, file: _File) -> None:
        at: int | None = None
        failed = 0
        with file.path.open("rb") as opened:
            while True:
                try:
                    if at is None:
                        at, complete = self._where(file)
                    else:
                        at, complete = self._append(file, opened.read(self.part) if opened.seek(at) == at else b"", at)
                        failed, self.part = 0, min(LARGEST, self.part * 2)
                    if complete:
                        return
                    self.progress(self.behind + at, self.total)
                except (ConnectionCut, NotReachable, Refused) as error:
                    if isinstance(error, Refused) and error.fields.get("status") != 409:
                        raise
                    failed += 1
                    if failed >= TRIES:
                        raise
                    at, self.part = None, max(SMALLEST, self.part // 2)
                    self.pause(0.5 * failed)

    def _where(self, file: _File) -> tuple[int, bool]:
        answer = self.transport.ask("GET", _address(file), query={"sealed": int(file.sealed)})
        have, complete = _state(answer)
        # What is there of another file of this picture, such as one sealed anew, is not gone on with.
        same = answer.get("size") == file.size and answer.get("sealed") is file.sealed
        return (have if same and have <= file.size else 0), complete

    def _append(self, file: _File, data: bytes, at: int) -> tuple[int, bool]:
        query: dict[str, str | int] = {"offset": at, "size": file.size, "sealed": int(file.sealed)}
        have, complete = _state(self.transport.send("PUT", _address(file), data=data, query=query))
        if not complete and (have != at + len(data) or (not data and have < file.size)):
            raise NotUnderstood(what=f"photo: {have}")
        self.report.bytes += len(data)
        return have, complete


def _address(file: _File) -> str:
    return f"/api/v1/photo/{file.sha256}"


def _state(answer: dict[str, Any]) -> tuple[int, bool]:
    have, complete = answer.get("have"), answer.get("complete")
    if not isinstance(have, int) or not isinstance(complete, bool):
        raise NotUnderstood(what="photo")
    return have, complete


def _wanted(transport: Transport, files: Sequence[_File]) -> set[str]:
    asked = [{"sha256": one.sha256, "sealed": one.sealed} for one in files]
    wanted = transport.ask("POST", "/api/v1/photos/wanted", body={"photos": asked}).get("wanted")
    if not isinstance(wanted, list) or not all(isinstance(one, str) for one in wanted):
        raise NotUnderstood(what="wanted")
    return set(wanted)


# -- which, and how


def _named(notebook: Notebook, photos: Photos) -> Iterator[tuple[str, bool, list[Record]]]:
    """(sha256, whether a record closes it, the records) of every picture that a record names and that is here."""
    found: dict[str, list[Record]] = defaultdict(list)
    for record in notebook.records("photo"):
        for sha256 in set(map(str, record.heads.get("sha256", {}).values())):
            found[sha256].append(record)
    for sha256, records in found.items():
        if photos.has(sha256):
            yield sha256, any(any(one.heads.get("closed", {}).values()) for one in records), records


def _file(photos: Photos, sha256: str, closed: bool) -> _File:
    sealed = photos.sealed_path(sha256)
    if sealed.is_file():
        return _File(sha256, True, sealed, sealed.stat().st_size)
    path = photos.path(sha256)
    return _File(sha256, closed, path, path.stat().st_size)


def _to_send(notebook: Notebook, photos: Photos, known: set[str], report: PhotoReport) -> Iterator[_File]:
    """What the cabin has not answered for. What has to go sealed is sealed first."""
    raised: Callable[[Record], bool] | None = None
    for sha256, closed, records in _named(notebook, photos):
        if _file(photos, sha256, closed).name in known:
            continue
        if not closed and not photos.sealed_path(sha256).is_file():
            raised = raised or _raised(notebook)
            closed = any(map(raised, records))
        if closed and not photos.sealed_path(sha256).is_file():
            if not _is_whole(photos.path(sha256), sha256):
                report.damaged.append(sha256)
                continue
            if not _sealed(notebook, photos, sha256):
                report.held += 1
                continue
        yield _file(photos, sha256, closed)


def _sealed(notebook: Notebook, photos: Photos, sha256: str) -> bool:
    cabin = enrolled(notebook)
    try:
        return cabin is not None and photos.seal(sha256, cabin.seal_key)
    except StoreError:
        return False


def _raised(notebook: Notebook) -> Callable[[Record], bool]:
    """Whether the bone on a photo may be human, with every docket that is said to be the same bone."""
    dockets = {one.id: one for one in notebook.records("docket", deleted=True)}
    pointing, showing = defaultdict[str, list[str]](list), defaultdict[str, list[str]](list)
    for one in dockets.values():
        for other in one.linked("same_as"):
            pointing[other].append(one.id)
        for photo in one.linked("photo"):
            showing[photo].append(one.id)
    site = notebook.record("site", notebook.site)
    who = standing.authority(site, notebook.records("person"), knowledge().names)

    def raised(photo: Record) -> bool:
        named = {one for one in photo.heads.get("docket", {}).values() if isinstance(one, str)}
        return any(
            standing.joined_answer(
                standing.joined_to(dockets[one], dockets.get, lambda other: pointing.get(other, ())), who
            )
            in human.RAISED
            for one in (named | set(showing[photo.id])) & dockets.keys()
        )

    return raised


def _is_whole(path: Path, sha256: str) -> bool:
    """Whether a file in the clear is what its name says."""
    try:
        with path.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").hexdigest() == sha256
    except OSError:
        return False


def _note(notebook: Notebook, server: str) -> str:
    """Where it is noted what a cabin has, in this life of its ledger."""
    life = f"{server}/{notebook.cursor(server).epoch}"
    return hashlib.sha256(life.encode("utf-8", "replace")).hexdigest()[:16]
