"""
``verify``: the history against itself, every row against the history, every price against the engine.

What was tampered with does not follow from the history; what drifted was kept rightly, and today's engine
gives another price under the same rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, Table, exists, func, select

from quoting.book import tables
from quoting.book.access_keys import key_columns
from quoting.book.address_book import client_commitment, sameness
from quoting.book.address_book import read as read_client
from quoting.book.chain import BEGINNING, Event, link_hash, request_mark, written_instant
from quoting.book.changes import TOLD, CardPublished, ClientErased, ClientKept, KeyEnded, KeyMade, after, tag_of
from quoting.book.moves import revision_rows
from quoting.book.page import quote_columns
from quoting.book.papers import Sealed, shown_name, storable, unpacked, words_of
from quoting.book.repricing import Engine, drift_of
from quoting.book.states import Entry
from quoting.errors import QuotingError
from quoting.quotation import Quotation
from quoting.reader import from_json

_AT_ONCE = 200
_TOLD = {tag_of(kind) for kind in TOLD}
Rows = dict[Any, list[dict[str, Any]]]


class Report(Struct, frozen=True, kw_only=True):
    """
    What verifying found: nothing in ``tampering`` and ``drift`` of a book that is sound.

    ``not_recomputed`` names revisions of rules that this version of the library does not have.
    """

    events: int
    head: str
    quotations: int
    recomputed: int
    tampering: tuple[str, ...]
    drift: tuple[str, ...]
    not_recomputed: tuple[str, ...]

    @property
    def is_sound(self) -> bool:
        """Whether nothing was found."""
        return not self.tampering and not self.drift


class Anchor(Struct, frozen=True):
    """Position and hash of an event, written down outside the book: nothing up to it may have changed since."""

    position: int
    hash: str


def verify(connection: Connection, engines: Mapping[int, Engine], anchor: Anchor | None = None) -> Report:
    """
    Hold the whole book against its history.

    Args:
        engines: What works out an estimate, by rules number; none to leave prices alone.
        anchor: An event that must still stand as it was written down.
    """
    counted, head, tampering = 0, BEGINNING, []
    for event, fault in _chain(connection, anchor):
        counted, head = counted + 1, event.hash
        tampering += [fault] if fault else []
    if anchor is not None and counted < anchor.position:
        tampering.append(f"event {anchor.position}: expected it; found {counted} events")
    tampering += [fault for check in _CHECKS for fault in _told(check, connection)]
    drift, missing, quotations, recomputed = [], [], 0, 0
    for found in _quotations(connection):
        quotations += 1
        if isinstance(found, str):
            tampering.append(found)
            continue
        faults = _faults_of(found)
        tampering += faults
        for entry in found.revisions if engines and not faults and not found.entry.erased else ():
            told = drift_of(connection, found.place, entry, engines)
            recomputed += told is not None
            drift += [told] if told else []
            missing += [f"{entry.number} revision {entry.revision}"] if told is None else []
    return Report(
        events=counted,
        head=head,
        quotations=quotations,
        recomputed=recomputed,
        tampering=tuple(tampering),
        drift=tuple(drift),
        not_recomputed=tuple(missing),
    )


def _told(check: Callable[[Connection], Iterator[str]], connection: Connection) -> Iterator[str]:
    try:
        yield from check(connection)
    except (ValueError, QuotingError):  # what the history says there was tampered with
        yield f"{check.__name__.strip('_')}: expected rows and events that can be read; found one that cannot"


def _chain(connection: Connection, anchor: Anchor | None) -> Iterator[tuple[Event, str]]:
    previous, position = BEGINNING, 0
    statement = select(tables.events).order_by(tables.events.c.position)
    for row in connection.execute(statement, execution_options={"yield_per": 1000}).mappings():
        event = Event(**row)
        position += 1
        yield event, _link_fault(event, previous, position, anchor)
        previous, position = event.hash, event.position


def _link_fault(event: Event, previous: str, position: int, anchor: Anchor | None) -> str:
    if event.position != position or event.previous != previous or event.hash != link_hash(event):
        return f"event {event.position}: expected the next link of the history; found another"
    if anchor is not None and anchor.position == event.position and anchor.hash != event.hash:
        return f"event {event.position}: expected the hash that was written down; found another"
    try:
        said = tag_of(type(event.change))
    except ValueError:  # msgspec's errors are ValueErrors
        return f"event {event.position}: expected a change of the book; found something else"
    return "" if said == event.kind else f"event {event.position}: expected {said}; found {event.kind}"


class _Found(Struct, kw_only=True):
    place: int
    row: dict[str, Any]
    events: list[Event]
    entry: Entry
    revisions: list[Entry]
    papers: list[dict[str, Any]]
    words: set[str]
    kept: dict[str, list[dict[str, Any]]]


def _quotations(connection: Connection) -> Iterator[_Found | str]:
    last = 0
    quotes = tables.quotes
    while True:
        batch = select(quotes).where(quotes.c.entry > last).order_by(quotes.c.entry).limit(_AT_ONCE)
        rows = [dict(row) for row in connection.execute(batch).mappings()]
        if not rows:
            return
        last = rows[-1]["entry"]
        yield from _batch(connection, rows)


def _batch(connection: Connection, rows: list[dict[str, Any]]) -> Iterator[_Found | str]:
    places = [row["entry"] for row in rows]
    events = _by(connection, tables.events, "subject", [row["id"] for row in rows], "version")
    kept = {table.name: _by(connection, table, "entry", places, *order) for table, order in _OF_QUOTATIONS.items()}
    for row in rows:
        history = [Event(**event) for event in events[row["id"]]]
        entry, revisions = _replayed(history)
        if entry is None:
            yield f"quotation {row['entry']}: expected a history of it; found none that can be read"
            continue
        mine = {name: found[row["entry"]] for name, found in kept.items()}
        yield _Found(
            place=row["entry"],
            row=row,
            events=history,
            entry=entry,
            revisions=revisions,
            papers=mine.pop("papers"),
            words={one["word"] for one in mine.pop("words")},
            kept=mine,
        )


_OF_QUOTATIONS: dict[Table, tuple[str, ...]] = {
    tables.papers: ("revision", "kind"),
    tables.words: ("word",),
    tables.revisions: ("revision",),
    tables.options: ("revision", "place"),
}


def _by(connection: Connection, table: Table, column: str, values: Sequence[Any], *order: str) -> Rows:
    found: Rows = defaultdict(list)
    wanted = select(table).where(table.c[column].in_(values)).order_by(*(table.c[name] for name in order))
    for row in connection.execute(wanted).mappings():
        found[row[column]].append(dict(row))
    return found


def _replayed(events: Sequence[Event]) -> tuple[Entry | None, list[Entry]]:
    entry: Entry | None = None
    revisions: list[Entry] = []
    try:
        for event in events:
            change: Any = event.change
            entry = after(entry, change, id=event.subject, at=event.instant)
            if event.kind in {"issued", "revised"}:
                revisions.append(entry)
    except (ValueError, KeyError):
        return None, []
    return entry, revisions


def _faults_of(found: _Found) -> list[str]:
    named = found.entry.named
    expected = {"entry": found.events[0].position, **quote_columns(found.entry)}
    faults = [
        f"{named}: {name}: expected {value!r}; found {found.row[name]!r}"
        for name, value in expected.items()
        if found.row[name] != value
    ]
    rows = [row for entry in found.revisions for row in revision_rows(found.place, entry)]
    for table in (tables.revisions, tables.options):
        if [row for of, row in rows if of is table] != found.kept[table.name]:
            faults.append(f"{named}: {table.name}: expected what was issued; found another")
    return faults + _paper_faults(found) + _label_faults(found)


def _paper_faults(found: _Found) -> list[str]:
    kept = {}
    for row in found.papers:
        sealed = _sealed(row)
        kept[sealed.label] = sealed.commitment
    expected = found.entry.commitments
    return [
        f"{found.entry.named}: {label}: expected {'it as it was kept' if label in expected else 'nothing'};"
        f" found {'another' if label in kept else 'none'}"
        for label in sorted(expected.keys() | kept.keys())
        if expected.get(label) != kept.get(label)
    ]


def _label_faults(found: _Found) -> list[str]:
    expected = _labels(found)
    told = (found.row["client_name"], found.row["title"], found.words)
    return [] if expected == told else [f"{found.entry.named}: words: expected the quotation's; found others"]


def _labels(found: _Found) -> tuple[str | None, str | None, set[str]]:
    if found.entry.erased:
        return None, None, set()
    try:
        quotation = from_json(_sealed(_newest(found, "quotation")).paper.content, Quotation)
    except (QuotingError, LookupError, ValueError):  # told as a paper that is not as it was kept
        return None, None, set()
    return shown_name(quotation), storable(quotation.title), set(words_of(quotation))


def _newest(found: _Found, kind: str) -> dict[str, Any]:
    wanted = (found.entry.revision, kind)
    return {(row["revision"], row["kind"]): row for row in found.papers}[wanted]


def _sealed(row: Mapping[str, Any]) -> Sealed:
    return Sealed(row["revision"], row["kind"], row["salt"], row["media_type"], row["body"])


def _strangers(connection: Connection) -> Iterator[str]:
    """Rows of quotations that are not in the book, and events of nobody's."""
    for table in (tables.papers, tables.words, tables.revisions, tables.options):
        known = select(tables.quotes.c.entry)
        for place in connection.execute(select(table.c.entry).where(table.c.entry.not_in(known)).limit(5)).scalars():
            yield f"{table.name} {place}: expected a quotation of it; found none"
    events, outbox = tables.events.c, tables.outbox.c
    for position in connection.execute(
        select(outbox.position).where(outbox.position.not_in(select(events.position)))
    ):
        yield f"outbox {position[0]}: expected its event; found none"
    known_subjects = (tables.quotes.c.id, tables.clients.c.id, tables.cards.c.hash, tables.access_keys.c.id)
    nobody = [events.subject.not_in(select(column)) for column in known_subjects]
    for position in connection.execute(select(events.position).where(*nobody).limit(5)).scalars():
        yield f"event {position}: expected the row of its subject; found none"


