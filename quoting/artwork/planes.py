"""Planes: what one form prints as numbers, 255 a solid, 0 bare paper. Here and in the rooms beside it lie pixels."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting.errors import ArtworkTooLargeError, UnfitArtworkError
from quoting.units import MM_PER_INCH

Pixels = Any
"""An array of numpy: rows of eight-bit numbers, or of red, green and blue."""

LEAST_DOTS, MOST_DOTS = 50, 5000


class Trimmed(Struct, frozen=True):
    """The trimmed page within what was read, in pixels from its corner. [px]"""

    left: Decimal
    top: Decimal
    right: Decimal
    bottom: Decimal


class Plane(Struct, frozen=True, kw_only=True):
    """The ink of one form, and how it lies on its page. ``dots_an_inch`` is exact."""

    page: int
    separation: str
    ink: Pixels
    dots_an_inch: Decimal
    trimmed: Trimmed
    colours: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def pixel_mm(self) -> Decimal:
        """Side of a pixel. [mm]"""
        return MM_PER_INCH / self.dots_an_inch


def whole_page(width: int, height: int) -> Trimmed:
    """A page that is read as far as it is trimmed."""
    return Trimmed(Decimal(0), Decimal(0), Decimal(width), Decimal(height))


def check_pixels(width: int, height: int, most: int) -> None:
    """
    Hold that a picture is not too large to unpack.

    Raises:
        ArtworkTooLargeError: more pixels than may be.
        UnfitArtworkError: none.
    """
    if width < 1 or height < 1:
        raise UnfitArtworkError(f"expected a picture; found one of {width} x {height} pixels")
    if width * height > most:
        raise ArtworkTooLargeError("pixels", f"at most {most:,} pixels", f"{width:,} x {height:,}")
