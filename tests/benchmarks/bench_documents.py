"""
Documents: ratios to the same page without tags, to a one-line page, to WeasyPrint's own import.

Each figure is the best of several, taken in turn, so that other work on the machine weighs on all alike and
least. Run with ``python -m tests.benchmarks.bench_documents``.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from msgspec.structs import replace

from quoting.docket import docket_for
from quoting.documents.children import Children
from quoting.documents.docket import docket_page
from quoting.documents.page import Page
from quoting.documents.quotation import quotation_page, quotation_pdf
from quoting.documents.render import render
from tests.documents.reading import card_in, estimate_in, quotation_in

SHOP = Path(__file__).resolve().parents[2] / "rate_cards_demo" / "marrowby-lane"
ROUNDS = 9
PAGES = 10
COMPILED = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}  # as an installed package is
ONE_LINE = Page(html="<html lang=en><title>t</title><p>one line", css="")


def seconds(*works: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> list[float]:
    """The best of each piece of work, taken in turn so that a busy machine slows them alike."""
    taken: list[list[float]] = [[] for _ in works]
    for one in works:
        one()
    for _ in range(ROUNDS):
        for place, one in enumerate(works):
            began = clock()
            one()
            taken[place].append(clock() - began)
    return [min(some) for some in taken]


def in_a_process(*words: str) -> Callable[[], object]:
    """A command as a piece of work."""
    return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True, env=COMPILED)


def main() -> None:
    """Measure and print."""
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")
    page = quotation_page(quotation)
    print("in this process, processor time")
    docket = docket_page(docket_for(estimate_in("marrowby-lane", "coasters", "GBP"), card_in("marrowby-lane", "GBP")))
    # These two by themselves: whichever comes after a docket finds the processor's caches full of it.
    warm, tagless = seconds(lambda: render(page), lambda: render(page, variant=None), clock=time.process_time)
    line, whole, bench = seconds(
        lambda: render(ONE_LINE, variant=None),
        lambda: quotation_pdf(quotation),
        lambda: render(docket),
        clock=time.process_time,
    )
    print(f"quotation, A-3a + UA-1 with XML  {warm * 1000:7.0f} ms")
    print(f"  to the same without tags, XML  {warm / tagless:7.2f} x   (at most 1.3)")
    print(f"  to WeasyPrint's one line       {warm / line:7.1f} x")
    print(f"  page and render                {whole * 1000:7.0f} ms")
    print(f"docket                           {bench * 1000:7.0f} ms")
    print(f"worst quotation accepted         {_worst():7.1f} s    (at most 5)")
    _cold(warm)
    _children(page)


def _worst() -> float:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")
    item, price = quotation.items[0], quotation.options[0].prices[0]
    options = tuple(replace(option, prices=(price,) * 20) for option in (quotation.options * 3)[:4])
    worst = replace(
        quotation,
        items=(replace(item, lines=("W" * 118,) * 2),) * 20,
        options=options,
        terms=("term " * 400,) * 12,
        notes="note " * 400,
    )
    began = time.perf_counter()
    quotation_pdf(worst)
    return time.perf_counter() - began


def _cold(warm: float) -> None:
    with tempfile.TemporaryDirectory() as folder:
        job, card, out = SHOP / "jobs" / "coasters.toml", SHOP / "card", Path(folder) / "q.pdf"
        command = ("-m", "quoting.cli", "quote", str(job), "--card", str(card), "--out", str(out))
        cold, importing = seconds(in_a_process(*command), in_a_process("-c", "import weasyprint"))
    print(f"cold quoting quote to a PDF      {cold * 1000:7.0f} ms")
    print(f"  to import weasyprint + warm    {cold / (importing + warm):7.2f} x   (at most 1.3)")


def _children(page: Page) -> None:
    one, two = Children(most=1), Children(most=2)
    alone, together = seconds(lambda: _rendered(page, one, 1), lambda: _rendered(page, two, 2))
    one.end()
    two.end()
    print(f"PDFs a second, one child         {PAGES / alone:7.1f}")
    print(f"PDFs a second, two children      {PAGES / together:7.1f}      {alone / together:.2f} x (at least 1.8)")


def _rendered(page: Page, children: Children, most: int) -> None:
    with ThreadPoolExecutor(most) as threads:
        list(threads.map(lambda _: children.render(page, seconds=120), range(PAGES)))


if __name__ == "__main__":
    main()
