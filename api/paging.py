"""Pages of lists: a cursor in, the rows and a Link to the next page out (RFC 8288)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated
from urllib.parse import urlencode

from msgspec import Meta

Limit = Annotated[int, Meta(ge=1, le=200, description="How many at most on this page.")]
Cursor = Annotated[str, Meta(max_length=300, description="Where the page before ended, as its Link told.")]


def next_link(base_url: str, path: str, asked: Mapping[str, object], cursor: str) -> str:
    """The Link of the page after this one; empty after the last."""
    if not cursor:
        return ""
    told = {name: value for name, value in asked.items() if value not in {None, ""}} | {"cursor": cursor}
    return f'<{base_url}{path}?{urlencode(told)}>; rel="next"'
