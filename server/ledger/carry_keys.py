"""What the cabin knows of tablets' carry-files: the keys they sign with, and which files were loaded.

Not here: the files themselves (server.carry).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import Connection, insert, select

from server.ledger import events, tables

if TYPE_CHECKING:
    from server.ledger.ledger import Ledger


class CarryKey(NamedTuple):
    """A notebook's public keys, base64, and since when they are known."""

    sign: str
    seal: str
    at: str


class CarryKeys:
    """See the module."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger

    def register(self, notebook: str, sign: str, seal: str, by: str = "") -> list[CarryKey]:
        """Keeps keys of a notebook, beside those that are there; all of them, oldest first.

        `by`: who accepted them by hand, where the tablet did not tell them itself.
        """
        with self.ledger.database.writing() as connection:
            found = _of(connection, notebook)
            if any(one.sign == sign for one in found):
                return found
            now = self.ledger.now()
            row = {"notebook": notebook, "sign": sign, "seal": seal, "at": now}
            connection.execute(insert(tables.carry_key), row)
            what = "carry_key_second" if found else "carry_key"
            events.note(connection, what, notebook, now, {"notebook": notebook})
            if by:
                events.note(connection, "carry_key_accepted", notebook, now, {"notebook": notebook, "by": by})
            return _of(connection, notebook)

    def of(self, notebook: str) -> list[CarryKey]:
        """The keys of a notebook, oldest first; more than one, and a copy of it goes on somewhere."""
        with self.ledger.database.reading() as connection:
            return _of(connection, notebook)

    def loaded(self, file: str) -> str:
        """When a carry-file was first loaded, "" if it was not."""
        query = select(tables.carried.c.loaded_at).where(tables.carried.c.file == file)
        with self.ledger.database.reading() as connection:
            return connection.scalar(query) or ""

    def note_loaded(self, file: str, notebook: str, made_at: str) -> None:
        """Notes that all of a carry-file is in the ledger."""
        with self.ledger.database.writing() as connection:
            query = select(tables.carried.c.file).where(tables.carried.c.file == file)
            if connection.scalar(query) is None:
                row = {"file": file, "notebook": notebook, "made_at": made_at, "loaded_at": self.ledger.now()}
                connection.execute(insert(tables.carried), row)


def _of(connection: Connection, notebook: str) -> list[CarryKey]:
    column = tables.carry_key.c
    query = select(column.sign, column.seal, column.at).where(column.notebook == notebook).order_by(column.at)
    return [CarryKey(*row) for row in connection.execute(query)]
