"""What opening starts from, so that it need not read every line: a picture of the notebook at one line of its journal.

Two files in `snapshot/`, each replaced whole and each naming the line up to which it holds (journal.Mark):
- `first`: what the first screen shows; small, written at every rest.
- `state`: every record as folded; large, written when enough has been saved since.

Only ever a help: one that is missing, torn, altered, of another version or of another journal is as if it were not
there, and the journal is read instead. Both are lines as in the journal, with its checksums.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fieldapp.store import disk
from fieldapp.store.book import Book
from fieldapp.store.journal import Journal, Mark
from fieldapp.store.keeping import Keeping
from fieldapp.store.lines import BadLine, Entry, decode, encode

VERSION = 2
"""Raised whenever the fold, the book or the keeping would make something else of the same changes."""


@dataclass(frozen=True, slots=True)
class First:
    """What the first screen shows.

    counts    {kind: live records}
    disputed  records that hold a disagreement
    newest    {kind: documents (see book.document) of the newest records, last come first}
    """

    counts: Mapping[str, int]
    disputed: int
    newest: Mapping[str, list[dict[str, Any]]]


def write_first(folder: Path, mark: Mark, keeping: Mapping[str, Any], first: First) -> None:
    """Writes the small part. `keeping` is Keeping.as_json. Raises OSError."""
    _write(folder / "first", mark, {"keeping": keeping, **asdict(first)})


def read_first(folder: Path, journal: Journal) -> tuple[Mark, Keeping, First] | None:
    """The small part, if there is one that fits `journal`."""
    found = _read(folder / "first", journal)
    if found is None:
        return None
    mark, about, _ = found
    try:
        return mark, Keeping.from_json(about["keeping"]), First(about["counts"], about["disputed"], about["newest"])
    except (TypeError, LookupError):
        return None


@dataclass(frozen=True, slots=True)
class Copy:
    """Of a notebook at `mark`, what the large part is written from; nobody alters it any more, so any thread may."""

    mark: Mark
    keeping: Mapping[str, Any]
    book: Book
    seen: list[str]
    disputed: list[str]
    deleted: list[str]

    @classmethod
    def of(cls, mark: Mark, keeping: Keeping, book: Book) -> Copy:
        """Call it under the notebook's lock."""
        still = Book()
        still.fold.records = dict(book.fold.records)
        return cls(mark, keeping.as_json(), still, list(book.fold.seen), list(book.disputed), list(book.deleted))


def write_state(folder: Path, copy: Copy) -> None:
    """Writes the large part. Raises OSError."""
    about = {"keeping": copy.keeping, "disputed": copy.disputed, "deleted": copy.deleted}
    records = json.dumps(list(copy.book.dump()), ensure_ascii=False, separators=(",", ":"))
    _write(folder / "state", copy.mark, about, Entry("seen", " ".join(copy.seen)), Entry("records", records))


def read_state(folder: Path, journal: Journal) -> tuple[Mark, Keeping, Book] | None:
    """The large part, if there is one that fits `journal`."""
    found = _read(folder / "state", journal)
    if found is None:
        return None
    mark, about, rest = found
    parts = dict(rest)
    try:
        book = Book.load(json.loads(parts["records"]), parts["seen"].split(), about["disputed"], about["deleted"])
        return mark, Keeping.from_json(about["keeping"]), book
    except (TypeError, ValueError, LookupError, AttributeError):
        return None


def _write(path: Path, mark: Mark, about: Mapping[str, Any], *rest: Entry) -> None:
    path.parent.mkdir(exist_ok=True)
    head = Entry("about", json.dumps({"version": VERSION, "mark": mark, **about}, ensure_ascii=False))
    disk.write_new(path, b"".join(encode([one]) for one in (head, *rest)))


def _read(path: Path, journal: Journal) -> tuple[Mark, dict[str, Any], Iterable[Entry]] | None:
    try:
        with open(path, "rb") as file:
            first = file.readline()
            if not first.endswith(b"\n"):
                return None
            (head,) = decode(first[:-1])
            about = json.loads(head.payload)
            journal_id, length, lines, start, check = about["mark"]
            mark = Mark(str(journal_id), int(length), int(lines), int(start), str(check))
            if head.kind != "about" or about["version"] != VERSION or not journal.fits(mark):
                return None
            return mark, about, [decode(raw)[0] for raw in file.read().split(b"\n")[:-1]]
    except (OSError, BadLine, TypeError, ValueError, LookupError):
        return None
