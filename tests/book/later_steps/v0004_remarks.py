"""
A table more, STRICT on SQLite, with a row for every quotation.

Revision: 0004
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from quoting.book.tables import Whole

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make and fill the table."""
    op.create_table(
        "remarks",
        sa.Column("entry", Whole, autoincrement=False, nullable=False),
        sa.Column("remark", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_remarks"),
        sa.ForeignKeyConstraint(["entry"], ["quotes.entry"], name="fk_remarks_entry"),
        sqlite_strict=True,
    )
    op.create_index("ix_remarks_remark", "remarks", ["remark"])
    op.execute("INSERT INTO remarks SELECT entry, state FROM quotes")
