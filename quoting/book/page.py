"""
The page that is being written: what one transaction adds to the book.

Works read first, then put rows down; rows wait here and go to the database together, each table in one
statement, so that many requests cost little more than one.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from functools import cache
from operator import itemgetter
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, Table, UpdateBase, bindparam, delete, select, text, tuple_, update
from sqlalchemy.dialects.postgresql.base import PGDialect

from quoting.book import tables
from quoting.book.chain import Event, entry_from, linked, request_mark, written_instant
from quoting.book.changes import TOLD, Change, Drafted, tag_of
from quoting.book.doors import number_or_id
from quoting.book.papers import Chance, Sealed
from quoting.book.states import Entry, read_number
from quoting.errors import KeyUsedError, QuoteNotFoundError

Row = dict[str, Any]
_EVENTS = select(tables.events).where(tables.events.c.subject == bindparam("subject"))
_HISTORY = _EVENTS.order_by(tables.events.c.version)
_COUNTER = select(tables.counters.c.last).where(tables.counters.c.series == bindparam("series"))
_REQUESTS = select(tables.requests).where(
    tuple_(tables.requests.c.operation, tables.requests.c.key).in_(bindparam("asked", expanding=True))
)
_PUT_COUNTER = text(
    "INSERT INTO counters (series, last) VALUES (:series, :last)"
    " ON CONFLICT (series) DO UPDATE SET last = excluded.last"
)
_POSTGRESQL = PGDialect()  # type: ignore[no-untyped-call]  # its dialects have no types
_LAST = select(tables.events).order_by(tables.events.c.position.desc()).limit(1)


class Asked(Struct, frozen=True):
    """A request that may come twice: its key, and what tells it from another."""

    operation: str
    key: str
    fingerprint: str
    since: str = ""
    """The earliest that its key may have come before, as an instant is written; any time, if empty."""

    @property
    def mark(self) -> str:
        """What the history holds of it."""
        return request_mark(self.operation, self.key, self.fingerprint)


class Moment(Struct, frozen=True):
    """When a move is made and by whom; salts and ids come from ``chance``."""

    at: datetime.datetime
    by: str
    chance: Chance


class Page:
    """Rows put down in one transaction, and what must be known of the book to put them down."""

    def __init__(self, connection: Connection, coming: Sequence[Asked] = ()) -> None:
        """
        An empty page.

        Args:
            coming: Requests that it is written for; what is kept of all of them is asked in one question.
        """
        self.connection = connection
        self.asked: Asked | None = None
        self._caused: Event | None = None
        self.put_down = 0
        self.clients: dict[str, str] = {}
        self.cards: dict[tuple[str, str], str] = {}
        self._last: Event | None = None
        self._events: dict[str, list[Event]] = {}
        self._requests: dict[tuple[str, str], Row | None] = requests_in(connection, coming)
        self._counters: dict[str, int] = {}
        self._rows: dict[Table, list[Row]] = {}
        self._begun: set[int] = set()
        self._new_quotes: dict[int, Entry] = {}
        self._changed_quotes: dict[int, Entry] = {}
        self._papers: dict[tuple[int, str], Row] = {}
        self._papers_gone: list[Row] = []
        self._words: dict[int, tuple[str, ...]] = {}
        self._words_gone: list[Row] = []
        self._labels: dict[int, Row] = {}

    def events_of(self, subject: str) -> list[Event]:
        """The history of a quotation, a client or a card, this page's events among it."""
        if subject not in self._events:
            self._events[subject] = events_of(self.connection, subject)
        return self._events[subject]

    def begin_history(self, subject: str) -> None:
        """A subject that was named by chance just now has none: nobody needs to ask for it."""
        self._events[subject] = []

    def quotation(self, which: str) -> tuple[int, Entry]:
        """
        The row and the entry of a quotation, by id or number.

        Raises:
            QuoteNotFoundError: none goes by it.
        """
        if read_number(number_or_id(which)):
            self.flush()  # its number may have been given on this page
        events = self.events_of(which) or self.events_of(id_of(self.connection, which))
        entry = entry_from(events)
        if entry is None:
            raise QuoteNotFoundError(which)
        return events[0].position, entry

    def add(self, subject: str, change: Change, *, at: datetime.datetime, by: str) -> Event:
        """Put one event at the end of the history, and into the outbox if somebody must hear of it."""
        history = self.events_of(subject)
        event = linked(
            self._last or last_event(self.connection),
            subject=subject,
            version=len(history) + 1,
            kind=tag_of(type(change)),
            at=written_instant(at),
            by=by,
            request=self.asked.mark if self.asked else "",
            change=change,
        )
        self._last = self._caused = event
        history.append(event)
        if isinstance(change, Drafted) and event.version == 1:
            self._begun.add(event.position)
        self.put(tables.events, row_of(event))
        if isinstance(change, TOLD):
            told = {"position": event.position, "kind": event.kind, "subject": subject, "made_at": event.at}
            self.put(tables.outbox, told | {"delivered_at": None})
        return event

    def put(self, table: Table, row: Row) -> None:
        """Put one row down."""
        self.put_down += 1
        self._rows.setdefault(table, []).append(row)

    def put_quotation(self, place: int, entry: Entry) -> None:
        """Put down how a quotation stands now."""
        self.put_down += 1
        waiting = self._new_quotes if place in self._begun else self._changed_quotes
        waiting[place] = entry

    def put_labels(self, place: int, *, client_name: str | None, title: str | None, words: Sequence[str]) -> None:
        """Put down what a quotation is found by and shown as, in place of what was."""
        self.put_down += 1
        self._labels[place] = {"entry_": place, "client_name": client_name, "title": title}
        if place not in self._begun:
            self._words_gone.append({"entry_": place})
        self._words[place] = tuple(words)

    def put_paper(self, place: int, sealed: Sealed) -> None:
        """Put a paper down."""
        self.put_down += 1
        row = {"entry": place, **{name: getattr(sealed, name) for name in Sealed.__struct_fields__}}
        self._papers[place, sealed.label] = row

    def take_papers(self, place: int, labels: Sequence[str]) -> None:
        """Take papers away."""
        self.put_down += 1
        for label in labels:
            revision, _, kind = label.partition("/")
            if self._papers.pop((place, label), None) is None:
                self._papers_gone.append({"entry_": place, "revision_": int(revision), "kind_": kind})

    def next_ordinal(self, series: str) -> int:
        """The next number of a series; it is used up when this page is kept, and only then."""
        if series not in self._counters:
            found = self.connection.execute(_COUNTER, {"series": series}).scalar()
            self._counters[series] = found or 0
        self.put_down += 1
        self._counters[series] += 1
        return self._counters[series]

    def execute(self, statement: UpdateBase) -> None:
        """Change rows that no other work of this page may be waiting to write."""
        self.put_down += 1
        self.connection.execute(statement)

    def led_to_before(self, asked: Asked) -> tuple[str, int] | None:
        """
        What a request led to when it first came: a subject, and the version it then had.

        Raises:
            KeyUsedError: its key came with another request.
        """
        row = self._requests[asked.operation, asked.key]
        if row is None or row["at"] >= asked.since:
            return led_to(asked, row)
        mine = tables.requests.c
        self.execute(delete(tables.requests).where(mine.operation == asked.operation, mine.key == asked.key))
        return None

    def begin(self, asked: Asked) -> None:
        """From now on, what is put down is because of a request."""
        self.asked, self._caused = asked, None

    def keep_request(self, asked: Asked) -> None:
        """Keep what a request led to; nothing of one that changed nothing."""
        event = self._caused
        if event is None:
            return
        row = {
            "operation": asked.operation,
            "key": asked.key,
            "fingerprint": asked.fingerprint,
            "subject": event.subject,
            "version": event.version,
            "at": event.at,
        }
        self._requests[asked.operation, asked.key] = row
        self.put(tables.requests, row)

    def flush(self) -> None:
        """Write every row that waits."""
        self._write_rows(tables.events, tables.cards, tables.clients, tables.access_keys)
        self._write_quotes()
        self._write_rows(tables.revisions, tables.options)
        self._write_papers()
        self._write_rows(tables.outbox, tables.requests)
        self._write_counters()

    def _many(self, statement: Any, rows: Sequence[Row]) -> None:
        if rows:
            self.connection.execute(statement, list(rows))

    def _write_rows(self, *wanted: Table) -> None:
        for table in wanted:
            insert_rows(self.connection, table, self._rows.pop(table, ()))

    def _write_quotes(self) -> None:
        new = [
            {**quote_columns(entry), **self._labels.pop(place), "entry": place}
            for place, entry in self._new_quotes.items()
        ]
        insert_rows(self.connection, tables.quotes, new)
        changed = [{"entry_": place, **quote_columns(entry)} for place, entry in self._changed_quotes.items()]
        mine = tables.quotes.c.entry == bindparam("entry_")
        self._many(update(tables.quotes).where(mine), changed)
        self._many(update(tables.quotes).where(mine), list(self._labels.values()))
        for waiting in (self._new_quotes, self._changed_quotes, self._labels, self._begun):
            waiting.clear()

    def _write_papers(self) -> None:
        paper, word = tables.papers.c, tables.words.c
        gone = delete(tables.papers).where(
            paper.entry == bindparam("entry_"),
            paper.revision == bindparam("revision_"),
            paper.kind == bindparam("kind_"),
        )
        self._many(gone, self._papers_gone)
        insert_rows(self.connection, tables.papers, list(self._papers.values()))
        self._many(delete(tables.words).where(word.entry == bindparam("entry_")), self._words_gone)
        rows = [{"word": one, "entry": place} for place, found in self._words.items() for one in found]
        insert_rows(self.connection, tables.words, rows)
        for waiting in (self._papers_gone, self._papers, self._words_gone, self._words):
            waiting.clear()

    def _write_counters(self) -> None:
        if not self._counters:
            return
        rows = [{"series": series, "last": last} for series, last in self._counters.items()]
        self._many(_PUT_COUNTER, rows)