def _counters(connection: Connection) -> Iterator[str]:
    quotes, counters = tables.quotes.c, tables.counters
    given = select(quotes.series, func.max(quotes.ordinal), func.count()).where(quotes.ordinal.is_not(None))
    found = {series: (last, count) for series, last, count in connection.execute(given.group_by(quotes.series))}
    told: dict[str, int] = {row.series: row.last for row in connection.execute(select(counters))}
    for series in sorted(found.keys() | told.keys()):
        last, count = found.get(series, (0, 0))
        if not last == count == told.get(series):
            yield f"series {series}: expected 1 to {last} without a gap; found {count}, counted {told.get(series)}"


def _cards(connection: Connection) -> Iterator[str]:
    for row in connection.execute(select(tables.cards)):
        events = _events_of(connection, row.hash)
        said = CardPublished(row.name, row.version, sha256(row.body).hexdigest())
        as_said = events and all(event.change == said for event in events) and events[0].at == row.published_at
        if not as_said or not _is_card(row):
            yield f"card {row.name} {row.version}: expected it as it was published; found another"


def _is_card(row: Any) -> bool:
    try:
        return sha256(unpacked(row.body)).hexdigest() == str(row.hash)
    except ValueError:
        return False


def _events_of(connection: Connection, subject: str) -> list[Event]:
    return [Event(**one) for one in _by(connection, tables.events, "subject", [subject], "version")[subject]]


