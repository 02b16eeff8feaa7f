"""
The outbox: what somebody outside must hear of, written with the change itself, and how far telling them has come.

A sender hands each change out to its channels (``hand_out``), takes what is due for a while (``claim``), and says
how it went (``delivered``, ``failed``). One that dies loses its claim when its time is over, and another takes
it up: everything is told at least once, with the same position.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from msgspec import Struct
from sqlalchemy import ColumnElement, Row, Select, and_, select, update

from quoting.book import tables
from quoting.book.chain import read_instant, written_instant
from quoting.book.desk import Desk
from quoting.book.doors import plain_words
from quoting.book.page import Page, insert_rows

_LONGEST_REFUSAL = 500


class Told(Struct, frozen=True, kw_only=True):
    """One change to be told: ``position`` is the event's, and stays the same however often it is sent."""

    position: int
    kind: str
    id: str
    made_at: datetime.datetime


class Delivery(Struct, frozen=True, kw_only=True):
    """
    One change on its way to one channel.

    ``attempts`` counts the tries, the one under way among them; ``next_at`` is when it may be tried again, and
    None when it is over: delivered, or given up because of what ``refused`` says.
    """

    told: Told
    channel: str
    attempts: int
    next_at: datetime.datetime | None
    delivered_at: datetime.datetime | None
    refused: str


class Outbox:
    """The outbox of one book."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def waiting(self, *, most: int = 100) -> tuple[Told, ...]:
        """Changes that are not handed out yet, oldest first."""
        box = tables.outbox.c
        wanted = select(tables.outbox).where(box.delivered_at.is_(None)).order_by(box.position).limit(most)
        return self._desk.read(lambda connection: tuple(_told(row) for row in connection.execute(wanted)))

    def hand_out(self, position: int, channels: Sequence[str], *, at: datetime.datetime) -> None:
        """Have a change told by some channels, each by itself, or by none. The second time does nothing."""
        names = tuple(plain_words("channel", one, least=1) for one in dict.fromkeys(channels))
        self._desk.write(lambda page: _hand_out(page, position, names, written_instant(at)))

    def claim(self, *, at: datetime.datetime, until: datetime.datetime, most: int = 20) -> tuple[Delivery, ...]:
        """
        Take what is due, oldest first, for oneself alone.

        Args:
            until: When somebody else may take it, if nothing was said of it by then.
        """
        now = written_instant(at)
        due = select(tables.deliveries.c.position).where(tables.deliveries.c.next_at <= now).limit(1)
        if self._desk.read(lambda connection: connection.execute(due).first()) is None:
            return ()
        return self._desk.write(lambda page: _claim(page, now, written_instant(until), most))

    def delivered(self, delivery: Delivery, *, at: datetime.datetime) -> bool:
        """Record that a channel took it; False where somebody else has taken it up meanwhile."""
        now = {"delivered_at": written_instant(at), "next_at": None, "refused": None}
        return self._desk.write(lambda page: _settled(page, delivery, now))

    def failed(self, delivery: Delivery, why: str, *, next_at: datetime.datetime | None) -> bool:
        """
        Record that a channel did not take it.

        Args:
            why: What was found, without what is personal; a line of up to 500 characters is kept.
            next_at: When it is tried again; None gives it up.

        Returns:
            False where somebody else has taken it up meanwhile.
        """
        refused = " ".join(why.replace("\0", " ").split())[:_LONGEST_REFUSAL]
        now = {"next_at": written_instant(next_at) if next_at else None, "refused": refused or "no reason"}
        return self._desk.write(lambda page: _settled(page, delivery, now))

    def undeliverable(self, *, after: int = 0, most: int = 100) -> tuple[Delivery, ...]:
        """What was given up, oldest first, from a position on."""
        deliveries = tables.deliveries.c
        wanted = _DELIVERIES.where(_given_up(), deliveries.position > after).order_by(*_IN_ORDER).limit(most)
        return self._desk.read(lambda connection: tuple(_delivery(row) for row in connection.execute(wanted)))

    def of(self, id: str) -> tuple[Delivery, ...]:
        """What a quotation's changes came to, channel by channel."""
        wanted = _DELIVERIES.where(tables.outbox.c.subject == id).order_by(*_IN_ORDER)
        return self._desk.read(lambda connection: tuple(_delivery(row) for row in connection.execute(wanted)))

    def try_again(self, *, at: datetime.datetime, position: int | None = None) -> int:
        """Take up what was given up, of one change or of all; how many deliveries that are."""
        return self._desk.write(lambda page: _try_again(page, written_instant(at), position))


