"""One request as an operation sees it, and what it answers: plain data, without the web's own types."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Generic, TypeVar

from msgspec import Struct

from quoting.reader import to_json

if TYPE_CHECKING:
    from api.desk import Desk
    from api.etags import Tag
    from api.keys import Credential

JSON = "application/json"
PDF = "application/pdf"
XML = "application/xml"
CSV = "text/csv"
SVG = "image/svg+xml"

BodyT = TypeVar("BodyT")
QueryT = TypeVar("QueryT")


class Nothing(Struct, frozen=True, forbid_unknown_fields=True):
    """No body, no query."""


class Call(Generic[BodyT, QueryT]):
    """One request: who asks, what they sent, read and held to its types."""

    def __init__(
        self,
        *,
        desk: Desk,
        credential: Credential,
        body: BodyT,
        query: QueryT,
        path: Mapping[str, str],
        wanted: str,
        key: str,
        tag: Tag,
        operation: str,
        client_address: str,
    ) -> None:
        self.desk = desk
        self.credential = credential
        self.body = body
        self.query = query
        self.path = path
        self.wanted = wanted
        """The media type that the client wants most."""
        self.key = key
        """The Idempotency-Key as it was sent; empty where the operation takes none."""
        self.tag = tag
        """What If-Match names; nothing where the operation asks for none."""
        self.operation = operation
        self.client_address = client_address


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
