"""What is measured of a file of artwork, as plain data that a job can carry, and the limits of measuring."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from quoting.units import Area, Length, Share, Size

Kind = Literal["pdf", "png", "tiff"]
Line = Annotated[str, Meta(max_length=400)]
Short = Annotated[str, Meta(max_length=120)]
MOST_PICTURE = 60_000


class Limits(Struct, frozen=True, kw_only=True):
    """
    How much of a file is read at all.

    ``pixels`` of one page as it is measured: a picture over it is refused, a page is measured at fewer dots
    an inch. ``seconds`` of its child, and ``waited_seconds`` until one is free.
    """

    bytes: int = 10_000_000
    pages: int = 24
    pixels: int = 40_000_000
    memory_bytes: int = 1_600_000_000
    seconds: int = 10
    waited_seconds: int = 4


UPLOADED = Limits()
"""What somebody from outside may send."""

WITHIN_SHOP = Limits(bytes=200_000_000, pages=100, seconds=180, waited_seconds=180)
"""What the owner measures on the shop's own machine."""


class FormArtwork(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What one page, or one separation of it, prints: one form.

    ``left`` and ``top`` say where its ink begins, from the corner of the trimmed page (nothing where it
    bleeds); ``size`` is the rectangle round all of it. ``share_inked`` is of that rectangle, ``coverage`` of the
    trimmed page. A solid is what a disc of 5 mm fits into, a heavy one of 10 mm: the strokes of type are thinner.
    ``heavy`` is the share of the ink that lies in heavy solids, ``tints`` in greys that a plate prints only as a
    screen. The thinnest detail is told where it is under 2 mm. ``colours`` are those that it was drawn in: more
    than one is more than one form. ``picture`` is a PNG in base64.
    """

    file: Short
    content_hash: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z")]
    page: Annotated[int, Meta(ge=1, le=1000)] = 1
    separation: Short = ""
    page_size: Size
    left: Length
    top: Length
    size: Size
    printed_area: Area
    share_inked: Share
    coverage: Share
    largest_solid: Area
    largest_solid_size: Size | None = None
    heavy: Share
    tints: Share
    thinnest_positive: Length | None = None
    thinnest_reversed: Length | None = None
    bleeds: bool = False
    colours: Annotated[tuple[Short, ...], Meta(max_length=8)] = ()
    dots_an_inch: Annotated[int, Meta(ge=1, le=20_000)]
    notes: Annotated[tuple[Line, ...], Meta(max_length=20)] = ()
    picture: Annotated[str, Meta(max_length=MOST_PICTURE, pattern=r"^[A-Za-z0-9+/]*=*\Z")] = ""

    @property
    def named(self) -> str:
        """Which form of its file it is: ``page 2``, ``page 1, Crimson``."""
        return f"page {self.page}, {self.separation}" if self.separation else f"page {self.page}"


class Artwork(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A file of artwork and every form that it holds, page by page."""

    file: Short
    content_hash: str
    kind: Kind
    byte_count: int
    forms: tuple[FormArtwork, ...]
    notes: tuple[Line, ...] = ()
