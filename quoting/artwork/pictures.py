"""PNG and TIFF to planes: a picture a form, its ink told from its paper."""

from __future__ import annotations

import io
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from quoting.artwork.colours import ink_of
from quoting.artwork.measured import Kind, Limits
from quoting.artwork.planes import LEAST_DOTS, MOST_DOTS, Pixels, Plane, check_pixels, whole_page
from quoting.errors import ArtworkTooLargeError, UnfitArtworkError
from quoting.numbers import whole_nearest

_FORMATS: dict[Kind, tuple[str, ...]] = {"png": ("PNG",), "tiff": ("TIFF",)}
_CHANNELS = ("Cyan", "Magenta", "Yellow", "Black")
_CENTIMETRES = 3


def picture_planes(content: bytes, kind: Kind, limits: Limits, *, told_dots: int | None) -> Iterator[Plane]:
    """
    The forms of a picture; of a TIFF of several pictures, each page by page.

    Raises:
        ArtworkTooLargeError: more pixels or pages than may be.
        UnfitArtworkError: a picture that cannot be read, or does not say how large it is.
    """
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None  # held by our own limit, before anything is unpacked
    with Image.open(io.BytesIO(content), formats=_FORMATS[kind]) as picture:
        pages = _page_count(picture, limits.pages)
        for page in range(pages):
            if page:
                picture.seek(page)
            check_pixels(*picture.size, limits.pixels)
            yield from _planes_of(picture, page + 1, _dots_an_inch(picture, told_dots))


def _page_count(picture: Any, most: int) -> int:
    """Pages of a TIFF, counted no further than may be: a file may lead back into itself."""
    pages = 1
    while True:
        try:
            picture.seek(pages)
        except EOFError:
            break
        pages += 1
        if pages > most:
            raise ArtworkTooLargeError("pages", f"at most {most} pages", "more")
    picture.seek(0)
    return pages


def _dots_an_inch(picture: Any, told: int | None) -> Decimal:
    found = told if told is not None else _said_by(picture)
    if found is None:
        raise UnfitArtworkError(
            "expected a picture that says its dots an inch; found none: export it with its size, or say them"
        )
    if not LEAST_DOTS <= found <= MOST_DOTS:
        raise UnfitArtworkError(f"expected {LEAST_DOTS} to {MOST_DOTS} dots an inch; found {found}")
    return Decimal(found)


def _said_by(picture: Any) -> Decimal | None:
    """Dots an inch of a picture's own, a whole number where it is one but for its units (11,811 a metre are 300)."""
    if picture.format == "TIFF":
        across, down = (picture.tag_v2.get(tag) for tag in (282, 283))
        scale = Decimal("2.54") if picture.tag_v2.get(296) == _CENTIMETRES else Decimal(1)
    else:
        across, down = picture.info.get("dpi", (None, None))
        scale = Decimal(1)
    if not across or not down or not picture.info.get("dpi"):
        return None
    wide, high = _decimal(across) * scale, _decimal(down) * scale
    if abs(wide - high) * 100 > wide:
        raise UnfitArtworkError(f"expected as many dots an inch across as down; found {wide:.4g} and {high:.4g}")
    nearest = Decimal(whole_nearest(wide))
    return nearest if abs(wide - nearest) <= Decimal("0.02") else wide


def _decimal(told: Any) -> Decimal:
    """A number of a picture's head: a fraction of a TIFF, a number with a point of a PNG."""
    if hasattr(told, "denominator"):
        return Decimal(told.numerator) / Decimal(told.denominator) if told.denominator else Decimal(0)
    return Decimal(str(told))


def _planes_of(picture: Any, page: int, dots: Decimal) -> Iterator[Plane]:
    import numpy as np

    trimmed = whole_page(*picture.size)
    if picture.mode == "CMYK":
        whole = np.asarray(picture)
        for place, name in enumerate(_CHANNELS):
            ink = np.ascontiguousarray(whole[:, :, place])
            if ink.any():
                yield Plane(page=page, separation=name, ink=ink, dots_an_inch=dots, trimmed=trimmed)
        return
    ink, colours, notes = ink_of(_on_paper(picture))
    yield Plane(
        page=page, separation="", ink=ink, dots_an_inch=dots, trimmed=trimmed, colours=colours, notes=tuple(notes)
    )


def _on_paper(picture: Any) -> Pixels:
    """A picture as it looks on white paper: grey, or red, green and blue."""
    import numpy as np
    from PIL import Image

    if picture.mode in {"1", "L"} and "transparency" not in picture.info:
        return np.asarray(picture.convert("L"))
    if picture.mode.startswith("I") or picture.mode == "F":
        return _to_eight_bits(np.asarray(picture))
    if picture.mode in {"LA", "La", "PA", "RGBA", "RGBa", "P"} or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        paper = Image.new("RGBA", clear.size, "white")
        paper.alpha_composite(clear)
        return np.asarray(paper.convert("RGB"))
    return np.asarray(picture.convert("RGB"))


def _to_eight_bits(deep: Pixels) -> Pixels:
    """Greys of sixteen bits as greys of eight, to the nearest."""
    import numpy as np

    if deep.dtype.kind not in "iu":
        raise UnfitArtworkError("expected greys or colours in whole numbers; found numbers with a point")
    held = np.clip(deep, 0, 65535).astype(np.uint32)
    return ((held + 128) // 257).astype(np.uint8)
