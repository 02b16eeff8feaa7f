"""
From a choice to the new price on the page, as a multiple of the bare price call of the same server.

``python -m tests.benchmarks.bench_form``. The page waits a moment before it asks (150 ms after a choice), so that a
row of choices asks once; that wait is told apart.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path

import httpx

from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import CARD
from tests.api.serving import Served, free_url
from tests.book.shop import NOW
from tests.site.browser import Visit, started
from tests.site.conftest import MANY, SECRET

ROUNDS = 40
# Milliseconds from a choice to the answer in the price box, and of it what passed before the page asked.
WATCH = """
([name, value]) => new Promise((done) => {
  const box = document.querySelector("[data-price-box]");
  const field = document.querySelector(`select[name="${name}"]`);
  const began = performance.now();
  let asked = 0;
  const watch = new MutationObserver(() => {
    if (box.getAttribute("aria-busy") === "true") { asked ||= performance.now(); return; }
    if (!asked) return;
    watch.disconnect();
    done([performance.now() - began, asked - began]);
  });
  watch.observe(box, { attributes: true, childList: true });
  field.value = value;
  field.dispatchEvent(new Event("change", { bubbles: true }));
})
"""


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, started() as browser:
        settings = Settings(
            card=CARD,
            book=str(Path(folder) / "book.sqlite"),
            base_url=free_url(),
            secret=SECRET,
            most_looks_a_minute=MANY,
            most_prices_a_minute=MANY,
        )
        with Served(settings, Path(folder) / "server.log") as served:
            with QuoteBook(settings.book, secret=SECRET.encode()) as book:
                key = book.keys.make("bench", scopes=("form",), at=NOW, by="owner").secret
            visit = Visit(browser, served.url)
            page = visit.open("/order/coasters")
            page.fill('textarea[name="front.lines"]', "THE LANTERN & EEL")
            page.wait_for_selector("[data-price-box] tbody tr")
            shown, waited, bare = [], [], []
            with httpx.Client(base_url=served.url, headers={"Authorization": f"Bearer {key}"}) as api:
                for number in range(ROUNDS):
                    ink = ("harbour-blue", "brick-red", "ochre", "black")[number % 4]
                    total, before = page.evaluate(WATCH, ["front.inks", ink])
                    shown.append(total)
                    waited.append(before)
                    side = {"inks": [ink], "lines": [{"text": "THE LANTERN & EEL"}]}
                    choice = {"product": "coasters", "quantities": [100], "front": side}
                    began = time.perf_counter()
                    api.post("/v1/public/prices", json={"choice": choice}).raise_for_status()
                    bare.append((time.perf_counter() - began) * 1000)
            visit.close()
    call, all_of_it, wait = (statistics.median(one) for one in (bare, shown, waited))
    print(f"bare price call            {call:6.1f} ms")
    print(f"from a choice to the price {all_of_it:6.1f} ms, {all_of_it / call:.1f} times the call")
    print(f"without the page's wait    {all_of_it - wait:6.1f} ms, {(all_of_it - wait) / call:.1f} times the call")


if __name__ == "__main__":
    main()
