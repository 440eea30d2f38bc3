"""What the desk's long lists sort by: dockets, contexts and bags, a line each; problems by label."""

from __future__ import annotations

from alembic import op
from sqlalchemy import Boolean, Column, Float

from server.ledger.columns import Integer, Text

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Makes three tables and a column. The rules fill them when they next look at a record."""
    op.create_table(
        "docket_line",
        Column("record", Text, primary_key=True),
        *_texts("context"),
        *_texts("sort find", nullable=False),
        *_texts("element taxon side stage"),
        _number("pieces"),
        Column("asks", Boolean, nullable=False),
        *_texts("mark", nullable=False),
        *map(_number, ("conflicts", "precisions", "problems", "gravest")),
        *_texts("place"),
    )
    op.create_index("docket_line_by_sort", "docket_line", ["sort", "record"])
    op.create_index("docket_line_in_context", "docket_line", ["context", "sort"])
    op.add_column("problem", Column("sort", Text))
    op.drop_index("ix_problem_level", "problem")
    op.create_index("problem_by_level", "problem", ["level", "sort"])
    op.create_table(
        "context_line",
        Column("record", Text, primary_key=True),
        *_texts("sort", nullable=False),
        *_texts("type trench phase grave_like state"),
        *map(_number, ("disagreements", "problems")),
    )
    op.create_table(
        "bag_line",
        Column("record", Text, primary_key=True),
        *_texts("context place"),
        *_texts("sort", nullable=False),
        *_texts("recovery"),
        Column("mesh_mm", Float),
        Column("weight_g", Float),
        *_texts("box held_by"),
        *_texts("steps", nullable=False),
    )


def _texts(names: str, nullable: bool = True) -> list[Column[str]]:
    return [Column(name, Text, nullable=nullable) for name in names.split()]


def _number(name: str) -> Column[int]:
    return Column(name, Integer, nullable=False)
