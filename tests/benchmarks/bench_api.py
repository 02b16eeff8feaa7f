"""
The API beside a bare handler of the framework that echoes the same bodies, and beside the engine in this process.

Every request is of another job, so that nothing is remembered from one to the next. What a request may take is
what the echo takes and what the engine takes; the ratio says how little is added. Jobs differ in what they take, so
that in a round the engine, the prices, the echo and what is stored have the same ones, each in a process that has not
seen them. They take turns in being first, and rounds are short: what else the machine does falls on them alike. Each
ratio is the median of the rounds'.

Run with ``python -m tests.benchmarks.bench_api``; ``--rounds 40`` for steadier figures.
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
from typing import Any, Self
from urllib.parse import urlsplit

import httpx
import msgspec
from litestar import Litestar, Request, Response, post

from api.examples import JOB
from api.serving import KEEP_ALIVE_SECONDS
from api.settings import Settings
from quoting import estimate_job, load_rate_card, read_job
from quoting.reader import to_json
from tests.api.asking import made_key
from tests.api.serving import Served, family, free_url, rss_bytes
from tests.benchmarks.wire import Answered, Wire, post_bytes
from tests.conftest import DAY, demo_card_path

CARD = demo_card_path("marrowby-lane")
CLIENTS = 32
JOBS = 100  # in a round
ANSWER_BYTES = 21_900  # of an estimate of these jobs
PRICE_RATIO, STORED_RATIO, MOST_MB = 0.85, 0.7, 150
LARGEST, LARGEST_RATIO = 1_000_000, "at most 2"  # A42: no work for each piece


class Took(msgspec.Struct, frozen=True, kw_only=True):
    """What the jobs of a round took."""

    seconds: float
    cpu_seconds: float
    each: tuple[float, ...]

    @property
    def a_second(self) -> float:
        """The rate."""
        return JOBS / self.seconds


class Asking:
    """32 connections to a server, kept from round to round."""

    def __init__(self, url: str, path: str, headers: dict[str, str], pid: int, *, once: bool = False) -> None:
        self._path = path
        self._headers = {"Host": urlsplit(url).netloc, **headers}
        self._pid = pid
        self._once = once
        self._running = asyncio.Runner()
        self._wires = [self._running.run(Wire.to(url)) for _ in range(CLIENTS)]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for wire in self._wires:
            wire.close()
        self._running.close()

    def took(self, bodies: Sequence[Any]) -> Took:
        """Send every body."""
        requests = [post_bytes(self._path, to_json(body), self._headers, once=self._once) for body in bodies]
        before, began = cpu_seconds(self._pid), time.perf_counter()
        answers = self._running.run(self._all(requests))
        took = time.perf_counter() - began
        each = tuple(answer.seconds for answer in answers)
        return Took(seconds=took, cpu_seconds=cpu_seconds(self._pid) - before, each=each)

    async def _all(self, requests: Sequence[bytes]) -> list[Answered]:
        waiting = iter(requests)
        answered = await asyncio.gather(*(_answers(wire, waiting) for wire in self._wires))
        return [answer for some in answered for answer in some]


async def _answers(wire: Wire, waiting: Iterator[bytes]) -> list[Answered]:
    answers = []
    for request in waiting:
        answer = await wire.ask(request)
        if answer.status not in {200, 201}:
            raise RuntimeError(f"expected an answer; found {answer.status}: {answer.body[:300]!r}")
        answers.append(answer)
    return answers


def main() -> None:
    """Print the median of every figure, and of every ratio, over rounds that take turns."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=20)
    count = parser.parse_args().rounds
    jobs = different_jobs()
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        url, headers, pricing = stack.enter_context(served(Path(folder, "prices")))
        prices = stack.enter_context(Asking(url, "/v1/estimates", headers, pricing.pid))
        url, headers, storing = stack.enter_context(served(Path(folder, "stored")))
        stored = stack.enter_context(Asking(url, "/v1/book/quotations", headers, storing.pid, once=True))
        url, pid = stack.enter_context(echoing())
        echo = stack.enter_context(Asking(url, "/echo", {}, pid))
        asked: dict[str, Callable[[list[dict[str, Any]]], Took]] = {
            "engine, here": engine_took,
            "prices": prices.took,
            "stored": lambda bodies: stored.took([{"job": body} for body in bodies]),
            "echo": echo.took,
        }
        rounds = [_round(asked, list(islice(jobs, JOBS)), first) for first in range(-1, count)][1:]  # one to get warm
        rss_mb = max(rss_bytes(pid) for one in (pricing, storing) for pid in family(one.pid)) / 1_000_000
    _print(rounds, rss_mb)
    smallest, largest = (
        engine_took([job | {"quantities": [pieces]} for job in islice(jobs, JOBS)]) for pieces in (1, LARGEST)
    )
    _tell(f"a price of {LARGEST:,} / of 1", largest.seconds / smallest.seconds, LARGEST_RATIO)


