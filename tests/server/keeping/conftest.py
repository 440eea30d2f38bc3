"""A cabin with something of everything in it: changes, a fork, a text that is none, people, a tablet, a photograph."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from sqlalchemy import select

from server.cabin import Cabin
from server.config import Config
from server.keeping import archive, restoring
from server.keeping.backing_up import back_up
from server.keeping.pictures import PictureFolder
from server.keeping.restoring import Restored
from server.ledger import Ledger, tables
from server.ledger.place import Place
from tests.server.apps import QUICK
from tests.server.tablets import Tablet

PHOTO = b"an invented picture" * 5000
SHA = hashlib.sha256(PHOTO).hexdigest()
SEALED = "ab" * 32 + ".sealed"


@pytest.fixture
def place(tmp_path: Path) -> Place:
    """A file: what these tests spoil and look into. From one database into the other goes test_settings."""
    return Place(path=tmp_path / "ledger.sqlite")


def fill(cabin: Cabin, hasher: PasswordHasher = QUICK) -> Tablet:
    """Puts something of everything into a cabin; the tablet that wrote most of it."""
    cabin.accounts.add("B. Bone", "director")
    cabin.devices.open_code("spade")
    tablet = Tablet()
    for number in range(5):
        tablet.docket(f"d{number}", note=f"Übergröße {number}")
    tablet.human("d1", "stop")
    cabin.ledger.accept(tablet.entries(), tablet.id)
    other = Tablet("tablet two")
    first = other.docket("x")
    other.write("docket", first.record, {"count": 2}, n=1, prev="")
    # Half of a pair and a byte of nothing: what is kept opaque has to survive too.
    cabin.ledger.accept([*other.entries(), ("no id", '{"x": "\ud800\x00"}')], other.id)
    while cabin.ledger.check_due():
        pass
    pictures = PictureFolder(cabin.config.data)
    pictures.add(SHA, [PHOTO])
    pictures.add(SEALED, [os.urandom(100)])
    return tablet


@pytest.fixture
def tablet(cabin: Cabin) -> Tablet:
    return fill(cabin)


@pytest.fixture
def backup(cabin: Cabin, tablet: Tablet, tmp_path: Path) -> Path:
    """A backup of the filled cabin."""
    path = tmp_path / "backup.zip"
    back_up(cabin.config, cabin.ledger, path, pictures=PictureFolder(cabin.config.data))
    return path


def restored(path: Path, config: Config, passphrase: bytes | None = None) -> Restored:
    with archive.reading(path, passphrase) as found:
        return restoring.restore(found, config)


def replaced(path: Path, config: Config, before: Path) -> Restored:
    with archive.reading(path) as found:
        return restoring.replace_with(found, config, pictures=PictureFolder(config.data), before=before)


def contents(ledger: Ledger, *without: str) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table, sorted; whatever the rules have not looked at yet counts as looked at."""
    found = {}
    with ledger.database.reading() as connection:
        for table in tables.metadata.sorted_tables:
            if table.name not in without:
                rows = [dict(row) for row in connection.execute(select(table)).mappings()]
                found[table.name] = sorted(({**row, "due": None} for row in rows), key=repr)
    return found


def everything_in(folder: Path) -> dict[str, bytes]:
    """{name: bytes} of every file below a folder."""
    return {str(one.relative_to(folder)): one.read_bytes() for one in sorted(folder.rglob("*")) if one.is_file()}


@pytest.fixture
def opened() -> Iterator[Any]:
    """Opens ledgers and closes them again."""
    found: list[Ledger] = []

    def open_one(config: Config) -> Ledger:
        found.append(Ledger.open(config.ledger, clock=config.clock, new_id=config.new_id))
        return found[-1]

    yield open_one
    for one in found:
        one.close()
