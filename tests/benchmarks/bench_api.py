"""
The API beside a bare handler of the framework that echoes the same bodies, and beside the engine in this process.

Every request is of another job, so that nothing is remembered from one to the next. What a request may take is
what the echo takes and what the engine takes; the ratio says how little is added. For it echo, server and engine have
one core and the 32 clients another; the same with a server that may go from core to core is told besides.

Run with ``python -m tests.benchmarks.bench_api``; ``--requests 1000`` for steadier figures.
"""

from __future__ import annotations

import argparse
import asyncio
import copy
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from itertools import count as count_up
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import msgspec
from litestar import Litestar, Request, Response, post

from api.examples import JOB
from api.settings import Settings
from quoting import estimate_job, load_rate_card, read_job
from quoting.reader import to_json
from tests.api.asking import made_key
from tests.api.serving import Served, family, free_url, rss_bytes
from tests.benchmarks.wire import Wire, post_bytes
from tests.conftest import DAY, demo_card_path

CARD = demo_card_path("marrowby-lane")
CLIENTS = 32
SERVERS, ASKING = 0, -1  # cores
ROUNDS = 5
ANSWER_BYTES = 21_900  # of an estimate of these jobs
PRICE_RATIO, STORED_RATIO, MOST_MB = 0.85, 0.7, 150
LARGEST, LARGEST_RATIO = 1_000_000, "at most 2"  # A42: no work for each piece


class Timed(msgspec.Struct, frozen=True):
    """What a run of requests took."""

    rate: float
    p50_ms: float
    p99_ms: float


class Round(msgspec.Struct, frozen=True, kw_only=True):
    """The four beside each other, within seconds of each other."""

    engine_s: float
    engine_cpu_s: float
    largest_over_smallest: float
    priced: Timed
    priced_cpu_s: float
    stored: Timed
    freely_priced: Timed
    echo: Timed

    @property
    def allowed(self) -> float:
        """Prices a second that the echo and the engine allow."""
        return 1 / (1 / self.echo.rate + self.engine_s)


def main() -> None:
    """Print the median of every figure, and of every ratio, over rounds that take turns."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--requests", type=int, default=200, help="of each kind, in each round")
    count = parser.parse_args().requests
    jobs = different_jobs()
    rounds: list[Round] = []
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        with on_core(SERVERS):
            url, headers, server = stack.enter_context(served(Path(folder, "on-one-core")))
            echo = stack.enter_context(echoing())
        freely = stack.enter_context(served(Path(folder, "on-all")))
        asked(url, "/v1/estimates", list(islice(jobs, 40)), headers)
        asked(freely[0], "/v1/estimates", list(islice(jobs, 40)), freely[1])
        asked(echo, "/echo", list(islice(jobs, 40)), {})
        for _ in range(ROUNDS):
            rounds.append(_round(url, echo, headers, server.pid, freely, jobs, count))
        rss_mb = max(rss_bytes(pid) for one in (server, freely[2]) for pid in family(one.pid)) / 1_000_000
    _print(rounds, count, rss_mb)


@contextmanager
def on_core(which: int) -> Iterator[None]:
    """
    This process, and those that it starts, on the first or the last core.

    Servers and the engine alone have the one, clients the other: none is moved about while it is measured.
    """
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    cores = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {sorted(cores)[which]})
    try:
        yield
    finally:
        os.sched_setaffinity(0, cores)


def _round(
    url: str,
    echo_url: str,
    headers: dict[str, str],
    pid: int,
    freely: tuple[str, dict[str, str], Served],
    jobs: Iterator[dict[str, Any]],
    count: int,
) -> Round:
    with on_core(SERVERS):
        engine_s, engine_cpu_s = engine_seconds(list(islice(jobs, count)))
        smallest_s, _ = engine_seconds([job | {"quantities": [1]} for job in islice(jobs, count)])
        largest_s, _ = engine_seconds([job | {"quantities": [LARGEST]} for job in islice(jobs, count)])
    before = cpu_seconds(pid)
    priced = asked(url, "/v1/estimates", list(islice(jobs, count)), headers)
    priced_cpu_s = (cpu_seconds(pid) - before) / count
    # What is stored waits for the disk in a thread of its own: it and its prices have every core.
    url, headers, _ = freely
    freely_priced = asked(url, "/v1/estimates", list(islice(jobs, count)), headers)
    stored = asked(url, "/v1/book/quotations", [{"job": job} for job in islice(jobs, count)], headers, once=True)
    echo = asked(echo_url, "/echo", list(islice(jobs, count)), {})
    return Round(
        engine_s=engine_s,
        engine_cpu_s=engine_cpu_s,
        largest_over_smallest=largest_s / smallest_s,
        priced=priced,
        priced_cpu_s=priced_cpu_s,
        stored=stored,
        freely_priced=freely_priced,
        echo=echo,
    )


def _print(rounds: Sequence[Round], count: int, rss_mb: float) -> None:
    def median(figure: Callable[[Round], float]) -> float:
        return statistics.median(map(figure, rounds))

    def tell(name: str, timed: Callable[[Round], Timed]) -> None:
        rate, p50 = median(lambda one: timed(one).rate), median(lambda one: timed(one).p50_ms)
        print(f"{name:<18}{rate:8.0f} /s   p50 {p50:7.1f} ms   p99 {median(lambda one: timed(one).p99_ms):7.1f} ms")

    print(f"{ROUNDS} rounds of {count} different jobs, {CLIENTS} clients, one worker, SQLite at FULL; medians")
    tell("echo", lambda one: one.echo)
    tell("prices, one core", lambda one: one.priced)
    tell("prices, all", lambda one: one.freely_priced)
    tell("stored, all", lambda one: one.stored)
    print(f"{'engine, here':<18}{1 / median(lambda one: one.engine_s):8.0f} /s")
    for name, figure, wanted in (
        ("prices / what echo and engine allow", median(lambda one: one.priced.rate / one.allowed), PRICE_RATIO),
        (
            "the same, the server on all cores",
            median(lambda one: one.freely_priced.rate / one.allowed),
            "",
        ),
        ("prices / echo", median(lambda one: one.priced.rate / one.echo.rate), ""),
        ("stored / prices", median(lambda one: one.stored.rate / one.freely_priced.rate), STORED_RATIO),
        ("CPU of the engine / of a price", median(lambda one: one.engine_cpu_s / one.priced_cpu_s), ""),
        (f"a price of {LARGEST:,} / of 1", median(lambda one: one.largest_over_smallest), LARGEST_RATIO),
        ("memory of the worker, MB", rss_mb, MOST_MB),
    ):
        print(f"{name:<38}{figure:8.2f}   {f'wanted {wanted}' if wanted else ''}")


def different_jobs() -> Iterator[dict[str, Any]]:
    """Jobs that differ in size and in quantity, without an end."""
    for place in count_up():
        job = copy.deepcopy(JOB) | {"title": f"Cards {place}", "quantities": [100 + place % 97]}
        job["items"][0]["size"] = f"{120 + place % 13} x {170 + place / 1000:.3f} mm"
        yield job


def engine_seconds(jobs: Sequence[dict[str, Any]]) -> tuple[float, float]:
    """What the engine takes from a job's JSON to the estimate's, by the clock and of the processor. [s]"""
    card = load_rate_card(CARD)
    bodies = [to_json(job) for job in jobs]
    began, began_cpu = time.perf_counter(), time.process_time()
    for body in bodies:
        to_json(estimate_job(read_job(msgspec.json.decode(body)), card, on=DAY))
    return (time.perf_counter() - began) / len(bodies), (time.process_time() - began_cpu) / len(bodies)


def cpu_seconds(pid: int) -> float:
    """What a process and those it started have had of the processor. [s]"""
    ticks = 0
    for one in family(pid):
        fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, dict[str, str], Served]]:
    """The API with one worker and a new book, and an owner's key to it."""
    folder.mkdir()
    settings = Settings(card=CARD, book=str(folder / "book.sqlite"), base_url=free_url())
    with Served(settings, folder / "log") as server:
        yield server.url, made_key(settings.book), server