def _round(
    asked: dict[str, Callable[[list[dict[str, Any]]], Took]], bodies: list[dict[str, Any]], first: int
) -> dict[str, Took]:
    """The same jobs to each, within seconds."""
    names = list(asked)
    cut = first % len(names)
    return {name: asked[name](bodies) for name in names[cut:] + names[:cut]}


def _print(rounds: Sequence[dict[str, Took]], rss_mb: float) -> None:
    def median(figure: Callable[[dict[str, Took]], float]) -> float:
        return statistics.median(map(figure, rounds))

    print(f"{len(rounds)} rounds of {JOBS} different jobs, {CLIENTS} clients, one worker, SQLite at FULL; medians")
    for name in rounds[0]:
        took = [one[name] for one in rounds]
        rate = statistics.median(one.a_second for one in took)
        cuts = statistics.quantiles([seconds for one in took for seconds in one.each], n=100)
        print(f"{name:<18}{rate:8.0f} /s   p50 {cuts[49] * 1000:7.1f} ms   p99 {cuts[98] * 1000:7.1f} ms")
    allowed = median(lambda one: (one["echo"].seconds + one["engine, here"].seconds) / one["prices"].seconds)
    _tell("prices / what echo and engine allow", allowed, PRICE_RATIO)
    _tell("prices / echo", median(lambda one: one["echo"].seconds / one["prices"].seconds))
    _tell("stored / prices", median(lambda one: one["prices"].seconds / one["stored"].seconds), STORED_RATIO)
    cpu = median(lambda one: one["engine, here"].cpu_seconds / one["prices"].cpu_seconds)
    _tell("CPU of the engine / of a price", cpu)
    _tell("memory of the worker, MB", rss_mb, MOST_MB)


def _tell(name: str, figure: float, wanted: object = "") -> None:
    print(f"{name:<38}{figure:8.2f}   {f'wanted {wanted}' if wanted else ''}")


def different_jobs() -> Iterator[dict[str, Any]]:
    """Jobs that differ in size and in quantity, without an end."""
    for place in count_up():
        job = copy.deepcopy(JOB) | {"title": f"Cards {place}", "quantities": [100 + place % 97]}
        job["items"][0]["size"] = f"{120 + place % 13} x {170 + place / 1000:.3f} mm"
        yield job


def engine_took(jobs: Sequence[dict[str, Any]]) -> Took:
    """The engine in this process, from a job's JSON to the estimate's."""
    card = load_rate_card(CARD)
    bodies = [to_json(job) for job in jobs]
    began, began_cpu = time.perf_counter(), time.process_time()
    each = []
    for body in bodies:
        asked = time.perf_counter()
        to_json(estimate_job(read_job(msgspec.json.decode(body)), card, on=DAY))
        each.append(time.perf_counter() - asked)
    took, cpu = time.perf_counter() - began, time.process_time() - began_cpu
    return Took(seconds=took, cpu_seconds=cpu, each=tuple(each))


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
def echoing() -> Iterator[tuple[str, int]]:
    """A bare handler that reads the body and answers as many bytes as an estimate has."""
    url = free_url()
    app = "tests.benchmarks.bench_api:echo_app"
    told = ["--factory", "--port", url.rpartition(":")[2], "--no-access-log", "--log-level", "error"]
    told += ["--timeout-keep-alive", str(KEEP_ALIVE_SECONDS)]
    process = subprocess.Popen([sys.executable, "-m", "uvicorn", app, *told])
    try:
        _wait_for(f"{url}/echo")
        yield url, process.pid
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


if __name__ == "__main__":
    main()
