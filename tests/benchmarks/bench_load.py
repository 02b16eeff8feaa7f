"""
The server under a steady load (A60): requests come at their rate whether or not those before them are answered.

Two workers, SQLite at FULL, every job another; the clients run on the same cores. Each figure stands beside the same
request asked alone, one after another, in the same minute. Run with ``python -m tests.benchmarks.bench_load``;
``--soak-minutes 30`` besides asks a mixture of everything at 20 a second, and tells what was refused, what the
workers hold of memory, and how many files they hold open.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import statistics
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

from msgspec import Struct

from api.settings import Settings
from quoting.reader import to_json
from tests.api.asking import CARD, job
from tests.api.conftest import OPEN_HANDED
from tests.api.public.conftest import made_keys
from tests.api.public.visiting import CONTACT, choice, new_address
from tests.api.serving import Served, family, free_url, rss_bytes
from tests.benchmarks.bench_api import different_jobs
from tests.benchmarks.wire import Answered, Wire, get_bytes, post_bytes

ALONE = 40
GOOD = {200, 201}
MINUTE_SECONDS = 60
IDLE_SECONDS = 30
SOAK_A_SECOND = 20


class Load(Struct, frozen=True):
    """Requests of one kind, at a rate, and what is wanted of them."""

    name: str
    a_second: float
    requests: Iterator[bytes]
    percent: int
    wanted_ms: int


def main() -> None:
    """Print every figure; then the soak, where it is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=int, default=20, help="of each load")
    parser.add_argument("--soak-minutes", type=int, default=0)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        book = str(Path(folder) / "book.sqlite")
        form, owner = made_keys(book)
        limits = OPEN_HANDED | {"most_prices_a_minute": 1_000_000}
        settings = Settings(card=CARD, book=book, base_url=free_url(), workers=2, **limits)
        with Served(settings, Path(folder) / "log") as server:
            kinds = Kinds(server.url, form, owner)
            print("two workers, SQLite at FULL; all but the first column in ms")
            for load in kinds.loads():
                asyncio.run(tell(server.url, load, told.seconds))
            if told.soak_minutes:
                asyncio.run(soak(server, kinds.mixture(), told.soak_minutes))


class Kinds:
    """Requests of every kind, each another than those before it."""

    def __init__(self, url: str, form: str, owner: str) -> None:
        self._host = {"Host": urlsplit(url).netloc}
        self._owner = self._host | {"Authorization": f"Bearer {owner}"}
        self._form = self._host | {"Authorization": f"Bearer {form}"}
        self._jobs = different_jobs()
        self._numbers = itertools.count(50)

    def loads(self) -> list[Load]:
        """The three that have a figure of their own."""
        return [
            Load("prices of the order form", 100, self._prices(), 99, 50),
            Load("estimates", 20, self._estimates(), 99, 50),
            Load("quotations stored", 50, self._stored(), 99, 250),
            Load("PDFs of 20 lines", 1, self._documents(), 95, 1000),
        ]

    def mixture(self) -> Iterator[bytes]:
        """Everything that a shop's server is asked, in its proportions of a second."""
        many = [self._prices() for _ in range(11)] + [self._estimates() for _ in range(4)]
        some = [self._requests(), self._stored(), self._looks(), self._looks(), self._lists()]
        for second in itertools.count():
            last = self._documents() if second % 10 == 0 else self._lists()
            for one in [*many, *some[:-1], last]:
                yield next(one)

    def _prices(self) -> Iterator[bytes]:
        for number in self._numbers:
            told = choice(quantities=[50 + number % 900, 100 + number % 800])
            yield post_bytes("/v1/public/prices", to_json(told), self._visitor())

    def _requests(self) -> Iterator[bytes]:
        for number in self._numbers:
            told = choice(quantities=[50 + number % 900], contact={**CONTACT, "email": f"v{number}@post.example"})
            yield post_bytes("/v1/public/requests", to_json(told), self._visitor(), once=True)

    def _visitor(self) -> dict[str, str]:
        return {**self._form, "X-Forwarded-For": new_address()}

    def _estimates(self) -> Iterator[bytes]:
        for one in self._jobs:
            yield post_bytes("/v1/estimates", to_json(one), self._owner)

    def _stored(self) -> Iterator[bytes]:
        for one in self._jobs:
            yield post_bytes("/v1/book/quotations", to_json({"job": one}), self._owner, once=True)

    def _documents(self) -> Iterator[bytes]:
        for number in self._numbers:
            twenty = job(title=f"Cards {number}", quantities=[100 + 50 * line for line in range(20)])
            yield post_bytes("/v1/quotations", to_json(twenty), {**self._owner, "Accept": "application/pdf"})

    def _looks(self) -> Iterator[bytes]:
        while True:
            yield get_bytes("/v1/public/offers", self._visitor())

    def _lists(self) -> Iterator[bytes]:
        while True:
            yield get_bytes("/v1/book/quotations?limit=50", self._owner)


