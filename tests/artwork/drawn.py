"""PDFs made here, with drawings whose areas are known by geometry, and letters of an open font."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from fontTools.pens.areaPen import AreaPen
from fontTools.pens.basePen import BasePen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont

from quoting.documents.fonts import SERIF

MM2_PER_PT2 = (25.4 / 72) ** 2
# A quarter of a circle by one cubic: the usual constant; the shape's area is 2.8e-4 over the circle's.
_QUARTER = 4 / 3 * math.tan(math.pi / 8)
FONT = SERIF[0].path()


def pdf_of(
    *contents: str,
    size: tuple[float, float] = (300, 300),
    spots: Sequence[str] = (),
    boxes: str = "",
    with_font: bool = False,
) -> bytes:
    """A PDF of a page for each content stream; spot colours are ``/S0``, ``/S1``, the font is ``/F``."""
    spaces = " ".join(
        f"/S{place} [/Separation /{name} /DeviceCMYK"
        f" << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [0 1 {place % 2} .1] /N 1 >>]"
        for place, name in enumerate(spots)
    )
    objects = [b"<< /Type /Catalog /Pages 2 0 R >>", b""]
    resources = f"<< /ColorSpace << {spaces} >>" + (" /Font << /F 3 0 R >>" if with_font else "") + " >>"
    if with_font:
        objects += _font_objects()
    kids = []
    for content in contents:
        body = content.encode("latin-1")
        objects.append(b"<< /Length %d >>\nstream\n%b\nendstream" % (len(body), body))
        box = f"/MediaBox [0 0 {size[0]:f} {size[1]:f}] {boxes}"
        objects.append(
            f"<< /Type /Page /Parent 2 0 R {box} /Contents {len(objects)} 0 R /Resources {resources} >>".encode()
        )
        kids.append(f"{len(objects)} 0 R")
    objects[1] = f"<< /Type /Pages /Kids [{' '.join(kids)}] /Count {len(kids)} >>".encode()
    return put_together(objects)


def put_together(objects: Sequence[bytes]) -> bytes:
    """A PDF of numbered objects; the first is its catalogue."""
    out = b"%PDF-1.6\n"
    starts = []
    for number, body in enumerate(objects, start=1):
        starts.append(len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % start for start in starts)
    head = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    tail = b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, len(out))
    return out + head + table + tail


def circle(x: float, y: float, radius: float) -> str:
    """A disc; with ``disc_area`` its area."""
    r, k = radius, radius * _QUARTER
    return (
        f"{x + r} {y} m {x + r} {y + k} {x + k} {y + r} {x} {y + r} c"
        f" {x - k} {y + r} {x - r} {y + k} {x - r} {y} c {x - r} {y - k} {x - k} {y - r} {x} {y - r} c"
        f" {x + k} {y - r} {x + r} {y - k} {x + r} {y} c f\n"
    )


def disc_area(radius: float) -> float:
    """The exact area of what ``circle`` draws, by Green's theorem on its cubics. [pt2]"""
    k = _QUARTER
    return radius**2 * (2 + 12 / 5 * k - 3 / 5 * k**2)


def rule(x: float, y: float, width: float, height: float) -> str:
    """A rectangle."""
    return f"{x} {y} {width} {height} re f\n"


@lru_cache(maxsize=1)
def _font() -> TTFont:
    return TTFont(FONT)


class _Operators(BasePen):  # type: ignore[misc]  # fontTools is not typed
    """An outline as operators of a content stream."""

    def __init__(self) -> None:
        super().__init__(_font().getGlyphSet())
        self.told: list[str] = []

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802  # the pen's own name
        self.told.append(f"{pt[0]:f} {pt[1]:f} m")

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self.told.append(f"{pt[0]:f} {pt[1]:f} l")

    def _curveToOne(  # noqa: N802
        self, pt1: tuple[float, float], pt2: tuple[float, float], pt3: tuple[float, float]
    ) -> None:
        self.told.append(f"{pt1[0]:f} {pt1[1]:f} {pt2[0]:f} {pt2[1]:f} {pt3[0]:f} {pt3[1]:f} c")

    def _closePath(self) -> None:  # noqa: N802
        self.told.append("h")


def letters(text: str, x: float, y: float, points: float) -> tuple[str, float]:
    """Outlines of a line of text, filled, and their exact area, counters left out. [pt2]"""
    font = _font()
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    scale = points / font["head"].unitsPerEm
    pen, area = _Operators(), 0.0
    for letter in text:
        glyph = glyphs[names[ord(letter)]]
        glyph.draw(TransformPen(pen, (scale, 0, 0, scale, x, y)))
        measured = AreaPen(glyphs)
        glyph.draw(measured)
        area += abs(measured.value) * scale**2
        x += glyph.width * scale
    return "\n".join(pen.told) + " f\n", area


def _font_objects() -> list[bytes]:
    """The open font as three objects of a PDF, the first its dictionary (object 3)."""
    font = _font()
    em, names = font["head"].unitsPerEm, font.getBestCmap()
    widths = [font["hmtx"][names[code]][0] * 1000 // em if code in names else 0 for code in range(32, 127)]
    body = Path(FONT).read_bytes()
    is_cff = "CFF " in font
    kind, key = ("/Type1", "FontFile3") if is_cff else ("/TrueType", "FontFile2")
    more = "/Subtype /OpenType" if is_cff else f"/Length1 {len(body)}"
    return [
        f"<< /Type /Font /Subtype {kind} /BaseFont /OpenSerif /FirstChar 32 /LastChar 126 /Widths"
        f" [{' '.join(map(str, widths))}] /Encoding /WinAnsiEncoding /FontDescriptor 4 0 R >>".encode(),
        f"<< /Type /FontDescriptor /FontName /OpenSerif /Flags 32 /FontBBox [-200 -400 1400 1200] /ItalicAngle 0"
        f" /Ascent 900 /Descent -300 /CapHeight 670 /StemV 80 /{key} 5 0 R >>".encode(),
        f"<< /Length {len(body)} {more} >>\nstream\n".encode() + body + b"\nendstream",
    ]


def text(said: str, x: float, y: float, points: float) -> str:
    """A line of text in the open font."""
    held = said.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
    return f"BT /F {points} Tf {x} {y} Td ({held}) Tj ET\n"


def bookplate() -> bytes:
    """The demo's artwork: a frame, a lamp, a name to be filled in; one colour, the size of the piece."""
    mm = 72 / 25.4
    name, _ = letters("EX LIBRIS", 17 * mm, 70 * mm, 20)
    frame = rule(5 * mm, 5 * mm, 60 * mm, 80 * mm) + "1 g " + rule(6 * mm, 6 * mm, 58 * mm, 78 * mm) + "0 g "
    lamp = circle(35 * mm, 45 * mm, 14 * mm) + rule(33 * mm, 26 * mm, 4 * mm, 8 * mm)
    lines = "".join(rule(15 * mm, (12 + 5 * line) * mm, 40 * mm, 0.5) for line in range(2))
    return pdf_of("0 g " + frame + name + lamp + lines, size=(70 * mm, 90 * mm))
