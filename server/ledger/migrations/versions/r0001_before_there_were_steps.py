"""The tables as they were when steps began. What a ledger from before that has of them is left as it is."""

from __future__ import annotations

from alembic import op
from sqlalchemy import (
    Boolean,
    Column,
    ForeignKeyConstraint,
    LargeBinary,
    PrimaryKeyConstraint,
    UniqueConstraint,
)
from sqlalchemy.schema import SchemaItem

from server.ledger.columns import Integer, Text

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Makes what is missing."""
    _what_came()
    _what_is_worked_out()
    _the_cabins_own()


def _what_came() -> None:
    _table(
        "change",
        Column("seq", Integer, primary_key=True),
        *_texts("id notebook"),
        Column("n", Integer, nullable=False),
        *_texts("record kind site body"),
        Column("closed", Boolean, nullable=False),
        *_texts("received_at source"),
        UniqueConstraint("id"),
    )
    _index("change_of_notebook", "change", "notebook", "n")
    _index("ix_change_record", "change", "record")
    _table(
        "unread",
        Column("nr", Integer, primary_key=True),
        *_texts("id digest answer why"),
        Column("notebook", Text),
        Column("n", Integer),
        Column("body", LargeBinary, nullable=False),
        *_texts("received_at source"),
        UniqueConstraint("id", "digest"),
    )
    _index("unread_of_notebook", "unread", "notebook", "n")
    _table(
        "notebook",
        Column("id", Text, primary_key=True),
        Column("reached", Integer, nullable=False),
        Column("highest", Integer, nullable=False),
        Column("gap_noted", Integer),
    )


def _what_is_worked_out() -> None:
    _table(
        "record",
        Column("id", Text, primary_key=True),
        *_texts("kind site life"),
        *(Column(name, Text) for name in ("label", "context", "bag", "docket", "answer")),
        Column("assessed", Boolean, nullable=False),
        Column("due", Boolean, nullable=False),
        *_texts("state"),
    )
    _index("record_in_context", "record", "context", "kind")
    _index("record_by_label", "record", "label")
    _index("record_in_bag", "record", "bag")
    _index("record_by_answer", "record", "answer", "life")
    _index("record_by_kind", "record", "kind", "life")
    _index("record_due", "record", "due", "bag")
    _table("link", *_texts("record sort other"), PrimaryKeyConstraint("record", "sort", "other"))
    _index("link_from", "link", "other")
    _table(
        "disagreement",
        *_texts("record path nature"),
        ForeignKeyConstraint(["record"], ["record.id"]),
        PrimaryKeyConstraint("record", "path"),
    )
    _table(
        "problem",
        Column("nr", Integer, primary_key=True),
        *_texts("record rule level path fields"),
        ForeignKeyConstraint(["record"], ["record.id"]),
    )
    _index("ix_problem_record", "problem", "record")
    _index("ix_problem_level", "problem", "level")


def _the_cabins_own() -> None:
    _table("meta", Column("key", Text, primary_key=True), *_texts("value"))
    _table(
        "account",
        Column("id", Text, primary_key=True),
        *_texts("person name role key password private"),
        Column("active", Boolean, nullable=False),
        Column("wrong", Integer, nullable=False),
        Column("locked_until", Text),
        UniqueConstraint("person", "role"),
    )
    _table(
        "enrolment",
        Column("id", Text, primary_key=True),
        *_texts("key letter name expires_at"),
        Column("used_by", Text),
    )
    _table(
        "device",
        Column("notebook", Text, primary_key=True),
        *_texts("name letter token enrolled_at"),
        Column("seen_at", Text),
        Column("withdrawn_at", Text),
        UniqueConstraint("letter"),
        UniqueConstraint("token"),
    )
    _table("event", Column("nr", Integer, primary_key=True), *_texts("at what who fields"))
    _index("ix_event_what", "event", "what")


def _texts(names: str) -> list[Column[str]]:
    return [Column(name, Text, nullable=False) for name in names.split()]


def _table(name: str, *parts: SchemaItem) -> None:
    op.create_table(name, *parts, if_not_exists=True)


def _index(name: str, table: str, *columns: str) -> None:
    op.create_index(name, table, list(columns), if_not_exists=True)
