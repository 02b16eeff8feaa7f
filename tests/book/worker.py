"""A process that issues quotations and says so, until it is done or killed."""

from __future__ import annotations

import json
import os
import random
import signal
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from quoting.book import QuoteBook
from quoting.book.storage import Storage
from quoting.book.upgrading import upgrade
from quoting.errors import StorageError
from tests.book.shop import issued, priced

priced()  # workers are forked from a process that has it

POINTS = ("after begin", "after quote", "after number", "before commit", "before reply", "mid-reply")
_STATEMENTS = {
    "after begin": ("BEGIN IMMEDIATE", "LOCK TABLE"),
    "after quote": ("INSERT INTO quotes",),
    "after number": ("INSERT INTO counters",),
}


def die() -> None:
    """What kill -9 does, from inside."""
    os.kill(os.getpid(), signal.SIGKILL)


def work(address: str, keys: Sequence[str], replies: Connection, threads: int = 8, point: str = "") -> None:
    """Issue one quotation for each key and write a line for each; die at a point, where one is named."""
    with QuoteBook(address) as book:
        _die_at(book, point)

        def issue(key: str) -> None:
            line = f"{key} {issued(book, key=key).number}\n".encode()
            if point == "before reply":
                die()
            if point == "mid-reply":
                os.write(replies.fileno(), line[: len(line) // 2])
                die()
            os.write(replies.fileno(), line)

        with ThreadPoolExecutor(threads) as crew:
            list(crew.map(issue, keys))


def _die_at(book: QuoteBook, point: str) -> None:
    def executed(_: Any, __: Any, statement: str, *___: Any) -> None:
        if statement.startswith(_STATEMENTS.get(point, ("nothing",))):
            die()

    event.listen(book.storage.engine, "after_cursor_execute", executed)
    if point == "before commit":
        event.listen(book.storage.engine, "commit", lambda _: die())


def client_process(address: str, process: int, clients: int, each: int, replies: Connection) -> None:
    """Many clients in one process; a fifth of the transactions is rolled back at their end."""
    chance = random.Random(process)
    seconds: list[float] = []
    refused: Counter[str] = Counter()

    def roll_back(_: Any) -> None:
        if chance.random() < 0.2:
            raise OperationalError("COMMIT", {}, Exception("rolled back by the test"))

    def client(number: int) -> list[str]:
        numbers = []
        for place in range(each):
            key = f"process-{process}-client-{number}-{place}"
            while True:
                began = time.perf_counter()
                try:
                    numbers.append(issued(book, key=key, series="AB"[number % 2]).number)
                    break
                except StorageError as error:
                    refused[str(error)] += 1
                finally:
                    seconds.append(time.perf_counter() - began)
        return numbers

    with QuoteBook(address) as book:
        event.listen(book.storage.engine, "commit", roll_back)
        with ThreadPoolExecutor(clients) as crew:
            numbers = [number for found in crew.map(client, range(clients)) for number in found]
    replies.send_bytes(json.dumps([numbers, refused, sorted(seconds)]).encode())


def upgrade_and_die(address: str, place: int, steps: Sequence[Path]) -> None:
    """Upgrade, and die at one of its calls; a place past the last is never reached."""
    storage = Storage(address)
    calls = 0

    def called(*_: Any) -> None:
        nonlocal calls
        calls += 1
        if calls == place:
            die()

    for name in ("after_cursor_execute", "commit"):
        event.listen(storage.engine, name, called)
    upgrade(storage.engine, steps=steps)


def complete_lines(told: bytes) -> dict[str, str]:
    """Key and number of every line that came whole."""
    lines = told.decode().split("\n")[:-1]
    return {key: number for key, _, number in (line.partition(" ") for line in lines)}
