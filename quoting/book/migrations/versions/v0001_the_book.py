"""
The book as it was first made.

Revision: 0001
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _whole(name: str, *, null: bool = False) -> sa.Column[int]:
    kind = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    return sa.Column(name, kind, autoincrement=False, nullable=null)


def _text(name: str, *, null: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=null)


def _bytes(name: str, *, null: bool = False) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary(), nullable=null)


def upgrade() -> None:
    """Make the tables and their indexes."""
    op.create_table(
        "cards",
        _text("hash"),
        _text("name"),
        _text("version"),
        _text("published_at"),
        _bytes("body"),
        sa.PrimaryKeyConstraint("hash", name="pk_cards"),
        sa.UniqueConstraint("name", "version", name="uq_cards_name_version"),
        sqlite_strict=True,
    )
    op.create_table(
        "clients",
        _text("id"),
        _whole("version"),
        _whole("erased"),
        _text("same_as", null=True),
        _bytes("salt", null=True),
        _bytes("body", null=True),
        sa.CheckConstraint("(erased = 1) = (body IS NULL)", name="ck_clients_erased_or_kept"),
        sa.PrimaryKeyConstraint("id", name="pk_clients"),
        sa.UniqueConstraint("same_as", name="uq_clients_same_as"),
        sqlite_strict=True,
    )
    op.create_table(
        "counters",
        _text("series"),
        _whole("last"),
        sa.CheckConstraint("last > 0", name="ck_counters_counted"),
        sa.PrimaryKeyConstraint("series", name="pk_counters"),
        sqlite_strict=True,
    )
    op.create_table(
        "events",
        _whole("position"),
        _text("subject"),
        _whole("version"),
        _text("kind"),
        _text("at"),
        _text("by"),
        _text("body"),
        _text("request"),
        _text("previous"),
        _text("hash"),
        sa.CheckConstraint("position > 0 AND version > 0", name="ck_events_counted"),
        sa.PrimaryKeyConstraint("position", name="pk_events"),
        sa.UniqueConstraint("subject", "version", name="uq_events_subject_version"),
        sqlite_strict=True,
    )
    op.create_table(
        "requests",
        _text("operation"),
        _text("key"),
        _text("fingerprint"),
        _text("subject"),
        _whole("version"),
        _text("at"),
        sa.PrimaryKeyConstraint("operation", "key", name="pk_requests"),
        sqlite_strict=True,
    )
    op.create_index("ix_requests_at", "requests", ["at"])
    op.create_table(
        "outbox",
        _whole("position"),
        _text("kind"),
        _text("subject"),
        _text("made_at"),
        _text("delivered_at", null=True),
        sa.ForeignKeyConstraint(["position"], ["events.position"], name="fk_outbox_position"),
        sa.PrimaryKeyConstraint("position", name="pk_outbox"),
        sqlite_strict=True,
    )
    op.create_index("ix_outbox_delivered_at_position", "outbox", ["delivered_at", "position"])
    op.create_table(
        "quotes",
        _whole("entry"),
        _text("id"),
        _text("series", null=True),
        _whole("ordinal", null=True),
        _whole("revision"),
        _whole("version"),
        _text("state"),
        _text("client"),
        _text("client_name", null=True),
        _text("title", null=True),
        _text("made_at"),
        _text("changed_at"),
        _text("first_dated", null=True),
        _text("dated", null=True),
        _text("valid_until", null=True),
        _text("lapses_at", null=True),
        _text("currency"),
        _whole("total_minor"),
        _whole("deposit_minor"),
        _whole("paid_minor"),
        _whole("accepted", null=True),
        _whole("erased"),
        sa.CheckConstraint("state IN ('draft', 'open', 'accepted', 'declined', 'withdrawn')", name="ck_quotes_state"),
        sa.CheckConstraint("(revision = 0) = (ordinal IS NULL)", name="ck_quotes_numbered_when_issued"),
        sa.CheckConstraint("paid_minor >= 0 AND paid_minor <= total_minor", name="ck_quotes_not_overpaid"),
        sa.ForeignKeyConstraint(["client"], ["clients.id"], name="fk_quotes_client"),
        sa.PrimaryKeyConstraint("entry", name="pk_quotes"),
        sa.UniqueConstraint("id", name="uq_quotes_id"),
        sa.UniqueConstraint("series", "ordinal", name="uq_quotes_series_ordinal"),
        sqlite_strict=True,
    )
    op.create_index("ix_quotes_client_entry", "quotes", ["client", "entry"])
    op.create_index("ix_quotes_first_dated_entry", "quotes", ["first_dated", "entry"])
    op.create_index("ix_quotes_state_entry", "quotes", ["state", "entry"])
    op.create_table(
        "papers",
        _whole("entry"),
        _whole("revision"),
        _text("kind"),
        _bytes("salt"),
        _text("media_type"),
        _bytes("body"),
        sa.ForeignKeyConstraint(["entry"], ["quotes.entry"], name="fk_papers_entry"),
        sa.PrimaryKeyConstraint("entry", "revision", "kind", name="pk_papers"),
        sqlite_strict=True,
    )
    op.create_table(
        "revisions",
        _whole("entry"),
        _whole("revision"),
        _text("card"),
        _whole("rules"),
        _text("priced_on"),
        _text("dated"),
        _text("valid_until"),
        _text("lapses_at"),
        _text("currency"),
        sa.CheckConstraint("revision > 0", name="ck_revisions_counted"),
        sa.ForeignKeyConstraint(["card"], ["cards.hash"], name="fk_revisions_card"),
        sa.ForeignKeyConstraint(["entry"], ["quotes.entry"], name="fk_revisions_entry"),
        sa.PrimaryKeyConstraint("entry", "revision", name="pk_revisions"),
        sqlite_strict=True,
    )
    op.create_table(
        "words",
        _text("word"),
        _whole("entry"),
        sa.ForeignKeyConstraint(["entry"], ["quotes.entry"], name="fk_words_entry"),
        sa.PrimaryKeyConstraint("word", "entry", name="pk_words"),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_index("ix_words_entry", "words", ["entry"])
    op.create_table(
        "options",
        _whole("entry"),
        _whole("revision"),
        _whole("place"),
        _whole("quantity"),
        _whole("net_minor"),
        _whole("tax_minor"),
        _whole("total_minor"),
        _whole("deposit_minor"),
        sa.CheckConstraint("deposit_minor >= 0 AND deposit_minor <= total_minor", name="ck_options_deposit"),
        sa.CheckConstraint("net_minor + tax_minor = total_minor", name="ck_options_adds_up"),
        sa.ForeignKeyConstraint(
            ["entry", "revision"], ["revisions.entry", "revisions.revision"], name="fk_options_entry_revision"
        ),
        sa.PrimaryKeyConstraint("entry", "revision", "place", name="pk_options"),
        sqlite_strict=True,
    )
    # ### end Alembic commands ###
