"""A process that issues quotations and says so, until it is done or killed."""

from __future__ import annotations

import os
import signal
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from typing import Any

from sqlalchemy import event

from quoting.book import QuoteBook
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


def complete_lines(told: bytes) -> dict[str, str]:
    """Key and number of every line that came whole."""
    lines = told.decode().split("\n")[:-1]
    return {key: number for key, _, number in (line.partition(" ") for line in lines)}