def _clients(connection: Connection) -> Iterator[str]:
    for row in connection.execute(select(tables.clients)).all():
        events = _events_of(connection, row.id)
        if not events or row.version != len(events) or not _client_stands(connection, row, events[-1]):
            yield f"client {row.id}: expected them as they were kept; found another"


def _client_stands(connection: Connection, row: Any, last: Event) -> bool:
    change = last.change
    if isinstance(change, ClientErased):
        return bool(row.erased) and row.body is None and row.salt is None and row.same_as is None
    kept = isinstance(change, ClientKept) and not row.erased and row.body is not None and row.salt is not None
    if not kept or client_commitment(row.salt, row.body) != getattr(change, "commitment", ""):
        return False
    contact = read_client(connection, row.id).contact  # its bytes are what was committed to
    return contact is not None and sameness(contact) == row.same_as


def _access_keys(connection: Connection) -> Iterator[str]:
    for row in connection.execute(select(tables.access_keys)).mappings().all():
        events = _events_of(connection, row["id"])
        if _key_row(events) != dict(row):
            yield f"key {row['id']}: expected it as it was made and ended; found another"


def _key_row(events: Sequence[Event]) -> dict[str, Any] | None:
    made = events[0].change if events else None
    if not isinstance(made, KeyMade):
        return None
    row = {"id": events[0].subject, "version": len(events), **key_columns(made, events[0].at)}
    ends = [written_instant(event.change.ends_at) for event in events if isinstance(event.change, KeyEnded)]
    return row | ({"ends_at": ends[-1]} if ends else {})


def _outbox(connection: Connection) -> Iterator[str]:
    events, outbox = tables.events.c, tables.outbox
    joined = tables.events.outerjoin(outbox, outbox.c.position == events.position)
    told = select(events.position, events.kind, events.subject, events.at).add_columns(
        outbox.c.kind.label("told_kind"), outbox.c.subject.label("told_subject"), outbox.c.made_at
    )
    for row in connection.execute(told.select_from(joined), execution_options={"yield_per": 1000}):
        expected = (row.kind, row.subject, row.at) if row.kind in _TOLD else (None, None, None)
        if expected != (row.told_kind, row.told_subject, row.made_at):
            yield f"outbox {row.position}: expected what its event tells; found otherwise"


def _requests(connection: Connection) -> Iterator[str]:
    events, requests, later = tables.events.c, tables.requests, tables.events.alias().c
    caused = (events.subject == requests.c.subject) & (events.version == requests.c.version)
    joined = requests.outerjoin(tables.events, caused)
    not_last = exists().where(
        later.subject == requests.c.subject, later.version > requests.c.version, later.request == events.request
    )
    told = select(requests, events.request, events.at.label("event_at"), not_last.label("not_last"))
    for row in connection.execute(told.select_from(joined), execution_options={"yield_per": 1000}):
        mark = request_mark(row.operation, row.key, row.fingerprint)
        if (row.request, row.event_at, bool(row.not_last)) != (mark, row.at, False):
            yield f"request {row.operation}: expected the key of the last change it caused; found another"


_CHECKS: tuple[Callable[[Connection], Iterator[str]], ...] = (
    _strangers,
    _counters,
    _cards,
    _clients,
    _access_keys,
    _outbox,
    _requests,
)
