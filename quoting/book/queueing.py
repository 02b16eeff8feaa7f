"""
A queue of the processes that want to write one SQLite file, and patience with a busy one.

SQLite's own waiting sleeps up to 0.1 s a time, and whoever happens to be awake is served: of 256 clients in
four processes the slowest hundredth waited seven times longer with it alone. It still guards the file; this
only keeps the queue moving, and stands aside where it cannot.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows has no such lock
    fcntl = None  # type: ignore[assignment]  # Windows has none

_PAUSE_SECONDS = 0.001
_MOST_SECONDS = 20.0


@contextmanager
def turn(path: Path | None) -> Iterator[None]:
    """Wait for one's turn to write a file; a process that dies gives its turn up."""
    if path is None or fcntl is None:
        yield
        return
    queue = os.open(path.parent, os.O_RDONLY)  # SQLite locks the file itself, and would lose that by our closing it
    try:
        _wait(queue)
        yield
    finally:
        os.close(queue)


def while_busy(work: Callable[[], object]) -> None:
    """
    Do something with a SQLite file, again while it is busy.

    Where several turn on the log of a new file, SQLite refuses all but one at once, whatever its timeout.
    """
    ends = time.monotonic() + _MOST_SECONDS
    while True:
        try:
            work()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > ends:
                raise
            time.sleep(_PAUSE_SECONDS)
        else:
            return


def _wait(queue: int) -> None:
    ends = time.monotonic() + _MOST_SECONDS
    while time.monotonic() < ends:
        try:
            fcntl.flock(queue, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(_PAUSE_SECONDS)
        except OSError:  # a file system without such locks
            return
        else:
            return