class Crew:
    """Connections that are kept, and one more where all of them wait for an answer."""

    def __init__(self, url: str) -> None:
        self._url = url
        self._free: list[tuple[Wire, float]] = []
        self.answers: list[Answered] = []
        self.refused: Counter[str] = Counter()

    async def ask(self, request: bytes, due: float) -> None:
        """Ask once; what is measured begins when the request was due."""
        wire = self._kept() or await Wire.to(self._url)
        try:
            answer = await wire.ask(request)
        except (OSError, EOFError) as error:
            self.refused[repr(error)] += 1
            return
        self._free.append((wire, time.monotonic()))
        if answer.status not in GOOD:
            self.refused[f"{answer.status} {answer.body[:200]!r}"] += 1
        self.answers.append(Answered(answer.status, b"", time.perf_counter() - due))

    def _kept(self) -> Wire | None:
        """A connection that is free and not idle for long, since the server closes what is."""
        while self._free:
            wire, since = self._free.pop()
            if time.monotonic() - since < IDLE_SECONDS:
                return wire
            wire.close()
        return None

    async def at_rate(self, requests: Iterator[bytes], a_second: float, seconds: float) -> None:
        """Ask at a rate for a time, and wait for the last answer."""
        began = time.perf_counter()
        async with asyncio.TaskGroup() as tasks:
            for place in range(round(a_second * seconds)):
                due = began + place / a_second
                await asyncio.sleep(max(0.0, due - time.perf_counter()))
                tasks.create_task(self.ask(next(requests), due))

    def percentile_ms(self, percent: int) -> float:
        """So many of a hundred answers came within this."""
        return statistics.quantiles([one.seconds for one in self.answers], n=100)[percent - 1] * 1000

    def close(self) -> None:
        """Close every connection."""
        for wire, _ in self._free:
            wire.close()


async def tell(url: str, load: Load, seconds: int) -> None:
    """One kind alone, then at its rate."""
    alone, crew = Crew(url), Crew(url)
    for _ in range(min(ALONE, max(8, round(load.a_second * seconds)))):
        await alone.ask(next(load.requests), time.perf_counter())
    await crew.at_rate(load.requests, load.a_second, max(seconds, 40 / load.a_second))
    quiet, busy = alone.percentile_ms(50), crew.percentile_ms(load.percent)
    print(
        f"{load.name:<26}{load.a_second:5.0f} /s   alone p50 {quiet:6.1f}   at the rate p50"
        f" {crew.percentile_ms(50):6.1f}   p{load.percent} {busy:7.1f} (wanted {load.wanted_ms})"
        f"   {busy / quiet:5.1f} x   refused {dict(crew.refused)}",
        flush=True,
    )
    for one in (alone, crew):
        one.close()


async def soak(server: Served, requests: Iterator[bytes], minutes: int) -> None:
    """The mixture for some minutes, a line each; growth is counted from the end of the second."""
    crew = Crew(server.url)
    held: list[tuple[int, int]] = []
    for minute in range(1, minutes + 1):
        crew.answers.clear()
        await crew.at_rate(requests, SOAK_A_SECOND, MINUTE_SECONDS)
        workers = family(server.pid)
        held.append(
            (sum(map(rss_bytes, workers)), sum(len(list(Path(f"/proc/{pid}/fd").iterdir())) for pid in workers))
        )
        print(
            f"minute {minute:>3}   p50 {crew.percentile_ms(50):6.1f} ms   p99 {crew.percentile_ms(99):7.1f} ms"
            f"   memory {held[-1][0] / 1e6:6.0f} MB   files {held[-1][1]:4}   refused {crew.refused.total()}",
            flush=True,
        )
    first, last = held[min(1, len(held) - 1)], held[-1]
    print(
        f"memory {last[0] / first[0]:.3f} of the second minute's; files {last[1] - first[1]:+}; {dict(crew.refused)}"
    )
    crew.close()


if __name__ == "__main__":
    main()