def insert_rows(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Insert rows that have every column of a table, past SQLAlchemy's compiler, which costs more than SQLite."""
    if not rows:
        return
    statement, in_order = _insert(table, connection.dialect.name)
    values = [in_order(row) for row in rows]
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(statement, values)
    else:
        connection.exec_driver_sql(statement, tuple(map(list, zip(*values, strict=True))))


@cache
def _insert(table: Table, engine: str) -> tuple[str, Callable[[Row], tuple[Any, ...]]]:
    """How rows go into a table: one by one on SQLite, as an array of each column on PostgreSQL, in one statement."""
    columns = tuple(column.name for column in table.columns)
    names = ", ".join(f'"{name}"' for name in columns)
    into = f"INSERT INTO {table.name} ({names})"
    if engine == "sqlite":
        return f"{into} VALUES ({', '.join('?' * len(columns))})", itemgetter(*columns)
    kinds = [column.type.compile(dialect=_POSTGRESQL) for column in table.columns]
    arrays = ", ".join(f"%s::{kind}[]" for kind in kinds)
    return f"{into} SELECT * FROM unnest({arrays})", itemgetter(*columns)


def events_of(connection: Connection, subject: str) -> list[Event]:
    """The history of a quotation, a client or a card."""
    return [Event(**row) for row in connection.execute(_HISTORY, {"subject": subject}).mappings()]


def events_after(connection: Connection, position: int, most: int) -> tuple[Event, ...]:
    """The events of the book that come after a position."""
    events = tables.events.c
    wanted = select(tables.events).where(events.position > position).order_by(events.position).limit(most)
    return tuple(Event(**row) for row in connection.execute(wanted).mappings())


def last_event(connection: Connection) -> Event | None:
    """The newest event of the book."""
    row = connection.execute(_LAST).mappings().first()
    return Event(**row) if row else None


def id_of(connection: Connection, which: str) -> str:
    """The id of a quotation, by its number; what was given where that is none."""
    number = read_number(which)
    if number is None:
        return which
    quotes = tables.quotes.c
    found = select(quotes.id).where(quotes.series == number[0], quotes.ordinal == number[1])
    return connection.execute(found).scalar() or which


def row_of(event: Event) -> Row:
    """An event as its row."""
    return {name: getattr(event, name) for name in Event.__struct_fields__}


def quote_columns(entry: Entry) -> Row:
    """What is searched of an entry, as its row in ``quotes``."""
    days = entry.days
    return {
        "id": entry.id,
        "series": entry.series or None,
        "ordinal": entry.ordinal or None,
        "revision": entry.revision,
        "version": entry.version,
        "state": entry.state,
        "client": entry.client,
        "made_at": written_instant(entry.made_at),
        "changed_at": written_instant(entry.changed_at),
        "first_dated": entry.first_dated.isoformat() if entry.first_dated else None,
        "dated": days.dated.isoformat() if days else None,
        "valid_until": days.valid_until.isoformat() if days else None,
        "lapses_at": written_instant(days.lapses_at) if days else None,
        "currency": entry.terms.currency,
        "total_minor": entry.total_minor,
        "deposit_minor": entry.deposit_minor,
        "paid_minor": entry.paid_minor,
        "accepted": entry.accepted,
        "erased": int(entry.erased),
        "offer": entry.offer or None,
        "link": entry.link.hash if entry.link else None,
    }


def led_to(asked: Asked, row: Row | None) -> tuple[str, int] | None:
    """
    The subject and version that a request led to, by what was kept of the one with its key.

    Raises:
        KeyUsedError: that was another request.
    """
    if row is None or row["at"] < asked.since:
        return None
    if row["fingerprint"] != asked.fingerprint:
        raise KeyUsedError(asked.key)
    return row["subject"], row["version"]


def requests_in(connection: Connection, asked: Sequence[Asked]) -> dict[tuple[str, str], Row | None]:
    """What is kept of each of some requests, by operation and key."""
    found: dict[tuple[str, str], Row | None] = {(one.operation, one.key): None for one in asked}
    if found:
        for row in connection.execute(_REQUESTS, {"asked": list(found)}).mappings():
            found[row["operation"], row["key"]] = dict(row)
    return found
