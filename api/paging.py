"""Pages of lists: a cursor in, the rows and a Link to the next page out (RFC 8288)."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Mapping
from typing import Annotated
from urllib.parse import urlencode

from msgspec import Meta

from quoting.errors import CursorError

_SEAL_BYTES = 12

Limit = Annotated[int, Meta(ge=1, le=200, description="How many at most on this page.")]
Cursor = Annotated[str, Meta(max_length=300, description="Where the page before ended, as its Link told.")]


def cursor_after(list_name: str, last: str) -> str:
    """The cursor of a list that goes on after something."""
    told = last.encode()
    return base64.urlsafe_b64encode(_seal(list_name, told) + told).decode()


def read_cursor(list_name: str, cursor: str) -> str:
    """
    What a list goes on after; empty at its beginning.

    Raises:
        CursorError: a cursor that no page of this list gave.
    """
    if not cursor:
        return ""
    try:
        plain = base64.b64decode(cursor.encode("ascii"), altchars=b"-_", validate=True)
        told = plain[_SEAL_BYTES:]
        if plain[:_SEAL_BYTES] != _seal(list_name, told):
            raise CursorError
        return told.decode()
    except (binascii.Error, UnicodeError) as error:
        raise CursorError from error


def _seal(list_name: str, told: bytes) -> bytes:
    return hashlib.sha256(list_name.encode() + b"\0" + told).digest()[:_SEAL_BYTES]


def next_link(base_url: str, path: str, asked: Mapping[str, object], cursor: str) -> str:
    """The Link of the page after this one; empty after the last."""
    if not cursor:
        return ""
    told = {name: value for name, value in asked.items() if value not in {None, ""}} | {"cursor": cursor}
    return f'<{base_url}{path}?{urlencode(told)}>; rel="next"'
