"""Looks a cabin through, or a backup: is every byte and every link as it was, and does it fold into what is stored?

A backup is restored aside and looked through there, which is the proof that it can be. What is noted without being a
fault: gaps whose changes have never come, and numbers that were given twice; the ledger holds what came.
A few rows at a time. Not here: mending (the ledger's `rebuild`, restoring).
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat, load_pem_private_key
from sqlalchemy import Connection, Result, Text, cast, func, null, select, text, union_all

from fieldapp.findings import GOOD, NOTE, WRONG, Finding
from fieldapp.records.changes import UnreadableChange, read
from server import keys
from server.config import Config
from server.keeping.archive import Progress, Reader, silent
from server.keeping.backing_up import key_files
from server.keeping.pictures import PictureFolder, Pictures, digest_of
from server.keeping.restoring import restore
from server.ledger import Ledger, meta, proving, tables

AT_ONCE = 1000
NAMED = 10
"""Of things of one sort, so many are named."""


def verify_backup(backup: Reader, config: Config, progress: Progress = silent) -> Iterator[Finding]:
    """Every part against its digest, then the whole of it as a cabin. Needs room for its ledger and photographs."""
    for name in backup.manifest.parts:
        for _ in backup.pieces(name):
            pass
    about = backup.manifest
    yield _finding(GOOD, "parts", parts=len(about.parts), code=about.code, at=about.made_at)
    with tempfile.TemporaryDirectory(prefix="bonedocket-verify-") as folder:
        aside = replace(config, data=Path(folder) / "cabin")
        # Wherever the settings would have a ledger or photographs: not there.
        restore(backup, aside, progress=progress)
        ledger = Ledger.open(aside.ledger, clock=config.clock, new_id=config.new_id)
        try:
            yield from verify(aside, ledger, PictureFolder(aside.data), progress)
        finally:
            ledger.close()


def verify(config: Config, ledger: Ledger, pictures: Pictures, progress: Progress = silent) -> Iterator[Finding]:
    """A cabin, also while it runs: what is read of the ledger is one moment of it."""
    with ledger.database.reading() as connection:
        yield from _whole(connection)
        yield from _changes(connection, progress)
        yield from _unread(connection)
        differing = proving.differences(connection, lambda done: progress("folded", done))
        if differing:
            yield _finding(WRONG, "records_differ", number=len(differing), records=_named(differing))
        else:
            yield _finding(GOOD, "records", number=connection.scalar(select(func.count()).select_from(tables.record)))
    yield from _pictures(pictures, progress)
    yield from keys_fit(config, str(ledger.site().value("cabin_key")))


# -- the ledger


def _whole(connection: Connection) -> Iterator[Finding]:
    if connection.dialect.name == "sqlite":
        said = list(connection.scalars(text("pragma integrity_check")))
        said += [str(tuple(row)) for row in connection.execute(text("pragma foreign_key_check"))]
        if said == ["ok"]:
            yield _finding(GOOD, "database")
        else:
            yield _finding(WRONG, "database_damaged", said=_named(said))
    head = meta.names(connection).head
    count, last = connection.execute(select(func.count(), func.max(tables.change.c.seq))).one()
    if (count, last or 0) != (head, head):
        yield _finding(WRONG, "count", head=head, count=count, last=last or 0)


class _Chain:
    """One notebook's changes, as they come by, in the order of their numbers."""

    def __init__(self, notebook: str, reached: int | None) -> None:
        self.notebook = notebook
        self.reached = reached
        """Every number up to here had come; None: it is the cabin's own, and every number is here."""
        self.n, self.ids, self.before = 0, set[str](), set[str]()

    def take(self, n: int, one: str, prev: str | None) -> Iterator[Finding]:
        if n != self.n:
            yield from self._gap(n)
            self.before = self.ids if n == self.n + 1 else set()
            self.n, self.ids = n, set()
        elif one not in self.ids:
            yield _finding(NOTE, "fork", notebook=self.notebook, n=n)
        self.ids.add(one)
        if prev is not None and ((n == 1 and prev) or (self.before and prev not in self.before)):
            yield _finding(NOTE, "broken_chain", notebook=self.notebook, n=n)

    def _gap(self, n: int) -> Iterator[Finding]:
        first, last = self.n + 1, n - 1
        if first > last:
            return
        level, name = (WRONG, "lost") if self.reached is None or first <= self.reached else (NOTE, "gap")
        yield _finding(level, name, notebook=self.notebook, first=first, last=last)

    def end(self) -> Iterator[Finding]:
        """A change that had come and is not the last any more."""
        if self.reached is not None and self.n < self.reached:
            yield _finding(WRONG, "lost", notebook=self.notebook, first=self.n + 1, last=self.reached)


