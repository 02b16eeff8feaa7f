"""The outbox: what somebody outside must hear of, written with the change itself; delivering is another's work."""

from __future__ import annotations

import datetime

from msgspec import Struct
from sqlalchemy import Connection, select, update

from quoting.book import tables
from quoting.book.chain import read_instant, written_instant
from quoting.book.page import Page


class Told(Struct, frozen=True, kw_only=True):
    """One change to be told: ``position`` is the event's, and stays the same however often it is sent."""

    position: int
    kind: str
    id: str
    made_at: datetime.datetime


def waiting(connection: Connection, *, most: int = 100) -> tuple[Told, ...]:
    """Changes that nobody has been told of yet, oldest first."""
    outbox = tables.outbox.c
    wanted = select(tables.outbox).where(outbox.delivered_at.is_(None)).order_by(outbox.position).limit(most)
    return tuple(
        Told(position=row.position, kind=row.kind, id=row.subject, made_at=read_instant(row.made_at))
        for row in connection.execute(wanted)
    )


def delivered(page: Page, position: int, *, at: datetime.datetime) -> None:
    """Record that a change was told."""
    page.flush()
    outbox = tables.outbox
    mine = update(outbox).where(outbox.c.position == position, outbox.c.delivered_at.is_(None))
    page.put_down += 1
    page.connection.execute(mine.values(delivered_at=written_instant(at)))
