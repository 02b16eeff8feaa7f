"""Lists of quotations, newest first, page by page; each question goes along an index, however long the book is."""

from __future__ import annotations

import base64
import binascii
import datetime
import hashlib
from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec import Struct
from sqlalchemy import ColumnElement, Connection, FromClause, Row, Select, and_, or_, select

from quoting.book import tables
from quoting.book.chain import read_instant, written_instant
from quoting.book.doors import plain_words
from quoting.book.papers import folded_words
from quoting.book.states import State, read_number, written_number
from quoting.errors import CursorError, Fault, InputError

MOST_A_PAGE = 200


class Wanted(Struct, frozen=True, kw_only=True):
    """
    Which quotations are listed: all that fit everything that is told.

    ``text``: whole words of the client's name and company, title, reference and items' names.
    Days are those on which quotations were first issued; told either, the list goes by day.
    """

    state: State | None = None
    client: str | None = None
    series: str | None = None
    number: str = ""
    text: str = ""
    dated_from: datetime.date | None = None
    dated_until: datetime.date | None = None

    @property
    def by_day(self) -> bool:
        """Whether the list goes by day of issue."""
        return self.dated_from is not None or self.dated_until is not None


class Listed(Struct, frozen=True, kw_only=True):
    """One quotation of a list; ``state`` is the one at the time of asking."""

    id: str
    number: str
    revision: int
    version: int
    state: State
    client: str
    client_name: str
    title: str
    dated: datetime.date | None
    valid_until: datetime.date | None
    currency: str
    total_minor: int
    paid_minor: int
    made_at: datetime.datetime
    changed_at: datetime.datetime


class Listing(Struct, frozen=True, kw_only=True):
    """A page of a list; ``cursor`` asks for the next one and is empty after the last."""

    quotations: tuple[Listed, ...]
    cursor: str


def listing(
    connection: Connection, wanted: Wanted, *, at: datetime.datetime, most: int = 50, cursor: str = ""
) -> Listing:
    """
    One page of a list.

    Raises:
        InputError: a page of none, or of more than 200.
        CursorError: a cursor that no page of this list gave.
    """
    if not 1 <= most <= MOST_A_PAGE:
        raise InputError([Fault("limit", f"1 to {MOST_A_PAGE}", str(most))])
    for where in ("client", "series", "number"):
        plain_words(where, getattr(wanted, where) or "")
    if wanted.state == "replaced":
        raise InputError([Fault("state", "a state of quotations; revisions are replaced", "'replaced'")])
    rows = connection.execute(statement_for(wanted, at, cursor).limit(most + 1)).all()
    more = _cursor(wanted, rows[most - 1]) if len(rows) > most else ""
    return Listing(quotations=tuple(_listed(row, at) for row in rows[:most]), cursor=more)


def statement_for(wanted: Wanted, at: datetime.datetime, cursor: str = "") -> Select[Any]:
    """What is asked of the database: rows of quotations in the order of the list, from a cursor on."""
    looked_for = dict.fromkeys(folded_words(wanted.text))
    words = [tables.words.alias() for _ in looked_for]
    entry = words[0].c.entry if words else tables.quotes.c.entry  # along the index of the first word
    statement = _with_words(select(tables.quotes), words).where(*_conditions(wanted, at))
    for has, word in zip(words, looked_for, strict=True):
        statement = statement.where(has.c.word == word)
    if cursor:
        statement = statement.where(_after(wanted, cursor, entry))
    days = [tables.quotes.c.first_dated.desc()] if wanted.by_day else []
    return statement.order_by(*days, entry.desc())


def _conditions(wanted: Wanted, at: datetime.datetime) -> list[ColumnElement[bool]]:
    quotes, now = tables.quotes.c, written_instant(at)
    conditions: list[ColumnElement[bool]] = []
    if wanted.state is not None:
        conditions.append(quotes.state == ("open" if wanted.state == "lapsed" else wanted.state))
    if wanted.state in {"open", "lapsed"}:
        conditions.append(quotes.lapses_at > now if wanted.state == "open" else quotes.lapses_at <= now)
    if wanted.client is not None:
        conditions.append(quotes.client == wanted.client)
    if wanted.series is not None:
        conditions.append(quotes.series == wanted.series)
    if wanted.number:
        series, ordinal = read_number(wanted.number) or ("", 0)
        conditions += [quotes.series == series, quotes.ordinal == ordinal]
    if wanted.dated_from is not None:
        conditions.append(quotes.first_dated >= wanted.dated_from.isoformat())
    if wanted.by_day:
        conditions.append(quotes.first_dated <= (wanted.dated_until or datetime.date.max).isoformat())
    return conditions


def _with_words(statement: Select[Any], words: Sequence[FromClause]) -> Select[Any]:
    """Those that have every word: found from the words, never by looking through the quotations."""
    for has in words:
        statement = statement.join(has, has.c.entry == tables.quotes.c.entry)
    return statement


def _after(wanted: Wanted, cursor: str, entry: ColumnElement[int]) -> ColumnElement[bool]:
    day, last = _read_cursor(wanted, cursor)
    if not wanted.by_day:
        return and_(entry < last, tables.quotes.c.entry < last)  # PostgreSQL does not carry one over to the other
    first_dated = tables.quotes.c.first_dated
    return or_(first_dated < day, and_(first_dated == day, entry < last))


def _cursor(wanted: Wanted, row: Row[Any]) -> str:
    told = msgspec.json.encode((row.first_dated if wanted.by_day else "", row.entry))
    return base64.urlsafe_b64encode(_seal(wanted, told) + told).decode()


def _read_cursor(wanted: Wanted, cursor: str) -> tuple[str, int]:
    try:
        plain = base64.b64decode(cursor.encode("ascii"), altchars=b"-_", validate=True)
        if plain[:12] != _seal(wanted, plain[12:]):
            raise CursorError
        return msgspec.json.decode(plain[12:], type=tuple[str, int])
    except (binascii.Error, UnicodeEncodeError, msgspec.MsgspecError) as error:
        raise CursorError from error


def _seal(wanted: Wanted, told: bytes) -> bytes:
    return hashlib.sha256(msgspec.json.encode(wanted) + told).digest()[:12]


def _listed(row: Row[Any], at: datetime.datetime) -> Listed:
    lapsed = row.state == "open" and at >= read_instant(row.lapses_at)
    return Listed(
        id=row.id,
        number=written_number(row.series, row.ordinal) if row.ordinal else "",
        revision=row.revision,
        version=row.version,
        state="lapsed" if lapsed else row.state,
        client=row.client,
        client_name=row.client_name or "",
        title=row.title or "",
        dated=datetime.date.fromisoformat(row.dated) if row.dated else None,
        valid_until=datetime.date.fromisoformat(row.valid_until) if row.valid_until else None,
        currency=row.currency,
        total_minor=row.total_minor,
        paid_minor=row.paid_minor,
        made_at=read_instant(row.made_at),
        changed_at=read_instant(row.changed_at),
    )
