"""A table as text, read row by row in bounded memory: its letters, headings and rows, and what is no such table.

The whole file is looked through first (`look`), so that what cannot be read is told before anything is written: letters
that are not in its encoding, a quotation mark that never ends, a spreadsheet's own file. Then its rows come one by one.
A row's number is its place as a spreadsheet counts: the headings are row 1. Not here: what a column means (maps).
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CELL = 100_000
"""Characters of a cell. A longer one is a quotation mark that was not closed."""
ROW = 100_000
"""Characters of a row that a docket takes: it is one change's text (fieldapp.records.changes.BODY_LIMIT)."""
COLUMNS = 5000
LINE = 16_000_000
"""Bytes of a line, which is held in memory as a whole."""
_AT_ONCE = 1 << 16
_KINDS = (
    (b"PK\x03\x04", "spreadsheet"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old_spreadsheet"),
    (b"%PDF", "pdf"),
    (b"SQLite format 3\x00", "database"),
    (b"\x1f\x8b", "packed"),
    (b"\xfd7zXZ", "packed"),
)
_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


class TableWrong(ValueError):
    """A file that cannot be read as a table. `key`: of the sentence that says why; `fields` fill it."""

    def __init__(self, key: str, **fields: object) -> None:
        super().__init__(key)
        self.key = key
        self.fields = {name: str(value) for name, value in fields.items()}


@dataclass(frozen=True, slots=True)
class Row:
    """A row: its number and the line on which it begins; {heading: cell as it stands}, without empty cells.

    `ragged`: "" or what is odd about its number of cells: "short" (the last are not there) or "long".
    """

    number: int
    line: int
    cells: dict[str, str]
    ragged: str = ""

    @property
    def length(self) -> int:
        """Characters in it."""
        return sum(len(heading) + len(cell) for heading, cell in self.cells.items())


@dataclass(frozen=True, slots=True)
class Table:
    """A file that was looked through. `rows`: how many have anything in them; `renamed`: headings that had none of
    their own, or another's."""

    path: Path
    encoding: str
    delimiter: str
    sha256: str
    headings: tuple[str, ...]
    renamed: tuple[str, ...]
    rows: int

    def __iter__(self) -> Iterator[Row]:
        """Its rows, without those that are empty. Raises TableWrong if the file has become another one."""
        digest = hashlib.sha256()
        with self.path.open("rb") as raw:
            hashing = io.BufferedReader(_Hashing(raw, digest), _AT_ONCE)
            with io.TextIOWrapper(hashing, encoding=self.encoding, newline="") as text:
                for number, line, cells in _records(text, self.delimiter):
                    if number > 1 and any(cells):
                        yield _row(self.headings, number, line, cells)
        if digest.hexdigest() != self.sha256:
            raise TableWrong("changed")


class _Hashing(io.RawIOBase):
    """Bytes that are hashed as they are read."""

    def __init__(self, raw: io.BufferedReader, digest: Any) -> None:
        self._raw, self._digest = raw, digest

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        got = self._raw.read(len(into))
        self._digest.update(got)
        into[: len(got)] = got
        return len(got)


def look(path: Path, encoding: str, delimiter: str, told: Callable[[int], object] = lambda rows: None) -> Table:
    """The table in a file, looked through to its end. `told`: how many rows are done. Raises TableWrong, OSError."""
    sha256 = _looked_at(path, encoding)
    headings: tuple[str, ...] = ()
    renamed: list[str] = []
    rows = 0
    with path.open(encoding=encoding, newline="") as text:
        for number, _, cells in _records(text, delimiter):
            if number == 1:
                if not any(cell.strip() for cell in cells):
                    raise TableWrong("no_headings")
                if len(cells) > COLUMNS:
                    raise TableWrong("columns", n=len(cells))
                headings, renamed = _headings(cells)
            elif any(cells):
                rows += 1
                if rows % 1000 == 0:
                    told(rows)
    if not headings:
        raise TableWrong("empty")
    return Table(path, encoding, delimiter, sha256, headings, tuple(renamed), rows)


def is_encoding(name: str) -> bool:
    """Whether text can be read in it: Python also calls so what packs bytes."""
    try:
        io.TextIOWrapper(io.BytesIO(b"ab"), encoding=name, errors="replace").read()
    except (LookupError, ValueError):
        return False
    return True


def is_delimiter(sign: str) -> bool:
    """Whether it can stand between cells."""
    return len(sign) == 1 and sign not in '"\r\n'


def text_encoding(path: Path) -> str:
    """The letters that a file seems to be in: "utf-8", "utf-16", or "cp1252" where it is neither. Raises TableWrong."""
    _kept(path)
    with path.open("rb") as raw:
        begins = raw.read(8)
    if (marked := _marked(begins)) is not None:
        return marked
    return "utf-8" if _fault_in(path, "utf-8") is None else "cp1252"


def sniffed(path: Path, encoding: str) -> str:
    """The delimiter that a table's headings seem to have."""
    with path.open(encoding=encoding, newline="", errors="replace") as text:
        head = text.readline(CELL)
    return max(",;\t|", key=head.count)


def _kept(path: Path) -> None:
    """A table is read several times, to its end: a folder, a pipe or a device is none."""
    if path.exists() and not path.is_file():
        raise TableWrong("no_file")


def _looked_at(path: Path, encoding: str) -> str:
    """The SHA-256 of a file whose letters are those of its encoding."""
    _kept(path)
    digest = hashlib.sha256()
    with path.open("rb") as raw:
        begins = raw.read(512)
        if not begins:
            raise TableWrong("empty")
        for magic, kind in _KINDS:
            if begins.startswith(magic):
                raise TableWrong(kind)
        if begins.lstrip()[:1] == b"<":
            raise TableWrong("markup")
        raw.seek(0)
        length = 0
        while some := raw.read(_AT_ONCE):
            digest.update(some)
            ends = max(some.rfind(b"\n"), some.rfind(b"\r"))
            length = len(some) - ends - 1 + (length if ends < 0 else 0)
            if length > LINE:
                raise TableWrong("line_long", most=LINE // 1_000_000)
    marked = _marked(begins)
    own = "utf-8" if encoding.startswith("utf-8") else encoding
    if marked is not None and not own.startswith(marked):
        raise TableWrong("marked", found=marked, given=own)
    if marked is None and b"\0" in begins and not own.startswith(("utf-16", "utf-32")) and begins.count(b"\0") > 100:
        raise TableWrong("marked", found="utf-16-le" if begins[1:2] == b"\0" else "utf-16-be", given=own)
    if (line := _fault_in(path, encoding)) is not None:
        raise TableWrong("letters", line=line, given=own, perhaps="utf-8" if own != "utf-8" else "cp1252")
    if not own.startswith(("utf-", "ascii")) and _is_utf8_beyond_ascii(path):
        raise TableWrong("really_utf8", given=own)
    return digest.hexdigest()


def _marked(begins: bytes) -> str | None:
    return next((name for mark, name in _BOMS if begins.startswith(mark)), None)


def _fault_in(path: Path, encoding: str) -> int | None:
    """The line on which letters stand that are not of this encoding; None if all are."""
    decoder, line = codecs.getincrementaldecoder(encoding)("strict"), 1
    with path.open("rb") as raw:
        while True:
            some = raw.read(_AT_ONCE)
            try:
                line += decoder.decode(some, final=not some).count("\n")
            except UnicodeDecodeError as error:
                return line + error.object[: error.start].count(b"\n")
            except UnicodeError:  # such as UTF-16 that does not say which way round it is
                return line
            if not some:
                return None


def _is_utf8_beyond_ascii(path: Path) -> bool:
    with path.open("rb") as raw:
        beyond = any(not some.isascii() for some in iter(lambda: raw.read(_AT_ONCE), b""))
    return beyond and _fault_in(path, "utf-8") is None


def _records(text: io.TextIOBase, delimiter: str) -> Iterator[tuple[int, int, list[str]]]:
    """(number, line on which it begins, cells) of every record, empty ones among them."""
    # Strict: a quotation mark that never ends must not swallow the rows behind it.
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    number, line = 0, 1
    while True:
        limit = csv.field_size_limit(CELL)  # it is the whole program's: set for no longer than a record takes
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise TableWrong("csv", line=line, why=error) from error
        finally:
            csv.field_size_limit(limit)
        number += 1
        yield number, line, cells
        line = reader.line_num + 1


def _headings(cells: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """The headings, each once: a second "Bd" becomes "Bd (2)", an empty one "(column 7)"."""
    found: dict[str, None] = {}
    renamed = []
    own = {cell.strip() for cell in cells}
    for place, cell in enumerate(cells, 1):
        name = plain = cell.strip()
        n = 1
        while not name or name in found or (n > 1 and name in own):
            n += 1
            name = f"{plain} ({n})" if plain else f"(column {place})" if n == 2 else f"(column {place}, {n})"
        found[name] = None
        if name != plain:
            renamed.append(name)
    return tuple(found), renamed


def _row(headings: Sequence[str], number: int, line: int, cells: Sequence[str]) -> Row:
    found = {heading: cell for heading, cell in zip(headings, cells, strict=False) if cell}
    beyond = {f"(column {n})": cell for n, cell in enumerate(cells[len(headings) :], len(headings) + 1) if cell.strip()}
    ragged = "long" if beyond else "short" if len(cells) < len(headings) else ""
    return Row(number, line, found | beyond, ragged)
