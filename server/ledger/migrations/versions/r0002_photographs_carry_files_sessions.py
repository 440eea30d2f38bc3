"""What the cabin keeps of photographs, of carry-files, of who is signed in, and of tablets that were copied."""

from __future__ import annotations

from alembic import op
from sqlalchemy import Boolean, Column, PrimaryKeyConstraint

from server.ledger.columns import Integer, Text

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Makes six tables."""
    op.create_table(
        "photo",
        Column("sha256", Text, primary_key=True),
        Column("size", Integer, nullable=False),
        Column("sealed", Boolean, nullable=False),
        *_texts("sort received_at notebook"),
    )
    op.create_table("carry_key", *_texts("notebook sign seal at"), PrimaryKeyConstraint("notebook", "sign"))
    op.create_table("carried", Column("file", Text, primary_key=True), *_texts("notebook made_at loaded_at"))
    op.create_index("ix_carried_notebook", "carried", ["notebook"])
    op.create_table("session", Column("id", Text, primary_key=True), *_texts("account began_at"))
    op.create_index("ix_session_account", "session", ["account"])
    op.create_table("guess", Column("id", Text, primary_key=True), *_texts("place at"))
    op.create_index("ix_guess_at", "guess", ["at"])
    op.create_index("guess_by_place", "guess", ["place", "at"])
    op.create_table("life", Column("notebook", Text, primary_key=True), *_texts("came_from at"))


def _texts(names: str) -> list[Column[str]]:
    return [Column(name, Text, nullable=False) for name in names.split()]
