"""A32: workers are killed at any moment, and nothing that was said to be kept is lost, doubled or skipped."""

from __future__ import annotations

import multiprocessing
import os
import random
import sqlite3
import threading
from collections import deque
from contextlib import closing
from pathlib import Path

import pytest

from quoting.book import QuoteBook
from tests.book.conftest import Addresses
from tests.book.shop import NOW, issued, priced
from tests.book.worker import POINTS, complete_lines, work

PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.book.worker"])


class Siege:
    """Workers at one book, some of them killed; every key is asked for until it is answered."""

    def __init__(self, address: str, keys: list[str], kills: int) -> None:
        self.address, self.kills_left = address, kills
        self.waiting = deque(keys)
        self.answers: dict[str, str] = {}
        self.chance = random.Random(kills)
        self.lock = threading.Lock()

    def run(self, slots: int, chunk: int) -> None:
        """Keep some workers going until every key is answered."""
        crew = [threading.Thread(target=self._slot, args=(chunk,)) for _ in range(slots)]
        for one in crew:
            one.start()
        for one in crew:
            one.join()

    def _slot(self, chunk: int) -> None:
        while keys := self._take(chunk):
            with self.lock:
                kill = self.kills_left > 0
                self.kills_left -= kill
                delay = self.chance.uniform(0.0, 0.4)
            self.hear(keys, one_worker(self.address, keys, kill_after=delay if kill else None))

    def _take(self, chunk: int) -> list[str]:
        with self.lock:
            return [self.waiting.popleft() for _ in range(min(chunk, len(self.waiting)))]

    def hear(self, keys: list[str], told: bytes) -> None:
        """What a worker said before it ended: answers stay the same, the rest is asked for again."""
        heard = complete_lines(told)
        with self.lock:
            assert all(self.answers.get(key, number) == number for key, number in heard.items())
            self.answers |= heard
            self.waiting.extend(key for key in keys if key not in heard)


def one_worker(address: str, keys: list[str], *, kill_after: float | None = None, point: str = "") -> bytes:
    """Everything a worker says; it is killed after some seconds, or dies at a point."""
    ours, theirs = PROCESSES.Pipe(duplex=False)
    process = PROCESSES.Process(target=work, args=(address, keys, theirs, 8, point))
    process.start()
    theirs.close()
    told = bytearray()
    reader = threading.Thread(target=lambda: told.extend(_all_of(ours.fileno())))
    reader.start()
    process.join(kill_after)
    process.kill()
    reader.join()
    process.join()
    ours.close()
    return bytes(told)


def _all_of(handle: int) -> bytes:
    return b"".join(iter(lambda: os.read(handle, 65536), b""))


def hold_after(address: str, answers: dict[str, str], keys: list[str]) -> None:
    """Nothing lost, nothing doubled, no gap; every key still gives its answer."""
    with QuoteBook(address) as book:
        report = book.verify(engines={})
        again = {key: issued(book, key=key).number for key in keys}
        after = book.verify(engines={})
    numbers = sorted(again.values())

    assert report.tampering == ()
    assert again == again | answers
    assert numbers == [f"Q-{ordinal:05}" for ordinal in range(1, len(keys) + 1)]
    assert after.quotations == len(keys)
    if "://" not in address:
        with closing(sqlite3.connect(address)) as plain:
            assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert plain.execute("PRAGMA foreign_key_check").fetchall() == []


@pytest.mark.parametrize(("kills", "writes"), [(8, 240), pytest.param(200, 20_000, marks=pytest.mark.long)])
def test_workers_killed_at_random_lose_and_double_nothing(addresses: Addresses, kills: int, writes: int) -> None:
    priced()
    address = addresses()
    with QuoteBook(address):
        pass
    keys = [f"request-{number:06}" for number in range(writes)]
    siege = Siege(address, keys, kills)

    siege.run(slots=4, chunk=max(25, writes // 400))
    while siege.kills_left > 0:
        siege.waiting.extend(keys[:100])
        siege.run(slots=4, chunk=25)

    assert siege.kills_left == 0
    assert siege.answers.keys() == set(keys)
    hold_after(address, siege.answers, keys)


@pytest.mark.parametrize("times", [2, pytest.param(50, marks=pytest.mark.long)])
@pytest.mark.parametrize("point", POINTS)
def test_workers_killed_at_a_named_point_lose_and_double_nothing(
    addresses: Addresses, point: str, times: int
) -> None:
    address = addresses()
    with QuoteBook(address) as book:
        issued(book, key="request-first")
    keys = ["request-first"]
    siege = Siege(address, keys, times)

    for time in range(times):
        few = [f"request-{time}-{number}" for number in range(3)]
        siege.hear([], one_worker(address, few, point=point))
        keys += few

    with QuoteBook(address) as book:
        assert book.verify(engines={}).tampering == ()
        kept = len(book.list(at=NOW, most=200).quotations)
    assert kept == 1 if point in POINTS[:4] else kept > 1
    hold_after(address, siege.answers, keys)


def test_a_killed_first_opening_leaves_a_book_that_opens(tmp_path: Path) -> None:
    for number in range(6):
        address = str(tmp_path / f"book-{number}.sqlite")
        one_worker(address, ["request-1"], kill_after=0.02 * number)

        hold_after(address, {}, ["request-1", "request-2"])
