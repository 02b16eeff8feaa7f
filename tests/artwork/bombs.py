"""Hostile files, each at most 10 MB, made here: what they would unpack to, or lead into, is far more."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Callable

from PIL import Image

from tests.artwork.drawn import pdf_of, put_together


def png(side: int) -> bytes:
    """A PNG of side x side white pixels, one bit each."""
    body = packed(b"\0" + b"\xff" * ((side + 7) // 8), side)
    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    dots = struct.pack(">IIB", 23622, 23622, 1)
    chunks = ((b"IHDR", head), (b"pHYs", dots), (b"IDAT", body), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(name, data) for name, data in chunks)


def packed(part: bytes, times: int) -> bytes:
    """So many times a part, as zlib packs it: the second and every later one is the same few bytes again."""
    packer = zlib.compressobj(9)
    first = packer.compress(part) + packer.flush(zlib.Z_FULL_FLUSH)
    again = packer.compress(part) + packer.flush(zlib.Z_FULL_FLUSH)
    return first + again * (times - 1) + packer.flush()


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def tiff_loop() -> bytes:
    """A TIFF whose one directory is followed by itself."""
    tags = [(256, 4, 8), (257, 4, 8), (258, 3, 8), (259, 3, 1), (262, 3, 1), (273, 4, 300), (278, 4, 8), (279, 4, 64)]
    entries = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in tags)
    directory = struct.pack("<H", len(tags)) + entries + struct.pack("<I", 8)
    return b"II*\0" + struct.pack("<I", 8) + directory + b"\0" * 400


def tiff_pages(count: int) -> bytes:
    """A TIFF of so many small pages."""
    out = io.BytesIO()
    page = Image.new("1", (8, 8))
    page.save(out, "TIFF", save_all=True, append_images=[page] * (count - 1), dpi=(600, 600))
    return out.getvalue()


def gif(frames: int) -> bytes:
    """A GIF of so many frames."""
    frame = b"\x2c\0\0\0\0\1\0\1\0\0\2\2\x44\1\0"
    return b"GIF89a\1\0\1\0\x80\0\0\0\0\0\xff\xff\xff" + frame * frames + b";"


def pdf_flate() -> bytes:
    """A PDF whose drawing unpacks a thousandfold: 9 MB are 9 GB of operators."""
    part = b" " * 1_000_000 + b"0 0 m 1 1 l S\n"
    return _pdf_with_stream(b"/Filter /FlateDecode", packed(part, 9000))


def pdf_flate_twice() -> bytes:
    """A PDF whose drawing is packed twice: some kilobytes are gigabytes."""
    return _pdf_with_stream(b"/Filter [/FlateDecode /FlateDecode]", zlib.compress(packed(b"\0" * 1_000_000, 4000), 9))


def pdf_picture() -> bytes:
    """A PDF with a picture of 40 000 x 40 000 pixels in three colours."""
    body = packed(b"\0" * 1_200_000, 4000)
    picture = (
        b"<< /Type /XObject /Subtype /Image /Width 40000 /Height 40000 /BitsPerComponent 8 /ColorSpace /DeviceRGB"
        b" /Filter /FlateDecode /Length %d >>\nstream\n%b\nendstream" % (len(body), body)
    )
    page = b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 600 600] /Contents 4 0 R /Resources 6 0 R >>"
    drawn = b"600 0 0 600 0 0 cm /I Do"
    return put_together(
        [
            b"<< /Type /Catalog /Pages 2 0 R >>",
            b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
            page,
            b"<< /Length %d >>\nstream\n%b\nendstream" % (len(drawn), drawn),
            picture,
            b"<< /XObject << /I 5 0 R >> >>",
        ]
    )


def _pdf_with_stream(filters: bytes, body: bytes) -> bytes:
    return put_together(
        [
            b"<< /Type /Catalog /Pages 2 0 R >>",
            b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 300 300] /Contents 4 0 R /Resources << >> >>",
            b"<< /Length %d %b >>\nstream\n%b\nendstream" % (len(body), filters, body),
        ]
    )


def pdf_loop() -> bytes:
    """A PDF whose tree of pages leads back into itself."""
    return put_together(
        [b"<< /Type /Catalog /Pages 2 0 R >>", b"<< /Type /Pages /Kids [2 0 R 2 0 R] /Count 1000000 >>"]
    )


def pdf_forms_in_forms() -> bytes:
    """A PDF whose form draws ten forms, each of which draws ten, to a depth of twelve."""
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 300 300] /Contents 4 0 R"
        b" /Resources << /XObject << /X 5 0 R >> >> >>",
        b"<< /Length 5 >>\nstream\n/X Do\nendstream",
    ]
    for depth in range(12):
        drawn = b"/X Do " * 10 if depth < 11 else b"0 0 9 9 re f"
        inner = b"/Resources << /XObject << /X %d 0 R >> >>" % (6 + depth) if depth < 11 else b""
        objects.append(
            b"<< /Type /XObject /Subtype /Form /BBox [0 0 300 300] %b /Length %d >>\nstream\n%b\nendstream"
            % (inner, len(drawn), drawn)
        )
    return put_together(objects)


def pdf_pages(count: int) -> bytes:
    """A PDF of so many pages, all one object."""
    kids = b"3 0 R " * count
    return put_together(
        [
            b"<< /Type /Catalog /Pages 2 0 R >>",
            b"<< /Type /Pages /Kids [%b] /Count %d >>" % (kids, count),
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 300 300] >>",
        ]
    )


def pdf_vast_page() -> bytes:
    """A PDF of one page of five metres by five."""
    return pdf_of("0 g 0 0 9 9 re f", size=(14_400, 14_400))


def html_in_pdf() -> bytes:
    """A PDF that a browser that guesses would take for a page."""
    made = pdf_of("0 g 0 0 90 90 re f")
    return made.replace(b"%PDF-1.6\n", b"%PDF-1.6\n%<html><script>alert(1)</script>\n")


def pdf_in_html() -> bytes:
    """A page with a PDF in it."""
    return b"<!DOCTYPE html><script>alert(1)</script>\n" + pdf_of("0 g 0 0 90 90 re f")


def zip_behind_png() -> bytes:
    """A PNG with an archive after it."""
    return _picture("PNG") + zip_in_zip()


def zip_behind_pdf() -> bytes:
    """A PDF with an archive after it."""
    return pdf_of("0 g 0 0 90 90 re f") + zip_in_zip()


def zip_in_zip() -> bytes:
    """An archive of an archive of a gigabyte of nothing."""
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("nothing", b"\0" * 50_000_000)
    outer = io.BytesIO()
    with zipfile.ZipFile(outer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("nothing.zip", inner.getvalue())
    return outer.getvalue()


def _picture(kind: str) -> bytes:
    out = io.BytesIO()
    picture = Image.new("L", (60, 60), 255)
    picture.paste(0, (10, 10, 50, 50))
    picture.save(out, kind, dpi=(600, 600))
    return out.getvalue()


_LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
_SVG = {
    "laughs": f'<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY l0 "ha">{_LAUGHS}]><svg><text>&l9;</text></svg>',
    "outside": '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg><text>&x;</text></svg>',
    "linked": '<svg xmlns:xlink="http://www.w3.org/1999/xlink"><image xlink:href="file:///etc/passwd"/></svg>',
}
EPS = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(%pipe%id) (w) file pop showpage\n%%EOF\n"

BOMBS: dict[str, tuple[str, str, Callable[[], bytes]]] = {
    "a PNG of 13 300 pixels square": ("a.png", "image/png", lambda: png(13_300)),
    "a PNG of 60 000 pixels square": ("a.png", "image/png", lambda: png(60_000)),
    "a TIFF that leads into itself": ("a.tif", "image/tiff", tiff_loop),
    "a TIFF of 200 pages": ("a.tif", "image/tiff", lambda: tiff_pages(200)),
    "a GIF of 10 000 frames": ("a.gif", "image/gif", lambda: gif(10_000)),
    "a GIF called PNG": ("a.png", "image/png", lambda: gif(10_000)),
    "a PDF packed a thousandfold": ("a.pdf", "application/pdf", pdf_flate),
    "a PDF packed twice": ("a.pdf", "application/pdf", pdf_flate_twice),
    "a PDF with a vast picture": ("a.pdf", "application/pdf", pdf_picture),
    "a PDF whose pages lead into themselves": ("a.pdf", "application/pdf", pdf_loop),
    "a PDF of forms in forms": ("a.pdf", "application/pdf", pdf_forms_in_forms),
    "a PDF of 100 000 pages": ("a.pdf", "application/pdf", lambda: pdf_pages(100_000)),
    "a PDF of five metres": ("a.pdf", "application/pdf", pdf_vast_page),
    "an SVG that laughs": ("a.svg", "image/svg+xml", _SVG["laughs"].encode),
    "an SVG that reads a file": ("a.svg", "image/svg+xml", _SVG["outside"].encode),
    "an SVG that links a file": ("a.png", "image/png", _SVG["linked"].encode),
    "a zip in a zip": ("a.pdf", "application/pdf", zip_in_zip),
    "EPS called PNG": ("a.png", "image/png", lambda: EPS),
    "EPS called PDF": ("a.pdf", "application/pdf", lambda: EPS),
    "a PDF that is a page too": ("a.pdf", "application/pdf", html_in_pdf),
    "a page with a PDF in it": ("a.pdf", "application/pdf", pdf_in_html),
    "a PNG with a zip behind it": ("a.png", "image/png", zip_behind_png),
    "a PDF with a zip behind it": ("a.pdf", "application/pdf", zip_behind_pdf),
    "nothing": ("a.pdf", "application/pdf", lambda: b""),
}
