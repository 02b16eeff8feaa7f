"""
Measuring a page against bare rasterising: processor time and memory as ratios, in the same minute.

``python -m tests.benchmarks.bench_artwork``. A page is drawn by PDFium at 600 dots an inch, and nothing more; the
same page is measured whole, in the process and in a child as it is for an upload. Memory is the most that a fresh
process held, over what it held with the same libraries loaded.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
from collections.abc import Callable

from tests.artwork.drawn import circle, pdf_of, rule, text
from tests.artwork.test_agreement import SAYING

TIMES = 7
A4 = (595.28, 841.89)


def pages() -> dict[str, bytes]:
    """Pages of text, of solids, of both in two spot colours."""
    lines = "".join(text(SAYING, 60, 780 - 16 * line, 8 + 0.2 * line) for line in range(40))
    solids = circle(300, 400, 200) + "".join(rule(40, 40 + 9 * line, 500, 0.5 + 0.1 * line) for line in range(20))
    return {
        "A4, text": pdf_of("0 g " + lines, size=A4, with_font=True),
        "A4, solids": pdf_of("0 g " + solids, size=A4),
        "card, solids": pdf_of("0 g " + circle(120, 80, 60) + rule(10, 10, 230, 0.5), size=(255, 156)),
        "A4, two spot colours": pdf_of(
            "/S0 cs 1 scn " + solids + "/S1 cs 1 scn " + rule(60, 650, 200, 100), size=A4, spots=["Crimson", "Moss"]
        ),
    }


def median_seconds(work: Callable[[], object]) -> float:
    """Of the processor, children's with it: other work on the machine is not counted."""
    taken = []
    for _ in range(TIMES):
        started = sum(os.times()[:4])
        work()
        taken.append(sum(os.times()[:4]) - started)
    return max(statistics.median(taken), 1 / 1000)


_PEAK = """
import re, sys
import cv2, numpy, pikepdf, pypdfium2, PIL.Image
from quoting.artwork.figures import figures_of
from quoting.artwork.measured import UPLOADED
from quoting.artwork.pages import rendered, pdf_planes, single_pages
def most():
    return int(re.search(r"VmHWM:\\s*(\\d+)", open("/proc/self/status").read())[1])
held = most()
body = sys.stdin.buffer.read()
page = next(single_pages(body, UPLOADED))
if sys.argv[1] == "bare":
    rendered(page, page.dots_an_inch(UPLOADED.pixels))
else:
    for plane in pdf_planes(body, UPLOADED):
        figures_of(plane, "a.pdf", "0" * 64)
print(most() - held)
"""


def peak_kib(body: bytes, what: str) -> int:
    """Memory of a fresh process over its libraries. [KiB]"""
    done = subprocess.run([sys.executable, "-c", _PEAK, what], input=body, capture_output=True, check=True)
    return int(json.loads(done.stdout))


def main() -> None:
    """Print a row a page."""
    from quoting.artwork import WITHIN_SHOP, measure_artwork
    from quoting.artwork.figures import figures_of
    from quoting.artwork.measured import UPLOADED
    from quoting.artwork.pages import pdf_planes, rendered, single_pages

    print(
        f"{'page':<22}{'bare raster':>12}{'measured':>10}{'in a child':>12}{'memory':>9}  (ratios to the bare raster)"
    )
    for name, body in pages().items():
        page = next(single_pages(body, UPLOADED))
        dots = page.dots_an_inch(UPLOADED.pixels)

        def bare(page: object = page, dots: int = dots) -> object:
            return rendered(page, dots)  # type: ignore[arg-type]  # bound early, in a loop

        def measured(body: bytes = body) -> object:
            return [figures_of(plane, "a.pdf", "0" * 64) for plane in pdf_planes(body, UPLOADED)]

        def in_a_child(body: bytes = body) -> object:
            return measure_artwork(body, "a.pdf", limits=WITHIN_SHOP)

        measured()
        base, whole, apart = (median_seconds(work) for work in (bare, measured, in_a_child))
        memory = peak_kib(body, "whole") / max(1, peak_kib(body, "bare"))
        print(f"{name:<22}{base * 1000:>9.0f} ms{whole / base:>10.1f}{apart / base:>12.1f}{memory:>9.1f}")


if __name__ == "__main__":
    main()
