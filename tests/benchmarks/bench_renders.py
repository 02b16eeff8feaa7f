"""
What prices take beside twenty documents that are rendered at once, as a multiple of what they take without (A47).

``python -m tests.benchmarks.bench_renders``. Two workers, a new book, four clients who ask for prices of different
jobs; quiet and busy take turns. The load average is printed beside: on a machine with other work both are longer.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from pathlib import Path
from typing import Any

import httpx

from api.media_types import PDF
from api.settings import Settings
from tests.api.asking import CARD, made_key
from tests.api.serving import Served, free_url
from tests.benchmarks.bench_api import different_jobs

ROUNDS, PRICES, CLIENTS, DOCUMENTS = 3, 150, 4, 20


def main() -> None:
    """Measure and print."""
    jobs = different_jobs()
    quiet: list[float] = []
    busy: list[float] = []
    documents: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(card=CARD, book=str(Path(folder) / "book.sqlite"), base_url=free_url(), workers=2)
        with Served(settings, Path(folder) / "log") as served, _client(served, settings) as client:
            _beside_documents(client, jobs, [], [])
            for _ in range(ROUNDS):
                quiet += _priced(client, islice(jobs, PRICES), threading.Event())
                _beside_documents(client, jobs, busy, documents)
    for name, times in (("prices, quiet", quiet), ("prices beside 20 documents", busy), ("documents", documents)):
        cuts = statistics.quantiles(times, n=100)
        print(f"{name:<28}{len(times):6}   p50 {cuts[49] * 1000:7.1f} ms   p99 {cuts[98] * 1000:7.1f} ms")
    ratio = statistics.quantiles(busy, n=100)[98] / statistics.quantiles(quiet, n=100)[98]
    print(f"p99 beside documents / quiet {ratio:6.1f}   load average {os.getloadavg()[0]:.1f}")


def _client(served: Served, settings: Settings) -> httpx.Client:
    limits = httpx.Limits(max_connections=100)
    return httpx.Client(base_url=served.url, headers=made_key(settings.book), limits=limits, timeout=120)


def _beside_documents(
    client: httpx.Client, jobs: Iterator[dict[str, Any]], prices: list[float], documents: list[float]
) -> None:
    """Prices for as long as twenty documents that are asked for together take."""
    over = threading.Event()
    with ThreadPoolExecutor(DOCUMENTS + 1) as crew:
        pricing = crew.submit(_priced, client, jobs, over)
        rendering = [crew.submit(_document, client, job) for job in list(islice(different_jobs(), DOCUMENTS))]
        documents += [one.result() for one in rendering]
        over.set()
        prices += pricing.result()


def _document(client: httpx.Client, job: dict[str, Any]) -> float:
    began = time.perf_counter()
    answer = client.post("/v1/quotations", json=job, headers={"Accept": PDF})
    answer.raise_for_status()
    return time.perf_counter() - began


def _priced(client: httpx.Client, jobs: Iterator[dict[str, Any]], over: threading.Event) -> list[float]:
    """What each price took, until there are no more jobs or it is over."""
    times: list[float] = []
    taking = threading.Lock()

    def ask() -> None:
        while not over.is_set():
            with taking:
                job = next(jobs, None)
            if job is None:
                return
            began = time.perf_counter()
            client.post("/v1/estimates", json=job).raise_for_status()
            times.append(time.perf_counter() - began)

    with ThreadPoolExecutor(CLIENTS) as crew:
        for one in [crew.submit(ask) for _ in range(CLIENTS)]:
            one.result()
    return times


if __name__ == "__main__":
    main()
