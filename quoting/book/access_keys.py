"""Keys of the API: hashed, scoped, rotated, ended at once; each change of one is an event of the history."""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec import Struct
from sqlalchemy import Connection, Row, select, update

from quoting.book import tables
from quoting.book.asking import RequestKey, asked_for
from quoting.book.chain import read_instant, written_instant
from quoting.book.changes import KeyEnded, KeyMade
from quoting.book.desk import Desk
from quoting.book.doors import plain_words
from quoting.book.page import Moment, Page
from quoting.book.papers import storable
from quoting.errors import Fault, InputError, QuoteNotFoundError

_ID_BYTES, _SECRET_BYTES = 8, 32


class AccessKey(Struct, frozen=True, kw_only=True):
    """
    A key as the book knows it: never its secret.

    ``scopes`` say what it may do, ``origins`` which web pages may use it. It is good before ``ends_at``.
    """

    id: str
    name: str
    scopes: tuple[str, ...]
    origins: tuple[str, ...]
    made_at: datetime.datetime
    ends_at: datetime.datetime | None

    def is_good(self, at: datetime.datetime) -> bool:
        """Whether it opens anything at an instant."""
        return self.ends_at is None or at < self.ends_at


class NewKey(Struct, frozen=True):
    """
    A key with its secret, ``qk_ID_…``, 256 bits of chance behind its id.

    The secret is told once: it is empty where the same request was answered before.
    """

    key: AccessKey
    secret: str


class KeysInForce(Struct, frozen=True):
    """The keys that were good when the book was looked at, by the hash of their secrets; they need no book."""

    by_hash: dict[str, AccessKey] = {}

    def find(self, secret: str, *, at: datetime.datetime) -> AccessKey | None:
        """The key of a secret, if it is good at an instant."""
        key = self.by_hash.get(_hash(secret))
        return key if key and key.is_good(at) else None

    def origins_at(self, at: datetime.datetime) -> frozenset[str]:
        """The web pages that the keys that are good at an instant may be used by."""
        return frozenset(origin for key in self.by_hash.values() if key.is_good(at) for origin in key.origins)