def _changes(connection: Connection, progress: Progress) -> Iterator[Finding]:
    """Every change against its hash and its row, and every notebook's chain."""
    reached = {row.id: row.reached for row in connection.execute(select(tables.notebook))}
    chain: _Chain | None = None
    notebooks = done = 0
    bad: list[str] = []
    for row in _numbered(connection):
        if chain is None or chain.notebook != row.notebook:
            if chain is not None:
                yield from chain.end()
            chain, notebooks = _Chain(row.notebook, reached.get(row.notebook)), notebooks + 1
        prev: str | None = None
        if row.body is not None:
            done += 1
            try:
                change = read(row.body, row.id)
                prev = change.prev
                said = (change.notebook, change.n, change.record, change.kind, change.site)
                if said != (row.notebook, row.n, row.record, row.kind, row.site):
                    bad.append(row.id)
            except UnreadableChange:
                bad.append(row.id)
            if done % AT_ONCE == 0:
                progress("changes", done)
        yield from chain.take(row.n, row.id, prev)
    if chain is not None:
        yield from chain.end()
    for lost in sorted(set(reached) - set(_notebooks(connection))):
        if reached[lost]:
            yield _finding(WRONG, "lost", notebook=lost, first=1, last=reached[lost])
    if bad:
        yield _finding(WRONG, "altered", number=len(bad), changes=_named(bad))
    else:
        yield _finding(GOOD, "changes", number=done, notebooks=notebooks)


def _numbered(connection: Connection) -> Result[Any]:
    """What came, by notebook and number: changes, and what was kept unread under a number. Streamed."""
    change, unread = tables.change.c, tables.unread.c
    nothing = [cast(null(), Text).label(name) for name in ("body", "record", "kind", "site")]
    both = union_all(
        select(change.notebook, change.n, change.id, change.body, change.record, change.kind, change.site),
        select(unread.notebook, unread.n, unread.id, *nothing).where(unread.notebook.is_not(None)),
    )
    return connection.execute(both.order_by("notebook", "n", "id").execution_options(yield_per=AT_ONCE))


def _notebooks(connection: Connection) -> list[str]:
    change, unread = tables.change.c, tables.unread.c
    return [
        *connection.scalars(select(change.notebook).distinct()),
        *connection.scalars(select(unread.notebook).where(unread.notebook.is_not(None)).distinct()),
    ]


def _unread(connection: Connection) -> Iterator[Finding]:
    column, bad = tables.unread.c, list[str]()
    query = select(column.id, column.digest, column.body).execution_options(yield_per=100)
    for row in connection.execute(query):
        if hashlib.sha256(row.body).hexdigest() != row.digest:
            bad.append(row.id)
    if bad:
        yield _finding(WRONG, "unread_altered", number=len(bad), changes=_named(bad))


# -- the files beside it


def _pictures(pictures: Pictures, progress: Progress) -> Iterator[Finding]:
    number, bad = 0, list[str]()
    for number, name in enumerate(pictures.names(), 1):
        expected, digest = digest_of(name), hashlib.sha256()
        with pictures.open(name) as file:
            while piece := file.read(2**20):
                digest.update(piece)
        # A sealed picture is proved by whoever opens it: its name is that of the open one.
        if expected is not None and digest.hexdigest() != expected:
            bad.append(name)
        progress("photos", number)
    if bad:
        yield _finding(WRONG, "photos_altered", number=len(bad), photos=_named(bad))
    else:
        yield _finding(GOOD, "photos", number=number)


def keys_fit(config: Config, site_key: str) -> Iterator[Finding]:
    """Whether the key files are there, open, belong together and to the site."""
    missing = [name for name, path in key_files(config).items() if not path.is_file()]
    if missing:
        yield _finding(WRONG, "keys_missing", files=", ".join(missing))
        return
    try:
        certificate = x509.load_pem_x509_certificate(config.certificate.read_bytes())
        private = load_pem_private_key(config.certificate_key.read_bytes(), password=None)
        seal_key = keys.public_seal_key(config.seal_key)
    except (ValueError, TypeError):
        yield _finding(WRONG, "keys_damaged")
        return
    form = (Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    if certificate.public_key().public_bytes(*form) != private.public_key().public_bytes(*form):
        yield _finding(WRONG, "certificate_not_of_key")
    elif seal_key != site_key:
        yield _finding(WRONG, "seal_key_not_of_site")
    else:
        yield _finding(GOOD, "keys")


def _named(found: list[str]) -> str:
    more = ["…"] if len(found) > NAMED else []
    return ", ".join([*(one[:80] for one in found[:NAMED]), *more])


def _finding(level: str, name: str, **fields: object) -> Finding:
    return Finding(level, f"keeping.verify.{name}", fields)
