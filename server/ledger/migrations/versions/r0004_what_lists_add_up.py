"""What the desk's lists add up and draw from: a docket's weight, and whether it is a hard one."""

from __future__ import annotations

from alembic import op
from sqlalchemy import Boolean, Column, Float

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Makes two columns and widens an index. The rules fill them when they next look at a record."""
    op.add_column("docket_line", Column("weight_g", Float))
    op.add_column("docket_line", Column("hard", Boolean))
    op.drop_index("docket_line_in_context", "docket_line")
    op.create_index("docket_line_in_context", "docket_line", ["context", "sort", "conflicts", "precisions", "problems"])
