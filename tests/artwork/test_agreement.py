"""
Vector pages against their rasters, and 50 generated pages against a general imaging library.

The rasters are drawn by Ghostscript, another renderer than the one that the pages are measured with; their ink is
told by Pillow alone (``ImageStat``, ``getbbox``).
"""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat

from quoting.artwork import Limits, measure_artwork
from tests.artwork.drawn import circle, pdf_of, rule, text

PAGES = 50
MANY = Limits(pages=100, seconds=180)
SAYING = "The quick brown fox jumps over the lazy dog (1926)"


def rastered(pdf: bytes, device: str, folder: Path, gs: str, *more: str) -> list[Path]:
    """Every page as a picture."""
    source = folder / "source.pdf"
    source.write_bytes(pdf)
    ending = "tif" if device.startswith("tiff") else "png"
    subprocess.run(
        [
            gs,
            "-q",
            "-dBATCH",
            "-dNOPAUSE",
            "-r600",
            f"-sDEVICE={device}",
            *more,
            "-sOutputFile=%03d." + ending,
            source,
        ],
        cwd=folder,
        check=True,
    )
    return sorted(folder.glob(f"*.{ending}"))


def drawn_at_random(dice: random.Random) -> str:
    """A page of discs, rules, slanted bars, greys and reversals."""
    shapes = ["0 g "]
    for _ in range(dice.randint(3, 12)):
        x, y, size = dice.uniform(7, 70), dice.uniform(7, 70), dice.uniform(2, 25)
        shapes.append(f"{dice.choice([0, 0, 0, 0.2, 0.5, 0.8, 1])} g ")
        kind = dice.randrange(3)
        if kind == 0:
            shapes.append(circle(x, y, size / 2))
        elif kind == 1:
            shapes.append(rule(x, y, size, dice.uniform(1, 25)))
        else:
            shapes.append(f"{x} {y} m {x + size} {y + size / 2} l {x + size / 2} {y + size} l h f\n")
    return "".join(shapes) + "0 g " + circle(50, 50, 5)


def test_an_open_fonts_text_agrees_between_vector_and_raster(ghostscript: str, tmp_path: Path) -> None:
    lines = "".join(text(SAYING, 20, 280 - 14 * line, 8 + 0.3 * line) for line in range(18))
    vector = pdf_of("0 g " + lines, with_font=True)
    expected = float(measure_artwork(vector, "text.pdf").forms[0].printed_area)

    for number, (device, *more) in enumerate([("pnggray", "-r600", "-dTextAlphaBits=4"), ("tiffg4", "-r600")]):
        folder = tmp_path / str(number)
        folder.mkdir()
        raster = rastered(vector, device, folder, ghostscript, *more)[0]
        found = measure_artwork(raster.read_bytes(), raster.name).forms[0]

        assert float(found.printed_area) == pytest.approx(expected, rel=0.005)


def test_fifty_generated_pages_agree_with_a_general_imaging_library(ghostscript: str, tmp_path: Path) -> None:
    dice = random.Random(1926)
    made = pdf_of(*(drawn_at_random(dice) for _ in range(PAGES)), size=(100, 100))
    found = measure_artwork(made, "pages.pdf", limits=MANY).forms
    pictures = rastered(
        made, "pnggray", tmp_path, ghostscript, "-r4800", "-dDownScaleFactor=4", "-dGraphicsAlphaBits=4"
    )
    assert len(found) == len(pictures) == PAGES
    assert {1200} == {form.dots_an_inch for form in found}
    pixel = 25.4 / 1200

    for form, path in zip(found, pictures, strict=True):
        with Image.open(path) as opened:
            ink = ImageChops.invert(opened.convert("L"))
        box = ink.point(lambda level: 255 if level >= 6 else 0).getbbox()
        assert box is not None
        area = ImageStat.Stat(ink).sum[0] / 255 * pixel**2

        assert float(form.printed_area) == pytest.approx(area, rel=0.005)
        assert float(form.size.width_mm) == pytest.approx((box[2] - box[0]) * pixel, abs=3 * pixel)
        assert float(form.size.height_mm) == pytest.approx((box[3] - box[1]) * pixel, abs=3 * pixel)
        assert float(form.left) == pytest.approx(box[0] * pixel, abs=2 * pixel)
        assert float(form.top) == pytest.approx(box[1] * pixel, abs=2 * pixel)
