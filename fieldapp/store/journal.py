"""The notebook's file: lines appended one at a time, each on the medium before anybody is told that it is saved.

A save is one line (see lines). `append` writes it to a descriptor opened for appending until all is out, then syncs,
then returns; only then may the caller change what it holds in memory. Nothing is ever written elsewhere in the file.

What may go wrong, and what is left:
- the disk takes only a part (full): the part is cut off again, SaveFailed; the next append works if there is room.
- the sync fails: what the medium holds is unknown. The file is closed, opened afresh, read through, and the line in
  doubt cut off, before anything else is appended.
- the power goes in the middle of a line: it is the last one, was never acknowledged, and is put aside into
  `<journal>.torn` when the file is opened next.
- a line before the last is damaged: that is no torn save but a loss. JournalDamaged names it; `recover` writes a new
  journal of all good lines and sets the damaged ones aside, byte for byte, in `<journal>.damaged-<number>`.

Not here: what the entries mean (notebook), and keeping a second process out (notebook, by a lock).
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

from fieldapp.store import disk
from fieldapp.store.errors import JournalDamaged, NotTheJournal, SaveFailed
from fieldapp.store.lines import BadLine, Entry, Piece, decode, encode, pieces

FORMAT = 1
HEAD = "head"
BACK = 1 << 20
"""Bytes read at once from the end."""


class Mark(NamedTuple):
    """A place in a journal, just behind a line. A mark that does not fit a journal tells that this is another one.

    journal  the id in the journal's first line; new with every rewriting
    length   bytes up to here
    lines    lines up to here, the first included
    start    offset of the last of them
    check    its checksum, as written
    """

    journal: str
    length: int
    lines: int
    start: int
    check: str


class Line(NamedTuple):
    """A good line: its number from 1, its offset, and what it holds."""

    number: int
    offset: int
    entries: list[Entry]


@dataclass(frozen=True, slots=True)
class Recovered:
    """What `recover` did: good lines kept, pieces set aside, and the file that holds those (None without any)."""

    kept: int
    set_aside: int
    file: Path | None


class Journal:
    """An open journal. `mark` is its end; `torn` the bytes put aside when it was opened, b"" if there were none."""

    def __init__(self, path: Path, new_id: Callable[[], str]) -> None:
        """Opens `path`, or begins it. Call `replay` next. Raises OSError, JournalDamaged, NotTheJournal."""
        self.path = path
        self.torn = b""
        self._new_id = new_id
        self._descriptor = -1
        self._in_doubt = False
        self._to_put_aside: Piece | None = None
        path.with_name(path.name + ".new").unlink(missing_ok=True)
        is_new = not path.exists()
        self._open()
        if is_new:
            disk.sync_folder(path.parent)
        try:
            self.mark = self._read_head()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Lets go of the file. Nothing waits to be written, so nothing can fail here."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def fits(self, mark: Mark) -> bool:
        """Whether `mark` was taken from this journal as it lies here: same file, and that line at that place."""
        if mark.journal != self.mark.journal or not 0 <= mark.start < mark.length <= self._size():
            return False
        raw = self._bytes(mark.start, mark.length)
        if not raw.endswith(b"\n") or raw[:8] != mark.check.encode():
            return False
        try:
            return bool(decode(raw[:-1]))
        except BadLine:
            return False

    def replay(self, after: Mark | None = None) -> list[Line]:
        """The lines behind `after` (which must fit), or all; called once, before the first append.

        A torn last line is put aside and cut off. Raises JournalDamaged for any other bad line.
        """
        begin = after or Mark(self.mark.journal, 0, 0, 0, "")
        good, bad = self._scan(begin)
        if bad:
            if len(bad) > 1 or (good and bad[0].number < good[-1].number):
                raise self._damage(bad, len(good), begin)
            self.torn = bad[0].raw
            self._to_put_aside = bad[0]
        self.mark = self._mark_after(begin, good[-1]) if good else begin
        # A full disk keeps the torn line where it is until there is room; reading goes on meanwhile.
        with contextlib.suppress(OSError):
            self._put_torn_aside()
        if not self.mark.lines:
            self._begin()
        return good

    def lines(self, after: Mark | None = None) -> Iterator[Line]:
        """The lines behind `after`, or all, up to the present end. Raises JournalDamaged."""
        begin = after or Mark(self.mark.journal, 0, 0, 0, "")
        good, bad = self._scan(begin, self.mark.length)
        if bad:
            raise self._damage(bad, len(good), begin)
        return iter(good)

    def raw_lines(self) -> list[bytes]:
        """Every line up to the present end as it lies there, without its LF and unchecked: for searching."""
        return self._bytes(0, self.mark.length).split(b"\n")[:-1]

    def raw_lines_back(self) -> Iterator[bytes]:
        """Like `raw_lines`, the last one first, and reading only as far back as is asked for.

        The file is opened at once, so that the lines are those of this moment, whatever is written meanwhile.
        """
        return _back(open(self.path, "rb"), self.mark.length)

    def entries(self, raw: bytes) -> list[Entry]:
        """What one of the `raw_lines` holds. Raises JournalDamaged."""
        try:
            return decode(raw)
        except BadLine:
            self.lines()  # tells where
            raise

    def append(self, entries: Sequence[Entry]) -> None:
        """Saves `entries` as one line: on return they are on the medium. One write, one sync.

        Raises ValueError for what no line can hold, SaveFailed if the disk refused; then nothing has changed.
        """
        line = encode(entries)
        try:
            self._make_ready()
        except OSError as error:
            raise SaveFailed(error, disk.is_full(error)) from error
        before = self.mark
        self._in_doubt = True
        try:
            disk.write_all(self._descriptor, line)
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, before.length)
                self._in_doubt = False
            raise SaveFailed(error, disk.is_full(error)) from error
        try:
            disk.sync(self._descriptor)
        except OSError as error:
            with contextlib.suppress(OSError):
                self._settle_doubt()
            raise SaveFailed(error, disk.is_full(error)) from error
        self._in_doubt = False
        self.mark = Mark(
            before.journal, before.length + len(line), before.lines + 1, before.length, line[:8].decode("ascii")
        )

    def rewrite(self, keep: Callable[[Entry], bool], then: Sequence[Entry]) -> None:
        """Replaces the journal by one that holds the entries that `keep` wants, in order, and `then` as a last line.

        All or nothing; the new journal has a new id, so that older marks no longer fit. Raises SaveFailed,
        JournalDamaged.
        """
        out = [self._head_line()]
        for line in self.lines():
            kept = [one for one in line.entries if one.kind != HEAD and keep(one)]
            if kept:
                out.append(encode(kept))
        if then:
            out.append(encode(then))
        try:
            self._make_ready()
            # Windows replaces no open file; elsewhere it does no harm.
            self.close()
            self._in_doubt = True
            disk.write_new(self.path, b"".join(out))
        except OSError as error:
            raise SaveFailed(error, disk.is_full(error)) from error
        finally:
            # Done or failed, the file that lies there now is taken up. If even that fails, the doubt stays, and the
            # next append looks again before it goes on.
            with contextlib.suppress(OSError):
                self._take_up(out)

    # -- the parts --

    def _open(self) -> None:
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | disk.BINARY
        self._descriptor = os.open(self.path, flags, 0o600)

    def _size(self) -> int:
        return os.stat(self.path).st_size

    def _bytes(self, start: int, end: int | None = None) -> bytes:
        with open(self.path, "rb") as file:
            file.seek(start)
            return file.read() if end is None else file.read(end - start)

    def _read_head(self) -> Mark:
        """The mark behind the first line; an empty one where the file holds no whole line yet."""
        with open(self.path, "rb") as file:
            raw = file.readline()
            rest = file.read(1)
        try:
            if not raw.endswith(b"\n"):
                raise BadLine("it has no end")
            (entry,) = decode(raw[:-1])
            head = json.loads(entry.payload)
            if entry.kind != HEAD or head["format"] != FORMAT:
                raise NotTheJournal(file=self.path.name, format=FORMAT)
            return Mark(str(head["journal"]), len(raw), 1, 0, raw[:8].decode("ascii"))
        except BadLine:
            if rest:
                good, bad = self._scan(Mark("", 0, 0, 0, ""))
                raise self._damage(bad, len(good), Mark("", 0, 0, 0, "")) from None
            return Mark("", 0, 0, 0, "")  # never begun, or torn at the very beginning
        except (ValueError, TypeError, LookupError):
            raise NotTheJournal(file=self.path.name, format=FORMAT) from None

    def _head_line(self) -> bytes:
        return encode([Entry(HEAD, json.dumps({"format": FORMAT, "journal": self._new_id()}))])

    def _begin(self) -> None:
        """Writes the first line of an empty file."""
        line = self._head_line()
        try:
            disk.write_all(self._descriptor, line)
            disk.sync(self._descriptor)
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, 0)
            raise SaveFailed(error, disk.is_full(error)) from error
        self.mark = self._read_head()

    def _scan(self, begin: Mark, end: int | None = None) -> tuple[list[Line], list[Piece]]:
        good: list[Line] = []
        bad: list[Piece] = []
        for piece in pieces(self._bytes(begin.length, end), begin.length, begin.lines + 1):
            try:
                if not piece.ended:
                    raise BadLine("it has no end")
                good.append(Line(piece.number, piece.offset, decode(piece.raw)))
            except BadLine:
                bad.append(piece)
        return good, bad

    def _damage(self, bad: Sequence[Piece], good: int, begin: Mark) -> JournalDamaged:
        first = bad[0]
        before = first.number - 1
        after = begin.lines + good - before
        return JournalDamaged(self.path, first.number, first.offset, before, after, len(bad))

    def _mark_after(self, begin: Mark, last: Line) -> Mark:
        raw = self._bytes(last.offset).split(b"\n", 1)[0]
        journal = begin.journal or self.mark.journal
        return Mark(journal, last.offset + len(raw) + 1, last.number, last.offset, raw[:8].decode("ascii"))

    def _put_torn_aside(self) -> None:
        piece = self._to_put_aside
        if piece is None:
            return
        what = f"line {piece.number} at byte {piece.offset}: {len(piece.raw)} bytes of a save that was never finished"
        disk.append_aside(self.path.with_name(self.path.name + ".torn"), what, piece.raw)
        os.ftruncate(self._descriptor, self.mark.length)
        disk.sync(self._descriptor)
        self._to_put_aside = None

    def _make_ready(self) -> None:
        if self._in_doubt:
            self._settle_doubt()
        self._put_torn_aside()

    def _settle_doubt(self) -> None:
        """Opens the file afresh, makes sure that every acknowledged line is there, and cuts off what is behind them."""
        self.close()
        self._open()
        size = self._size()
        begin = Mark("", 0, 0, 0, "")
        good, bad = self._scan(begin, self.mark.length)
        if bad:
            raise self._damage(bad, len(good), begin)
        if size < self.mark.length or len(good) != self.mark.lines:
            raise self._damage([Piece(len(good) + 1, size, b"", False)], len(good), begin)
        os.ftruncate(self._descriptor, self.mark.length)
        disk.sync(self._descriptor)
        disk.sync_folder(self.path.parent)
        self._in_doubt = False

    def _take_up(self, rewritten: Sequence[bytes]) -> None:
        """After a rewriting: goes on with the old journal or the new one, whichever has the name."""
        head = self._read_head()
        if head.journal != self.mark.journal:
            length, last = sum(len(line) for line in rewritten), rewritten[-1]
            self.mark = Mark(head.journal, length, len(rewritten), length - len(last), last[:8].decode("ascii"))
        self._settle_doubt()


def recover(path: Path, new_id: Callable[[], str]) -> Recovered:
    """Makes a journal of all good lines of the damaged one at `path`. No byte is thrown away. Raises OSError.

    Hold the notebook's lock. What the damaged lines said is in the file named by the answer, each below a line
    that tells its number and place; Notebook.verify names the changes that are missing from a chain afterwards.
    """
    good: list[bytes] = []
    bad: list[Piece] = []
    for piece in pieces(path.read_bytes()):
        try:
            entries = decode(piece.raw)
            if not piece.ended:
                raise BadLine("it has no end")
            if entries[0].kind != HEAD:
                good.append(piece.raw + b"\n")
            elif json.loads(entries[0].payload).get("format") != FORMAT:
                raise NotTheJournal(file=path.name, format=FORMAT)
        except BadLine:
            bad.append(piece)
    number = 1
    while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    for piece in bad:
        what = f"line {piece.number} at byte {piece.offset}: {len(piece.raw)} damaged bytes"
        disk.append_aside(aside, what, piece.raw)
    head = encode([Entry(HEAD, json.dumps({"format": FORMAT, "journal": new_id()}))])
    disk.write_new(path, head + b"".join(good))
    return Recovered(len(good), len(bad), aside if bad else None)


def _back(file: BinaryIO, end: int) -> Iterator[bytes]:
    with file:
        rest = b""
        while end > 0:
            start = max(0, end - BACK)
            file.seek(start)
            rest, *whole = (file.read(end - start) + rest).split(b"\n")
            yield from (raw for raw in reversed(whole) if raw)
            end = start
        if rest:
            yield rest
