"""
PDF to planes: each page is put by itself, looked through for its colours, and rendered.

A page in greys or in red, green and blue is one form, drawn by PDFium. A page in spot or process colours is
a form a separation, told apart by Ghostscript.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting.artwork.colours import ink_of
from quoting.artwork.measured import Limits
from quoting.artwork.planes import Pixels, Plane, Trimmed
from quoting.errors import ArtworkTooLargeError, UnfitArtworkError
from quoting.numbers import whole_up

POINTS_AN_INCH = Decimal(72)  # ISO 32000: the unit of a page's space
# Dots an inch that a page is measured at: the most of them that its pixels allow. The finest only for small pages.
RESOLUTIONS = (1200, 600, 300, 150)
MOST_PIXELS_AT_THE_FINEST = 12_000_000
MOST_POINTS = 14_400
_LEAST_POINTS = 3
_SOMETIMES_DRAWN = ("/Annots", "/AA", "/Thumb", "/TrimBox", "/BleedBox", "/ArtBox", "/CropBox")
_PROCESS_OPERATORS = "k K"
_SEPARATED = ("/Separation", "/DeviceN", "/DeviceCMYK", "/NChannel")
_DEEPEST = 40
_MOST_LOOKED_AT = 20_000


class SinglePage(Struct, frozen=True, kw_only=True):
    """
    One page as a PDF by itself, its box set to what of it is read.

    ``trimmed`` is where the trimmed page lies within that box: from left, top, left again, top again. [pt]
    """

    number: int
    pdf: bytes
    width_pt: Decimal
    height_pt: Decimal
    trimmed: tuple[Decimal, Decimal, Decimal, Decimal]
    is_separated: bool

    def dots_an_inch(self, most_pixels: int) -> int:
        """
        The most dots an inch that its pixels allow.

        Raises:
            ArtworkTooLargeError: too many at the fewest.
        """
        for dots in RESOLUTIONS:
            width, height = self.pixels_at(dots)
            if width * height <= (MOST_PIXELS_AT_THE_FINEST if dots == RESOLUTIONS[0] else most_pixels):
                return dots
        found = f"{width:,} x {height:,} at {RESOLUTIONS[-1]} dots an inch"
        raise ArtworkTooLargeError("pixels", f"at most {most_pixels:,} pixels", found)

    def pixels_at(self, dots: int) -> tuple[int, int]:
        """Width and height in pixels, the last ones counted whole."""
        return whole_up(self.width_pt * dots / POINTS_AN_INCH), whole_up(self.height_pt * dots / POINTS_AN_INCH)

    def trimmed_at(self, dots: int) -> Trimmed:
        """Where its trimmed page lies. [px]"""
        return Trimmed(*(side * dots / POINTS_AN_INCH for side in self.trimmed))


def pdf_planes(content: bytes, limits: Limits) -> Iterator[Plane]:
    """
    The forms of a PDF, page by page.

    Raises:
        ArtworkTooLargeError: more pages or pixels than may be.
        UnfitArtworkError: a PDF that cannot be read.
        ArtworkToolError: separations, and no Ghostscript.
    """
    from quoting.artwork.separations import separated_planes

    for page in single_pages(content, limits):
        dots = page.dots_an_inch(limits.pixels)
        if page.is_separated:
            yield from separated_planes(page, dots, limits)
        else:
            yield _plane(page, dots)


def single_pages(content: bytes, limits: Limits) -> Iterator[SinglePage]:
    """
    Every page by itself, without what is no part of its picture.

    Raises:
        ArtworkTooLargeError: more pages than may be.
        UnfitArtworkError: it cannot be read, or its pages cannot be measured.
    """
    import pikepdf

    try:
        with pikepdf.open(io.BytesIO(content), suppress_warnings=True) as pdf:
            count = len(pdf.pages)
            if count > limits.pages:
                raise ArtworkTooLargeError("pages", f"at most {limits.pages} pages", f"{count:,}")
            if not count:
                raise UnfitArtworkError("expected a PDF with a page; found none")
            for number in range(count):
                yield _single(pdf, number)
    except pikepdf.PasswordError as error:
        raise UnfitArtworkError("expected a PDF without a password; found one with it") from error
    except (pikepdf.PdfError, RuntimeError, ValueError, KeyError, AttributeError, TypeError) as error:
        raise UnfitArtworkError(f"expected a PDF that can be read; found a fault: {type(error).__name__}") from error


def _single(pdf: Any, number: int) -> SinglePage:
    import pikepdf

    page = pdf.pages[number]
    if Decimal(str(page.obj.get("/UserUnit", 1))) != 1:
        raise UnfitArtworkError(f"page {number + 1}: expected a page in points; found a UserUnit of its own")
    read, trimmed = _boxes(page, number)
    separated = is_separated(page)
    with pikepdf.new() as alone:
        alone.pages.append(page)
        only = alone.pages[0]
        for key in _SOMETIMES_DRAWN:
            if key in only.obj:
                del only.obj[key]
        only.obj["/MediaBox"] = pikepdf.Array(list(read))
        turned = int(page.obj.get("/Rotate", 0) if page.rotation is None else page.rotation) % 360
        only.obj["/Rotate"] = turned
        written = io.BytesIO()
        alone.save(written)
    left, low, right, high = read
    width, height = (high - low, right - left) if turned % 180 else (right - left, high - low)
    return SinglePage(
        number=number + 1,
        pdf=written.getvalue(),
        width_pt=width,
        height_pt=height,
        trimmed=_turned(trimmed, read, turned),
        is_separated=separated,
    )


Box = tuple[Decimal, Decimal, Decimal, Decimal]


def _boxes(page: Any, number: int) -> tuple[Box, Box]:
    """What of a page is read (as far as its bleed, where it says so), and its trimmed page. [pt]"""
    whole = _box(page.cropbox)
    bleed, trim = page.obj.get("/BleedBox"), page.obj.get("/TrimBox")
    trimmed = _within(_box(trim), whole) if trim is not None else whole
    read = _around(_within(_box(bleed), whole), trimmed) if bleed is not None else trimmed
    for box in (read, trimmed):
        width, height = box[2] - box[0], box[3] - box[1]
        if not (_LEAST_POINTS <= width <= MOST_POINTS and _LEAST_POINTS <= height <= MOST_POINTS):
            raise UnfitArtworkError(
                f"page {number + 1}: expected a page of {_LEAST_POINTS} to {MOST_POINTS} pt a side;"
                f" found {width:.6g} x {height:.6g}"
            )
    return read, trimmed


def _box(numbers: Any) -> Box:
    first, second, third, fourth = (Decimal(str(number)) for number in numbers)
    return min(first, third), min(second, fourth), max(first, third), max(second, fourth)


def _within(box: Box, other: Box) -> Box:
    return max(box[0], other[0]), max(box[1], other[1]), min(box[2], other[2]), min(box[3], other[3])


def _around(box: Box, other: Box) -> Box:
    return min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]), max(box[3], other[3])


def _turned(trimmed: Box, read: Box, degrees: int) -> Box:
    """The trimmed page within what is read as it is seen: left, top, right, bottom. [pt]"""
    left, low, right, high = read
    from_left, from_right = trimmed[0] - left, trimmed[2] - left
    from_top, from_bottom = high - trimmed[3], high - trimmed[1]
    width, height = right - left, high - low
    if degrees == 90:
        return height - from_bottom, from_left, height - from_top, from_right
    if degrees == 180:
        return width - from_right, height - from_bottom, width - from_left, height - from_top
    if degrees == 270:
        return from_top, width - from_right, from_bottom, width - from_left
    return from_left, from_top, from_right, from_bottom


def is_separated(page: Any) -> bool:
    """Whether anything on a page is drawn in spot or process colours."""
    return _names_separations(page.obj.get("/Resources"), set(), 0) or _in_process_colours(page)


def _names_separations(thing: Any, seen: set[tuple[int, int]], depth: int) -> bool:
    """Whether a colour space of separations is anywhere among resources: those of the forms within them too."""
    import pikepdf

    if depth > _DEEPEST or len(seen) > _MOST_LOOKED_AT:
        raise UnfitArtworkError("expected a PDF whose resources end; found them too deep or too many")
    if isinstance(thing, pikepdf.Object) and thing.is_indirect:
        if thing.objgen in seen:
            return False
        seen.add(thing.objgen)
    if isinstance(thing, pikepdf.Name):
        return str(thing) in _SEPARATED
    if isinstance(thing, pikepdf.Array):
        return any(_names_separations(one, seen, depth + 1) for one in _few(thing))
    if isinstance(thing, pikepdf.Stream) and _draws(thing) and _in_process_colours(thing):
        return True
    if isinstance(thing, (pikepdf.Dictionary, pikepdf.Stream)):
        return any(_names_separations(one, seen, depth + 1) for key, one in thing.items() if key not in _UPWARDS)
    return False


def _in_process_colours(drawing: Any) -> bool:
    import pikepdf

    return bool(pikepdf.parse_content_stream(drawing, _PROCESS_OPERATORS))


_UPWARDS = ("/Parent", "/P", "/StructParent", "/Metadata", "/Font", "/OCProperties")


def _draws(stream: Any) -> bool:
    """Whether a stream holds drawing: a form, or a pattern of tiles."""
    found: bool = stream.get("/Subtype") == "/Form" or stream.get("/PatternType") == 1
    return found


def _few(array: Any) -> list[Any]:
    """An array's things, those of a long one left out: numbers, not colour spaces."""
    return [array[place] for place in range(min(len(array), 64))]