class KeyRing:
    """The keys of one book."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def make(
        self,
        name: str,
        *,
        scopes: Sequence[str],
        at: datetime.datetime,
        by: str,
        origins: Sequence[str] = (),
        ends_at: datetime.datetime | None = None,
        key: str | RequestKey = "",
    ) -> NewKey:
        """
        Hand out a key.

        Raises:
            InputError: no scope, or words that cannot be printed.
        """
        if not scopes:
            raise InputError([Fault("scopes", "at least one", "none")])
        told = KeyMade(
            plain_words("name", name, least=1),
            tuple(plain_words("scopes", one, least=1) for one in scopes),
            tuple(plain_words("origins", one, least=1, most=255) for one in origins),
            "",
            ends_at,
        )
        now, asked = self._desk.now(at, by), asked_for("make key", key, told)
        return self._desk.write(lambda page: _make(page, told, now), asked, _made_before)

    def rotate(
        self,
        id: str,
        *,
        at: datetime.datetime,
        by: str,
        overlap: datetime.timedelta = datetime.timedelta(),
        key: str | RequestKey = "",
    ) -> NewKey:
        """
        Hand out a key in place of another, which stays good for an overlap and then ends.

        Raises:
            QuoteNotFoundError: no key goes by the id, or it has ended.
        """
        now, asked = self._desk.now(at, by), asked_for("rotate key", key, id, overlap.total_seconds())
        return self._desk.write(lambda page: _rotate(page, id, now, overlap), asked, _made_before)

    def end(self, id: str, *, at: datetime.datetime, by: str) -> AccessKey:
        """
        End a key: from ``at`` on it opens nothing. One that has ended stays as it is.

        Raises:
            QuoteNotFoundError: no key goes by the id.
        """
        now = self._desk.now(at, by)
        return self._desk.write(lambda page: _end(page, read_key(page.connection, id), now, at))

    def find(self, secret: str, *, at: datetime.datetime) -> AccessKey | None:
        """The key of a secret, if it is good at an instant."""
        return self._desk.read(lambda connection: _found(connection, secret, at))

    def in_force(self, *, at: datetime.datetime) -> KeysInForce:
        """Every key that is good at an instant."""
        kept = tables.access_keys.c
        good = select(tables.access_keys).where(kept.ends_at.is_(None) | (kept.ends_at > written_instant(at)))
        return self._desk.read(
            lambda connection: KeysInForce({row.hash: _key_of(row) for row in connection.execute(good)})
        )

    def list(self) -> tuple[AccessKey, ...]:
        """Every key, oldest first, those that have ended among them."""
        keys = select(tables.access_keys).order_by(tables.access_keys.c.made_at, tables.access_keys.c.id)
        return self._desk.read(lambda connection: tuple(_key_of(row) for row in connection.execute(keys)))


def _make(page: Page, told: KeyMade, now: Moment) -> NewKey:
    id, drawn = now.chance(_ID_BYTES).hex(), base64.urlsafe_b64encode(now.chance(_SECRET_BYTES))
    secret = f"qk_{id}_{drawn.rstrip(b'=').decode()}"
    change = msgspec.structs.replace(told, hash=_hash(secret))
    event = page.add(id, change, at=now.at, by=now.by)
    page.put(tables.access_keys, {"id": id, "version": event.version, **key_columns(change, event.at)})
    page.flush()
    return NewKey(read_key(page.connection, id), secret)


def _made_before(page: Page, id: str, _: int) -> NewKey:
    page.flush()
    return NewKey(read_key(page.connection, id), "")


def _rotate(page: Page, id: str, now: Moment, overlap: datetime.timedelta) -> NewKey:
    page.flush()
    old = read_key(page.connection, id)
    if not old.is_good(now.at):
        raise QuoteNotFoundError(id)
    ends_at = min(now.at + overlap, old.ends_at or datetime.datetime.max.replace(tzinfo=datetime.UTC))
    _end(page, old, now, ends_at)
    return _make(page, KeyMade(old.name, old.scopes, old.origins, "", old.ends_at), now)


def _end(page: Page, key: AccessKey, now: Moment, ends_at: datetime.datetime) -> AccessKey:
    page.flush()
    if key.ends_at is not None and key.ends_at <= ends_at:
        return key
    event = page.add(key.id, KeyEnded(ends_at), at=now.at, by=now.by)
    mine = update(tables.access_keys).where(tables.access_keys.c.id == key.id)
    page.execute(mine.values(version=event.version, ends_at=written_instant(ends_at)))
    return read_key(page.connection, key.id)


def key_columns(change: KeyMade, made_at: str) -> dict[str, Any]:
    """A key as its row, but for id and version."""
    return {
        "name": change.name,
        "scopes": msgspec.json.encode(change.scopes).decode(),
        "origins": msgspec.json.encode(change.origins).decode(),
        "hash": change.hash,
        "made_at": made_at,
        "ends_at": written_instant(change.ends_at) if change.ends_at else None,
    }


def read_key(connection: Connection, id: str) -> AccessKey:
    """
    A key by its id.

    Raises:
        QuoteNotFoundError: none goes by it.
    """
    row = connection.execute(select(tables.access_keys).where(tables.access_keys.c.id == storable(id))).first()
    if row is None:
        raise QuoteNotFoundError(id)
    return _key_of(row)


def _found(connection: Connection, secret: str, at: datetime.datetime) -> AccessKey | None:
    hashed = _hash(secret)
    row = connection.execute(select(tables.access_keys).where(tables.access_keys.c.hash == hashed)).first()
    if row is None or not hmac.compare_digest(row.hash, hashed):
        return None
    key = _key_of(row)
    return key if key.is_good(at) else None


def _key_of(row: Row[Any]) -> AccessKey:
    return AccessKey(
        id=row.id,
        name=row.name,
        scopes=msgspec.json.decode(row.scopes, type=tuple[str, ...]),
        origins=msgspec.json.decode(row.origins, type=tuple[str, ...]),
        made_at=read_instant(row.made_at),
        ends_at=read_instant(row.ends_at) if row.ends_at else None,
    )


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
