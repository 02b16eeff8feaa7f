"""A page before it is rendered: plain data, so that it can be handed to a child process."""

from __future__ import annotations

from msgspec import Struct


class Attached(Struct, frozen=True):
    """A file that a PDF carries, and what it is to the page: ``Alternative``, ``Data``, ``Source``."""

    name: str
    media_type: str
    description: str
    relationship: str
    body: bytes


class Page(Struct, frozen=True):
    """
    A page to render: its HTML, its style sheet, what it carries.

    ``dated`` (ISO 8601) is the day of whatever is attached; ``folder`` is a shop's own templates',
    from which ``shop:NAME`` serves pictures and fonts; ``pictures`` are PNGs that ``picture:NAME`` shows.
    """

    html: str
    css: str
    dated: str = "1970-01-01"
    attached: tuple[Attached, ...] = ()
    folder: str = ""
    pictures: dict[str, bytes] = {}
