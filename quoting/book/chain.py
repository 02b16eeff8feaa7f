"""The history: events chained by hash, and salted commitments to what is kept apart from it."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterable
from typing import Any

import msgspec
from msgspec import Struct

from quoting.book.changes import Change, QuoteChange, after
from quoting.book.states import Entry

BEGINNING = "0" * 64
_WRITER = msgspec.json.Encoder(order="sorted")
_READER: msgspec.json.Decoder[Change] = msgspec.json.Decoder(Change)


class Event(Struct, frozen=True, kw_only=True):
    """
    One link of the history.

    ``subject`` is a quotation's or client's id, or a card's hash; ``version`` counts its events;
    ``by`` says which part somebody plays (owner, client, a key's name), never a person's name;
    ``request`` commits to the key of the request that caused it, if it had one.
    """

    position: int
    subject: str
    version: int
    kind: str
    at: str
    by: str
    body: str
    request: str
    previous: str
    hash: str

    @property
    def change(self) -> Change:
        """What happened."""
        return _READER.decode(self.body)

    @property
    def instant(self) -> datetime.datetime:
        """When it happened."""
        return read_instant(self.at)


def written_instant(at: datetime.datetime) -> str:
    """
    An instant as the book keeps it: UTC, to the microsecond, all of one length so that they sort.

    Raises:
        ValueError: an instant without a time zone.
    """
    if at.tzinfo is None:
        raise ValueError(f"expected an instant with its time zone; found {at!r}")
    return at.astimezone(datetime.UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def read_instant(written: str) -> datetime.datetime:
    """An instant that the book keeps."""
    return datetime.datetime.fromisoformat(written)


def linked(previous: Event | None, **told: Any) -> Event:
    """The event that comes after another."""
    body = _WRITER.encode(told.pop("change")).decode()
    position, before = (previous.position + 1, previous.hash) if previous else (1, BEGINNING)
    event = Event(position=position, body=body, previous=before, hash="", **told)
    return msgspec.structs.replace(event, hash=link_hash(event))


def link_hash(event: Event) -> str:
    """SHA-256 over everything an event says and the hash of the event before it."""
    return hashlib.sha256(_WRITER.encode(msgspec.structs.astuple(event)[:-1])).hexdigest()


def commitment(salt: bytes, paper: str, content: bytes) -> str:
    """What the history holds of a paper: without the salt, nothing can be guessed from it."""
    return hashlib.sha256(salt + paper.encode() + b"\0" + content).hexdigest()


def request_mark(operation: str, key: str, fingerprint: str) -> str:
    """What the history holds of the key of a request."""
    return hashlib.sha256(_WRITER.encode((operation, key, fingerprint))).hexdigest()


def entry_from(events: Iterable[Event]) -> Entry | None:
    """A quotation as its events make it."""
    entry: Entry | None = None
    for event in events:
        change: Any = event.change
        entry = after(entry, change, id=event.subject, at=event.instant)
    return entry


def is_of_quotation(change: Change) -> bool:
    """Whether a change befalls a quotation."""
    return isinstance(change, QuoteChange)
