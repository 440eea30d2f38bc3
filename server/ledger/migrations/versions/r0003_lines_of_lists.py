"""What the desk's long lists sort by and are narrowed down by: a line a docket and a line a context."""

from __future__ import annotations

from alembic import op
from sqlalchemy import Boolean, Column

from server.ledger.columns import Integer, Text

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Makes two tables. The rules fill them when they next look at a record."""
    op.create_table(
        "docket_line",
        Column("record", Text, primary_key=True),
        *_texts("context"),
        *_texts("sort find", nullable=False),
        *_texts("element taxon side stage"),
        _number("pieces"),
        Column("asks", Boolean, nullable=False),
        *map(_number, ("conflicts", "precisions", "problems", "gravest")),
    )
    op.create_index("docket_line_by_sort", "docket_line", ["sort"])
    op.create_index("docket_line_in_context", "docket_line", ["context", "sort"])
    op.create_table(
        "context_line",
        Column("record", Text, primary_key=True),
        *_texts("sort", nullable=False),
        *_texts("type trench phase grave_like state"),
        *map(_number, ("disagreements", "problems")),
    )


def _texts(names: str, nullable: bool = True) -> list[Column[str]]:
    return [Column(name, Text, nullable=nullable) for name in names.split()]


def _number(name: str) -> Column[int]:
    return Column(name, Integer, nullable=False)
