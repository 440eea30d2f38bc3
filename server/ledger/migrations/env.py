"""Run by alembic for an upgrade: over the connection it is given, in that connection's transaction."""

from __future__ import annotations

from alembic import context

from server.ledger import tables

context.configure(
    connection=context.config.attributes["connection"], target_metadata=tables.metadata, render_as_batch=True
)
context.run_migrations()
