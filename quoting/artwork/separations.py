"""Separations: a page's spot and process colours told apart by Ghostscript's ``tiffsep``, a plane each."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from quoting.artwork.measured import Limits
from quoting.artwork.pages import SinglePage
from quoting.artwork.planes import Pixels, Plane, check_pixels
from quoting.errors import ArtworkToolError, UnfitArtworkError

GHOSTSCRIPT_LINE = "apt-get install -y --no-install-recommends ghostscript"
# Ghostscript paints every dot that a shape touches. It is given so many times finer dots, each told in quarters.
FINER, FINEST_DOTS = 4, 2400
_MOST_SPOTS = 12
_NAMED = re.compile(r"page\((.*)\)\.tif", re.DOTALL)


def separated_planes(page: SinglePage, dots: int, limits: Limits) -> Iterator[Plane]:
    """
    A plane for each separation of a page that holds any ink.

    Raises:
        ArtworkToolError: Ghostscript is not here.
        UnfitArtworkError: it cannot draw the page.
    """
    folder = Path.cwd()
    _draw(page, dots, folder)
    for path in sorted(folder.glob("page(*).tif")):
        found = _NAMED.fullmatch(path.name)
        ink = _ink(path, limits)
        path.unlink()
        if found is None or not ink.any():
            continue
        yield Plane(
            page=page.number,
            separation=found[1],
            ink=ink,
            dots_an_inch=Decimal(dots),
            trimmed=page.trimmed_at(dots),
        )


def _draw(page: SinglePage, dots: int, folder: Path) -> None:
    ghostscript = shutil.which("gs")
    if ghostscript is None:
        raise ArtworkToolError(
            "spot and process colours are told apart by Ghostscript, which is not here."
            f" On Debian or Ubuntu: {GHOSTSCRIPT_LINE}"
        )
    finer = min(FINER, FINEST_DOTS // dots) or 1
    asked = folder / "asked.pdf"
    asked.write_bytes(page.pdf)
    done = subprocess.run(
        [
            ghostscript,
            "-q",
            "-dSAFER",
            "-dBATCH",
            "-dNOPAUSE",
            "-dNOPLATFONTS",
            "-sDEVICE=tiffsep",
            f"-dMaxSpots={_MOST_SPOTS}",
            "-sCompression=lzw",
            f"-r{dots * finer}",
            f"-dDownScaleFactor={finer}",
            "-dGraphicsAlphaBits=4",
            "-dTextAlphaBits=4",
            "-dBufferSpace=64000000",
            "-sOutputFile=page.tif",
            f"--permit-file-read={asked}",
            str(asked),
        ],
        cwd=folder,
        env={"PATH": os.environ.get("PATH", os.defpath), "TMPDIR": str(folder), "LC_ALL": "C.UTF-8"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    asked.unlink()
    if done.returncode or not (folder / "page.tif").exists():
        raise UnfitArtworkError(
            f"page {page.number}: expected a page whose colours can be told apart; found one that Ghostscript refuses"
        )
    (folder / "page.tif").unlink()


def _ink(path: Path, limits: Limits) -> Pixels:
    import numpy as np
    from PIL import Image

    with Image.open(path, formats=("TIFF",)) as picture:
        check_pixels(*picture.size, limits.pixels)
        return 255 - np.asarray(picture.convert("L"))