def _plane(page: SinglePage, dots: int) -> Plane:
    ink, colours, notes = ink_of(rendered(page, dots))
    return Plane(
        page=page.number,
        separation="",
        ink=ink,
        dots_an_inch=Decimal(dots),
        trimmed=page.trimmed_at(dots),
        colours=colours,
        notes=tuple(notes),
    )


def rendered(page: SinglePage, dots: int) -> Pixels:
    """
    A page as red, green and blue.

    It is skewed by less than a hundredth of a pixel, as PDFium lays the edges of what stands quite upright to
    whole pixels, which makes a fine rule a tenth too wide.
    """
    import ctypes

    import numpy as np
    import pypdfium2
    from pypdfium2 import raw

    width, height = page.pixels_at(dots)
    with pypdfium2.PdfDocument(page.pdf) as document:
        drawn = document[0]
        bitmap = raw.FPDFBitmap_Create(width, height, 0)
        if not bitmap:
            raise MemoryError
        try:
            raw.FPDFBitmap_FillRect(bitmap, 0, 0, width, height, 0xFFFFFFFF)
            scale = dots / int(POINTS_AN_INCH)
            skew = 1 / 100_000
            matrix = raw.FS_MATRIX(scale, skew, skew, scale, 0, 0)
            raw.FPDF_RenderPageBitmapWithMatrix(bitmap, drawn, matrix, raw.FS_RECTF(0, 0, width, height), 0)
            start = ctypes.cast(raw.FPDFBitmap_GetBuffer(bitmap), ctypes.POINTER(ctypes.c_ubyte))
            rows = np.ctypeslib.as_array(start, (height, raw.FPDFBitmap_GetStride(bitmap)))
            return np.ascontiguousarray(rows[:, : width * 4].reshape(height, width, 4)[:, :, 2::-1])
        finally:
            raw.FPDFBitmap_Destroy(bitmap)
