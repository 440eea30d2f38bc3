"""How the ledger's tables came to be as they are, step by step (alembic), and how an older ledger is brought here.

A new ledger is made by `make` from tables.py and marked with HEAD; a test holds both ways to the same tables. A ledger
from before there were steps has no mark; the first step leaves alone what it has. To add a step: change tables.py,
write `versions/rNNNN_what.py` with `down_revision` set to the last one, raise HEAD.
Not here: what the changes in a ledger say, which never changes (fieldapp.records.changes).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Column, Connection, MetaData, String, Table, insert, inspect, select

from server.ledger import tables

if TYPE_CHECKING:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

HEAD = "0004"
"""The last step: of the tables as tables.py has them."""

VERSIONS = (Path(__file__).parent / "versions",)

_mark = Table("alembic_version", MetaData(), Column("version_num", String(32), primary_key=True))


def revision_of(connection: Connection) -> str | None:
    """The step this ledger stands at; None for one from before there were steps."""
    if not inspect(connection).has_table(_mark.name):
        return None
    return connection.scalar(select(_mark.c.version_num))


def is_known(revision: str | None) -> bool:
    """Whether this program has that step."""
    if revision is None or revision == HEAD:
        return True
    return any(one.revision == revision for one in _steps(_config()).walk_revisions())


def make(connection: Connection) -> None:
    """All tables of a new ledger."""
    tables.metadata.create_all(connection)
    _mark.create(connection)
    connection.execute(insert(_mark), {"version_num": HEAD})


def upgrade(connection: Connection) -> None:
    """Every step that this ledger has not gone yet, in the transaction of the caller's."""
    from alembic import command

    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, HEAD)


def _config() -> Config:
    # Loaded only where a step is to be gone: a ledger that is up to date opens without it.
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    config.set_main_option("version_locations", "\n".join(map(str, VERSIONS)).replace("%", "%%"))
    return config


def _steps(config: Config) -> ScriptDirectory:
    from alembic.script import ScriptDirectory

    return ScriptDirectory.from_config(config)
