"""
What the API and the sender need: private links, keys, deliveries, budgets.

Revision: 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def _whole(name: str, *, null: bool = False) -> sa.Column[int]:
    kind = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    return sa.Column(name, kind, autoincrement=False, nullable=null)


def _text(name: str, *, null: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=null)


def upgrade() -> None:
    """Add the columns and the tables; nothing that is there has a link or an offer."""
    op.add_column("quotes", _text("offer", null=True))
    op.add_column("quotes", _text("link", null=True))
    op.create_index("ix_quotes_link", "quotes", ["link"], unique=True)
    op.create_table(
        "deliveries",
        _whole("position"),
        _text("channel"),
        _whole("attempts"),
        _text("next_at", null=True),
        _text("delivered_at", null=True),
        _text("refused", null=True),
        sa.CheckConstraint("delivered_at IS NULL OR next_at IS NULL", name="ck_deliveries_over_when_delivered"),
        sa.ForeignKeyConstraint(["position"], ["outbox.position"], name="fk_deliveries_position"),
        sa.PrimaryKeyConstraint("position", "channel", name="pk_deliveries"),
        sqlite_strict=True,
    )
    op.create_index("ix_deliveries_next_at_position", "deliveries", ["next_at", "position"])
    op.create_table(
        "access_keys",
        _text("id"),
        _whole("version"),
        _text("name"),
        _text("scopes"),
        _text("origins"),
        _text("hash"),
        _text("made_at"),
        _text("ends_at", null=True),
        sa.PrimaryKeyConstraint("id", name="pk_access_keys"),
        sa.UniqueConstraint("hash", name="uq_access_keys_hash"),
        sqlite_strict=True,
    )
    op.create_table(
        "budgets",
        _text("name"),
        _text("until"),
        _whole("used"),
        sa.CheckConstraint("used >= 0", name="ck_budgets_counted"),
        sa.PrimaryKeyConstraint("name", name="pk_budgets"),
        sqlite_strict=True,
    )
    op.create_index("ix_budgets_until", "budgets", ["until"])
