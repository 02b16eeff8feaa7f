"""
A column more in the largest table, with a check: SQLite rebuilds the table for it.

Revision: 0003
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from quoting.book import tables

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the column, filled from what is there."""
    with op.batch_alter_table(
        "quotes", copy_from=tables.quotes, recreate="auto", table_kwargs={"sqlite_strict": True}
    ) as quotes:
        quotes.add_column(sa.Column("parcels", tables.Whole, nullable=True))
        quotes.create_check_constraint(op.f("ck_quotes_parcels"), "parcels IS NULL OR parcels >= 0")
    op.execute("UPDATE quotes SET parcels = revision")
