"""One request as an operation sees it, and what it answers: plain data, without the web's own types."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Generic, TypeVar

from msgspec import Struct

from api.idempotency import fingerprint
from api.media_types import JSON
from quoting.reader import to_json

if TYPE_CHECKING:
    from api.desk import Desk
    from api.etags import Tag
    from api.keys import Credential
    from quoting.book.asking import RequestKey
    from quoting.rate_card import RateCard

BodyT_co = TypeVar("BodyT_co", covariant=True)
QueryT_co = TypeVar("QueryT_co", covariant=True)


class Nothing(Struct, frozen=True, forbid_unknown_fields=True):
    """No body, no query."""


class Call(Generic[BodyT_co, QueryT_co]):
    """One request: who asks, what they sent, read and held to its types."""

    def __init__(
        self,
        *,
        desk: Desk,
        credential: Credential,
        card: RateCard,
        body: BodyT_co,
        query: QueryT_co,
        path: Mapping[str, str],
        wanted: str,
        key: str,
        tag: Tag | None,
        operation: str,
        client_address: str,
        accept_language: str = "",
        cookies: str = "",
    ) -> None:
        self.desk = desk
        self.credential = credential
        self.card = card
        """The card in force, the same for all of this request."""
        self.body = body
        self.query = query
        self.path = path
        self.wanted = wanted
        """The media type that the client wants most."""
        self.key = key
        """The Idempotency-Key as it was sent; empty where the operation takes none."""
        self.tag = tag
        """What If-Match names; None where it was not sent."""
        self.operation = operation
        self.client_address = client_address
        self.accept_language = accept_language
        self.cookies = cookies

    def request_key(self, *whose: str) -> RequestKey:
        """
        The key of this request as the book keeps it.

        It is of who sent it and of the operation; what it was sent with is held by a fingerprint of the decoded
        data, so that spelling and the order of keys do not count.

        Args:
            whose: What it belongs to besides, where many share a credential.
        """
        from quoting.book.asking import RequestKey

        told = fingerprint(self.body, dict(self.path), self.tag)
        return RequestKey(
            key=self.key,
            whose=", ".join((self.credential.by, self.operation, *whose)),
            told=told,
            since=self.desk.now() - datetime.timedelta(days=self.desk.settings.keep_keys_days),
        )


class Answer(Struct, frozen=True, kw_only=True):
    """What is answered: the very bytes, so that they can be kept and said again."""

    content: bytes = b""
    status: int = 200
    media_type: str = JSON
    headers: dict[str, str] = {}


def in_json(told: object, *, status: int = 200, **headers: str) -> Answer:
    """A struct as an answer; headers by name, with underscores."""
    named = {name.replace("_", "-"): value for name, value in headers.items() if value}
    return Answer(content=to_json(told), status=status, headers=named)
