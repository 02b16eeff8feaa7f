"""From the pixels of one form to its figures: whole numbers, until the side of a pixel makes them measures."""

from __future__ import annotations

import base64
import io
from decimal import Decimal

from msgspec import Struct

from quoting.artwork.measured import MOST_PICTURE, FormArtwork
from quoting.artwork.planes import Pixels, Plane
from quoting.numbers import at_least, at_most, plain, whole_nearest, whole_up
from quoting.units import Area, Length, Share, Size

# Definitions of what is measured. Common practice, no source.
SOLID_MM = Decimal(5)  # the strokes of type are thinner; wood type counts as a solid
HEAVY_MM = Decimal(10)
FINE_MM = Decimal(2)  # what is finer is detail, and its width is told
AT_THE_EDGE_MM = Decimal("0.25")
# Ink of 255 from which a pixel is part of the picture, half covered, solid.
_SEEN, _HALF, _FULL = 6, 128, 217
# Solids are looked for at no more pixels than this: their edges are known closely enough.
_MOST_FOR_SOLIDS = 10_000_000
_PICTURE_SIDE = 320
# Ridges of fewer pixels are the noise of an edge. The thinnest are looked at again, so many times larger.
_LEAST_RIDGE = 2
_LOOKED_AT_AGAIN, _LARGER = 48, 8
_LEAST_SEEN = Decimal("0.5")
_NEAR = 9


class _Box(Struct, frozen=True):
    """The pixels that hold ink: first and past the last, across and down."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        return self.right - self.left

    @property
    def height(self) -> int:
        return self.bottom - self.top

    def of(self, pixels: Pixels) -> Pixels:
        """What lies in it."""
        return pixels[self.top : self.bottom, self.left : self.right]


class _Solids(Struct, frozen=True):
    """Of the solids: the largest's area and sides, and the area of all heavy ones. [px of the plane]"""

    area: Decimal
    width: Decimal
    height: Decimal
    heavy: Decimal


def figures_of(plane: Plane, file: str, content_hash: str) -> FormArtwork | None:
    """The figures of one form; None where it prints nothing."""
    box = _box(plane.ink)
    if box is None:
        return None
    side = plane.pixel_mm
    ink = box.of(plane.ink)
    total = Decimal(int(ink.sum(dtype="uint64"))) / 255
    solids = _solids(ink, plane)
    trimmed = plane.trimmed
    page_width, page_height = trimmed.right - trimmed.left, trimmed.bottom - trimmed.top
    return FormArtwork(
        file=file,
        content_hash=content_hash,
        page=plane.page,
        separation=plane.separation[:120],
        page_size=_size(page_width * side, page_height * side),
        left=_length(max(Decimal(0), box.left - trimmed.left) * side),
        top=_length(max(Decimal(0), box.top - trimmed.top) * side),
        size=_size(box.width * side, box.height * side),
        printed_area=_area(total * side * side),
        share_inked=_share(total / (box.width * box.height)),
        coverage=_share(total / (page_width * page_height)),
        largest_solid=_area(solids.area * side * side),
        largest_solid_size=_size(solids.width * side, solids.height * side) if solids.area else None,
        heavy=_share(solids.heavy / total),
        tints=_share(_tints(ink) / total),
        thinnest_positive=_thinnest(ink, plane),
        thinnest_reversed=_thinnest(ink, plane, reversed_out=True),
        bleeds=_bleeds(box, plane),
        colours=plane.colours,
        dots_an_inch=whole_nearest(plane.dots_an_inch),
        notes=plane.notes,
        picture=_picture(plane.ink),
    )


def _box(ink: Pixels) -> _Box | None:
    import numpy as np

    seen = ink >= _SEEN
    down, across = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(down):
        return None
    return _Box(int(across[0]), int(down[0]), int(across[-1]) + 1, int(down[-1]) + 1)