@contextmanager
def echoing() -> Iterator[str]:
    """A bare handler that reads the body and answers as many bytes as an estimate has."""
    url = free_url()
    app = "tests.benchmarks.bench_api:echo_app"
    told = ["--factory", "--port", url.rpartition(":")[2], "--no-access-log", "--log-level", "error"]
    process = subprocess.Popen([sys.executable, "-m", "uvicorn", app, *told])
    try:
        _wait_for(f"{url}/echo")
        yield url
    finally:
        process.terminate()
        process.wait(10)


def echo_app() -> Litestar:
    """The bare handler: a body is read as JSON and one of a size is written."""
    answer = b'{"echo": "' + b"x" * ANSWER_BYTES + b'"}'

    @post("/echo", status_code=200)
    async def echo(request: Request[Any, Any, Any]) -> Response[bytes]:
        msgspec.json.decode(await request.body())
        return Response(answer, media_type="application/json")

    return Litestar(route_handlers=[echo], openapi_config=None, logging_config=None)


def _wait_for(url: str) -> None:
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            httpx.post(url, json={})
            return
        except httpx.TransportError:
            time.sleep(0.05)


def asked(url: str, path: str, bodies: Sequence[Any], headers: dict[str, str], *, once: bool = False) -> Timed:
    """Send every body, by 32 clients that keep their connections."""
    fixed = {"Host": urlsplit(url).netloc, **headers}
    requests = [post_bytes(path, to_json(body), fixed, once=once) for body in bodies]
    times: list[float] = []
    began = time.perf_counter()
    with on_core(ASKING):
        asyncio.run(_all(url, requests, times))
    took = time.perf_counter() - began
    cuts = statistics.quantiles(times, n=100)
    return Timed(len(bodies) / took, cuts[49] * 1000, cuts[98] * 1000)


async def _all(url: str, requests: list[bytes], times: list[float]) -> None:
    waiting = iter(requests)
    await asyncio.gather(*(_client(url, waiting, times) for _ in range(CLIENTS)))


async def _client(url: str, waiting: Iterator[bytes], times: list[float]) -> None:
    wire = await Wire.to(url)
    for request in waiting:
        answer = await wire.ask(request)
        times.append(answer.seconds)
        if answer.status not in {200, 201}:
            raise RuntimeError(f"expected an answer; found {answer.status}: {answer.body[:300]!r}")
    wire.close()


if __name__ == "__main__":
    main()
