"""
One writer: requests that wait together are kept together, in one transaction.

A disk keeps a few thousand transactions a second and hardly minds how large they are, so full durability
costs a request only its share of one. Nobody gets an answer before the transaction is on the disk.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

from sqlalchemy.exc import DataError

from quoting.book.page import Asked, Page
from quoting.book.storage import Storage
from quoting.errors import BookError, QuotingError, StorageError

_T = TypeVar("_T")
Work = Callable[[Page], Any]
Waiting = tuple[Work, "Future[Any]", Asked | None]
MOST_IN_A_GROUP = 256


class Writer:
    """A thread of its own that writes what others hand it."""

    def __init__(self, storage: Storage) -> None:
        self._storage = storage
        self._waiting: SimpleQueue[Waiting | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._starting = threading.Lock()
        self._closed = False

    def write(self, work: Callable[[Page], _T], asked: Asked | None = None) -> _T:
        """
        Have work done on the book and wait until it is kept.

        Args:
            asked: The request that it is done for.

        Raises:
            QuotingError: what the work refuses, or the book's storage; then nothing of it is kept.
        """
        done: Future[_T] = Future()
        with self._starting:
            if self._closed:
                raise BookError("expected an open book; found it closed")
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="quote-book-writer", daemon=True)
                self._thread.start()
            self._waiting.put((work, done, asked))
        return done.result()

    def close(self) -> None:
        """Finish what waits, then stop."""
        with self._starting:
            self._closed = True
            thread = self._thread
            self._waiting.put(None)
        if thread is not None:
            thread.join()

    def _run(self) -> None:
        while (first := self._waiting.get()) is not None:
            group, last = self._group(first)
            self._keep(group)
            if last:
                return

    def _group(self, first: Waiting) -> tuple[list[Waiting], bool]:
        group = [first]
        while len(group) < MOST_IN_A_GROUP:
            try:
                waiting = self._waiting.get_nowait()
            except Empty:
                break
            if waiting is None:
                return group, True
            group.append(waiting)
        return group, False

    def _keep(self, group: list[Waiting]) -> None:
        """Keep a group together; where one work spoils it, each by itself, so that the others are kept."""
        try:
            answers = self._together([work for work, _, _ in group], [asked for _, _, asked in group if asked])
        except BaseException as error:  # a thread that died would leave everybody waiting
            self._failed(group, error)
            return
        for (_, done, _), answer in zip(group, answers, strict=True):
            if isinstance(answer, QuotingError):
                done.set_exception(answer)
            else:
                done.set_result(answer)

    def _failed(self, group: list[Waiting], error: BaseException) -> None:
        # After a failure of the storage nobody knows what was kept: only the one who asked may ask again. A row
        # that the storage does not take is one work's, and nothing was kept.
        unknown = isinstance(error, StorageError) and not isinstance(error.__cause__, DataError)
        if len(group) == 1 or unknown:
            for _, done, _ in group:
                done.set_exception(error)
            return
        for one in group:
            self._keep([one])

    def _together(self, works: list[Work], asked: list[Asked]) -> list[Any]:
        answers: list[Any] = []
        with self._storage.writing() as connection:
            page = Page(connection, asked)
            for work in works:
                answers.append(_tried(page, work))
            page.flush()
        return answers


def _tried(page: Page, work: Work) -> Any:
    before = page.put_down
    try:
        return work(page)
    except QuotingError as refused:
        if page.put_down != before:  # half of it stands on the page already
            raise
        return refused
    finally:
        page.asked = None
