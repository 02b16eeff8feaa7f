"""Finding what the book holds of one quotation."""

from __future__ import annotations

import datetime

from msgspec import Struct
from sqlalchemy import Connection, select

from quoting.book import tables
from quoting.book.chain import Event, entry_from, read_instant
from quoting.book.doors import number_or_id
from quoting.book.page import Asked, events_of, id_of, led_to, requests_in
from quoting.book.papers import Paper, Sealed, unpacked
from quoting.book.prepared import Prepared, prepared_again
from quoting.book.states import Entry
from quoting.errors import PaperNotKeptError, QuoteNotFoundError


def entry_in(connection: Connection, which: str) -> Entry:
    """A quotation as it stands, by number or id."""
    entry = entry_from(history_in(connection, which))
    if entry is None:
        raise QuoteNotFoundError(which)
    return entry


def answered_in(connection: Connection, asked: Asked) -> Entry | None:
    """A quotation as the same request left it when it first came; None where it did not come."""
    (row,) = requests_in(connection, [asked]).values()
    before = led_to(asked, row)
    return entry_from(events_of(connection, before[0])[: before[1]]) if before else None


def history_in(connection: Connection, which: str) -> tuple[Event, ...]:
    """Everything that befell a quotation or a client."""
    events = events_of(connection, number_or_id(which)) or events_of(connection, id_of(connection, which))
    if not events:
        raise QuoteNotFoundError(which)
    return tuple(events)


def paper_in(connection: Connection, which: str, kind: str, revision: int | None) -> Paper:
    """One paper of a revision; of the newest where none is told."""
    history = history_in(connection, which)
    entry = entry_from(history)
    wanted = revision if revision is not None or entry is None else entry.revision
    papers = papers_of(connection, history[0].position, wanted)
    if kind not in papers:
        raise PaperNotKeptError(which, kind)
    return papers[kind].paper


def papers_of(connection: Connection, place: int, revision: int | None) -> dict[str, Sealed]:
    """Every paper of a revision, by kind."""
    paper = tables.papers.c
    rows = connection.execute(select(tables.papers).where(paper.entry == place, paper.revision == revision))
    return {row.kind: Sealed(row.revision, row.kind, row.salt, row.media_type, row.body) for row in rows}


class CardVersion(Struct, frozen=True, kw_only=True):
    """A published version of a rate card; ``hash`` is its content's, and the owner's alone."""

    hash: str
    name: str
    version: str
    published_at: datetime.datetime


def card_versions(connection: Connection) -> tuple[CardVersion, ...]:
    """Every published version of a rate card, oldest first."""
    cards = tables.cards.c
    wanted = select(cards.hash, cards.name, cards.version, cards.published_at).order_by(
        cards.published_at, cards.hash
    )
    return tuple(
        CardVersion(hash=row.hash, name=row.name, version=row.version, published_at=read_instant(row.published_at))
        for row in connection.execute(wanted)
    )


def draft_in(connection: Connection, which: str) -> tuple[Entry, Prepared | None]:
    """A draft and what it is issued from; nothing of the latter where it is no draft any more."""
    history = history_in(connection, which)
    entry = entry_from(history)
    if entry is None:
        raise QuoteNotFoundError(which)
    papers = papers_of(connection, history[0].position, 0)
    body = connection.execute(select(tables.cards.c.body).where(tables.cards.c.hash == entry.terms.card)).scalar()
    if entry.state != "draft" or body is None:
        return entry, None
    return entry, prepared_again(papers, entry.terms, unpacked(body))