_DELIVERIES: Select[tuple[object, ...]] = select(
    tables.deliveries, tables.outbox.c.kind, tables.outbox.c.subject, tables.outbox.c.made_at
).join(tables.outbox, tables.outbox.c.position == tables.deliveries.c.position)
_IN_ORDER = (tables.deliveries.c.position, tables.deliveries.c.channel)


def _hand_out(page: Page, position: int, channels: Sequence[str], at: str) -> None:
    page.flush()
    page.put_down += 1
    box = tables.outbox
    mine = update(box).where(box.c.position == position, box.c.delivered_at.is_(None))
    if page.connection.execute(mine.values(delivered_at=at)).rowcount:
        rest = {"position": position, "attempts": 0, "next_at": at, "delivered_at": None, "refused": None}
        insert_rows(page.connection, tables.deliveries, [{"channel": channel, **rest} for channel in channels])


def _claim(page: Page, at: str, until: str, most: int) -> tuple[Delivery, ...]:
    page.flush()
    deliveries = tables.deliveries
    due = _DELIVERIES.where(deliveries.c.next_at <= at).order_by(deliveries.c.next_at, *_IN_ORDER).limit(most)
    claimed = []
    for found in page.connection.execute(due).all():
        page.put_down += 1
        taken = update(deliveries).where(_is(found.position, found.channel))
        page.connection.execute(taken.values(attempts=found.attempts + 1, next_at=until))
        row = _DELIVERIES.where(_is(found.position, found.channel))
        claimed.append(_delivery(page.connection.execute(row).one()))
    return tuple(claimed)


def _settled(page: Page, delivery: Delivery, now: dict[str, str | None]) -> bool:
    page.flush()
    page.put_down += 1
    deliveries = tables.deliveries
    mine = _is(delivery.told.position, delivery.channel)
    still = (deliveries.c.attempts == delivery.attempts, deliveries.c.delivered_at.is_(None))
    return bool(page.connection.execute(update(deliveries).where(mine, *still).values(now)).rowcount)


def _try_again(page: Page, at: str, position: int | None) -> int:
    page.flush()
    page.put_down += 1
    again = update(tables.deliveries).where(_given_up())
    if position is not None:
        again = again.where(tables.deliveries.c.position == position)
    return page.connection.execute(again.values(next_at=at)).rowcount


def _given_up() -> ColumnElement[bool]:
    return and_(tables.deliveries.c.next_at.is_(None), tables.deliveries.c.delivered_at.is_(None))


def _is(position: int, channel: str) -> ColumnElement[bool]:
    return and_(tables.deliveries.c.position == position, tables.deliveries.c.channel == channel)


def _told(row: Row[tuple[object, ...]]) -> Told:
    return Told(position=row.position, kind=row.kind, id=row.subject, made_at=read_instant(row.made_at))


def _delivery(row: Row[tuple[object, ...]]) -> Delivery:
    return Delivery(
        told=_told(row),
        channel=row.channel,
        attempts=row.attempts,
        next_at=read_instant(row.next_at) if row.next_at else None,
        delivered_at=read_instant(row.delivered_at) if row.delivered_at else None,
        refused=row.refused or "",
    )
