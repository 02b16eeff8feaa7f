"""
The tables of the book, alike on both engines. They are made by the migrations; this is how they are read.

``quotes`` is the only table of quotations that changes, and holds nothing that the history does not:
it is there to be searched. What may be personal stands in ``papers``, ``clients``, ``words`` and the two
columns of ``quotes`` that erasing empties. ``deliveries`` and ``budgets`` are work under way, no history.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.schema import SchemaItem

NAMES = {
    "pk": "pk_%(table_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
}
Whole = BigInteger().with_variant(Integer, "sqlite")  # a STRICT table of SQLite knows no BIGINT

metadata = MetaData(naming_convention=NAMES)


def _table(name: str, *parts: SchemaItem, rowid: bool = True) -> Table:
    return Table(name, metadata, *parts, sqlite_strict=True, sqlite_with_rowid=rowid)


def _whole(name: str, *more: ForeignKey, null: bool = False) -> Column[int]:
    return Column(name, Whole, *more, nullable=null, autoincrement=False)


def _text(name: str, *more: ForeignKey, null: bool = False) -> Column[str]:
    return Column(name, Text, *more, nullable=null)


def _bytes(name: str, *, null: bool = False) -> Column[bytes]:
    return Column(name, LargeBinary, nullable=null)


events = _table(
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
    PrimaryKeyConstraint("position"),
    UniqueConstraint("subject", "version"),
    CheckConstraint("position > 0 AND version > 0", name="counted"),
)
counters = _table(
    "counters",
    _text("series"),
    _whole("last"),
    PrimaryKeyConstraint("series"),
    CheckConstraint("last > 0", name="counted"),
)
cards = _table(
    "cards",
    _text("hash"),
    _text("name"),
    _text("version"),
    _text("published_at"),
    _bytes("body"),
    PrimaryKeyConstraint("hash"),
    UniqueConstraint("name", "version"),
)
clients = _table(
    "clients",
    _text("id"),
    _whole("version"),
    _whole("erased"),
    _text("same_as", null=True),
    _bytes("salt", null=True),
    _bytes("body", null=True),
    PrimaryKeyConstraint("id"),
    UniqueConstraint("same_as"),
    CheckConstraint("(erased = 1) = (body IS NULL)", name="erased_or_kept"),
)
quotes = _table(
    "quotes",
    _whole("entry"),
    _text("id"),
    _text("series", null=True),
    _whole("ordinal", null=True),
    _whole("revision"),
    _whole("version"),
    _text("state"),
    _text("client", ForeignKey("clients.id")),
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
    _text("offer", null=True),
    _text("link", null=True),
    PrimaryKeyConstraint("entry"),
    UniqueConstraint("id"),
    UniqueConstraint("series", "ordinal"),
    CheckConstraint("state IN ('draft', 'open', 'accepted', 'declined', 'withdrawn')", name="state"),
    CheckConstraint("(revision = 0) = (ordinal IS NULL)", name="numbered_when_issued"),
    CheckConstraint("paid_minor >= 0 AND paid_minor <= total_minor", name="not_overpaid"),
    Index(None, "state", "entry"),
    Index(None, "client", "entry"),
    Index(None, "first_dated", "entry"),
    Index(None, "link", unique=True),
)
revisions = _table(
    "revisions",
    _whole("entry", ForeignKey("quotes.entry")),
    _whole("revision"),
    _text("card", ForeignKey("cards.hash")),
    _whole("rules"),
    _text("priced_on"),
    _text("dated"),
    _text("valid_until"),
    _text("lapses_at"),
    _text("currency"),
    PrimaryKeyConstraint("entry", "revision"),
    CheckConstraint("revision > 0", name="counted"),
)
options = _table(
    "options",
    _whole("entry"),
    _whole("revision"),
    _whole("place"),
    _whole("quantity"),
    _whole("net_minor"),
    _whole("tax_minor"),
    _whole("total_minor"),
    _whole("deposit_minor"),
    PrimaryKeyConstraint("entry", "revision", "place"),
    ForeignKeyConstraint(["entry", "revision"], ["revisions.entry", "revisions.revision"]),
    CheckConstraint("net_minor + tax_minor = total_minor", name="adds_up"),
    CheckConstraint("deposit_minor >= 0 AND deposit_minor <= total_minor", name="deposit"),
)
papers = _table(
    "papers",
    _whole("entry", ForeignKey("quotes.entry")),
    _whole("revision"),
    _text("kind"),
    _bytes("salt"),
    _text("media_type"),
    _bytes("body"),
    PrimaryKeyConstraint("entry", "revision", "kind"),
)
words = _table(
    "words",
    _text("word"),
    _whole("entry", ForeignKey("quotes.entry")),
    PrimaryKeyConstraint("word", "entry"),
    Index(None, "entry"),
    rowid=False,
)
outbox = _table(
    "outbox",
    _whole("position", ForeignKey("events.position")),
    _text("kind"),
    _text("subject"),
    _text("made_at"),
    _text("delivered_at", null=True),
    PrimaryKeyConstraint("position"),
    Index(None, "delivered_at", "position"),
)
deliveries = _table(
    "deliveries",
    _whole("position", ForeignKey("outbox.position")),
    _text("channel"),
    _whole("attempts"),
    _text("next_at", null=True),
    _text("delivered_at", null=True),
    _text("refused", null=True),
    PrimaryKeyConstraint("position", "channel"),
    CheckConstraint("delivered_at IS NULL OR next_at IS NULL", name="over_when_delivered"),
    Index(None, "next_at", "position"),
)
requests = _table(
    "requests",
    _text("operation"),
    _text("key"),
    _text("fingerprint"),
    _text("subject"),
    _whole("version"),
    _text("at"),
    PrimaryKeyConstraint("operation", "key"),
    Index(None, "at"),
)
access_keys = _table(
    "access_keys",
    _text("id"),
    _whole("version"),
    _text("name"),
    _text("scopes"),
    _text("origins"),
    _text("hash"),
    _text("made_at"),
    _text("ends_at", null=True),
    PrimaryKeyConstraint("id"),
    UniqueConstraint("hash"),
)
budgets = _table(
    "budgets",
    _text("name"),
    _text("until"),
    _whole("used"),
    PrimaryKeyConstraint("name"),
    CheckConstraint("used >= 0", name="counted"),
    Index(None, "until"),
)

IN_ORDER = (
    counters, events, cards, clients, quotes, revisions, options, papers, words, outbox, deliveries, requests,
    access_keys, budgets,
)  # fmt: skip
