"""How Alembic runs the steps: in the connection and the transaction that the book gives it."""

from __future__ import annotations

from alembic import context

from quoting.book.tables import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    transaction_per_migration=False,
)
context.run_migrations()