def _solids(ink: Pixels, plane: Plane) -> _Solids:
    """What discs of the sizes of a solid and of a heavy one fit into, moved wherever they fit."""
    import cv2
    import numpy as np

    full: Pixels = np.where(ink >= _FULL, 255, 0).astype(np.uint8)
    by = whole_up((Decimal(full.size) / _MOST_FOR_SOLIDS).sqrt()) if full.size > _MOST_FOR_SOLIDS else 1
    if by > 1:
        wanted = (max(1, full.shape[1] // by), max(1, full.shape[0] // by))
        full = cv2.resize(full, wanted, interpolation=cv2.INTER_AREA)
    mask = np.pad((full >= _HALF).astype(np.uint8), 1)
    depths = _depths(mask)
    a_mm = 1 / (plane.pixel_mm * by)
    solid = _opened(depths, SOLID_MM * a_mm)
    heavy = _opened(depths, HEAVY_MM * a_mm)
    square = Decimal(by * by)
    count, _, stats, _ = cv2.connectedComponentsWithStats(solid)
    if count < 2:
        return _Solids(Decimal(0), Decimal(0), Decimal(0), Decimal(0))
    largest = stats[1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())]
    return _Solids(
        area=int(largest[cv2.CC_STAT_AREA]) * square,
        width=Decimal(int(largest[cv2.CC_STAT_WIDTH]) * by),
        height=Decimal(int(largest[cv2.CC_STAT_HEIGHT]) * by),
        heavy=int(np.count_nonzero(heavy)) * square,
    )


def _opened(depths: Pixels, across_px: Decimal) -> Pixels:
    """Every pixel that a disc covers somewhere within the shapes; ``depths`` are distances to bare paper."""
    import numpy as np

    half = np.float32(str(across_px / 2))
    within = (depths >= half).astype(np.uint8)
    if not within.any():
        return within
    return (_depths(1 - within) < half).astype(np.uint8)


def _depths(shapes: Pixels, *, exactly: bool = False) -> Pixels:
    """Each pixel's distance to the outside of the shapes; else to a fiftieth of itself, in a quarter of the time."""
    import cv2

    return cv2.distanceTransform(shapes, cv2.DIST_L2, cv2.DIST_MASK_PRECISE if exactly else cv2.DIST_MASK_5)


def _tints(ink: Pixels) -> Decimal:
    """Ink that lies in greys: not an edge, where grey is only the pixel that the edge runs through."""
    import cv2
    import numpy as np

    square = np.ones((3, 3), np.uint8)
    grey = (cv2.erode(ink, square) >= _SEEN) & (cv2.dilate(ink, square) < _FULL)
    return Decimal(int(ink[grey].sum(dtype="uint64"))) / 255


def _thinnest(ink: Pixels, plane: Plane, *, reversed_out: bool = False) -> Length | None:
    """
    The width of the thinnest line, dot or gap under 2 mm: twice the least depth of a ridge.

    A ridge is where no neighbour is deeper. It counts where it runs on, as along a line, or where nothing near
    is deeper, as in a dot; the point of a wedge does neither. To about a tenth of a pixel.
    """
    import cv2
    import numpy as np

    most = int(whole_up(FINE_MM / plane.pixel_mm))
    drawn = np.pad(255 - ink if reversed_out else ink, most, constant_values=255 if reversed_out else 0)
    depths, ridge = _ridge(drawn >= _HALF)
    runs_on = cv2.boxFilter(ridge.astype(np.uint8), -1, (_NEAR, _NEAR), normalize=False) >= _NEAR - 1
    is_dot = depths >= cv2.dilate(depths, np.ones((_NEAR, _NEAR), np.uint8))
    ridge &= (runs_on | is_dot) & (depths * 2 <= most)
    found = depths[ridge]
    if len(found) < _LEAST_RIDGE:
        return None
    least = np.partition(found, _LEAST_RIDGE - 1)[_LEAST_RIDGE - 1]
    places = np.argwhere(ridge & (depths <= least + 1))
    chosen = places[:: max(1, len(places) // _LOOKED_AT_AGAIN)]
    widths = sorted(_looked_at_again(drawn, int(y), int(x), int(least) + 4) for y, x in chosen)
    return _length(widths[min(len(widths), _LEAST_RIDGE) - 1] * plane.pixel_mm, places=3)


def _ridge(shapes: Pixels, *, exactly: bool = False) -> tuple[Pixels, Pixels]:
    """Each pixel's distance to the outside of the shapes, and the pixels that no neighbour is deeper than."""
    import cv2
    import numpy as np

    depths = _depths(shapes.astype(np.uint8), exactly=exactly)
    return depths, (depths > 0) & (depths >= cv2.dilate(depths, np.ones((3, 3), np.uint8)))


def _looked_at_again(drawn: Pixels, y: int, x: int, around: int) -> Decimal:
    """The width of what runs through a pixel, from its greys: the edge is where half of a pixel is covered. [px]"""
    import cv2

    window = drawn[max(0, y - around) : y + around + 1, max(0, x - around) : x + around + 1]
    larger = cv2.resize(window, None, fx=_LARGER, fy=_LARGER, interpolation=cv2.INTER_LINEAR)
    depths, _ = _ridge(larger >= _HALF, exactly=True)
    row, column = (min(y, around) * _LARGER, min(x, around) * _LARGER)
    deepest = depths[max(0, row - _LARGER) : row + 2 * _LARGER, max(0, column - _LARGER) : column + 2 * _LARGER].max()
    return at_least(_LEAST_SEEN, (Decimal(str(deepest)) * 2 - 1) / _LARGER)


def _bleeds(box: _Box, plane: Plane) -> bool:
    """Whether ink reaches an edge of the trimmed page, or goes beyond it."""
    near, trimmed = AT_THE_EDGE_MM / plane.pixel_mm, plane.trimmed
    return (
        box.left < trimmed.left + near
        or box.top < trimmed.top + near
        or box.right > trimmed.right - near
        or box.bottom > trimmed.bottom - near
    )


def _picture(ink: Pixels) -> str:
    """A small picture of a form, black on white, as PNG in base64."""
    import cv2
    from PIL import Image

    height, width = ink.shape
    side = min(_PICTURE_SIDE, max(width, height))
    while True:
        wanted = (max(1, width * side // max(width, height)), max(1, height * side // max(width, height)))
        small: Pixels = 255 - cv2.resize(ink, wanted, interpolation=cv2.INTER_AREA)
        written = io.BytesIO()
        Image.fromarray(small & 0xF0 | small >> 4).save(written, "PNG", optimize=True)  # sixteen greys
        text = base64.b64encode(written.getvalue()).decode()
        if len(text) <= MOST_PICTURE:
            return text
        side = side * 2 // 3


def _length(mm: Decimal, *, places: int = 2) -> Length:
    return Length(f"{plain(mm, places=places)} mm")


def _size(width_mm: Decimal, height_mm: Decimal) -> Size:
    return Size(f"{plain(width_mm, places=2)} x {plain(height_mm, places=2)} mm")


def _area(mm2: Decimal) -> Area:
    return Area(f"{plain(mm2, places=3)} mm2")


def _share(share: Decimal) -> Share:
    return Share(f"{plain(at_most(Decimal(1), share) * 100, places=4)} %")
