"""The desk that every part of the book works at: how it reads, how it writes, where chance comes from."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any, TypeVar

from sqlalchemy import Connection

from quoting.book.asking import once
from quoting.book.chain import written_instant
from quoting.book.doors import plain_words
from quoting.book.page import Asked, Moment, Page
from quoting.book.papers import Chance
from quoting.book.storage import Storage
from quoting.book.writer import Writer

_T = TypeVar("_T")


class Desk:
    """One open book: its storage, its writer, its chance."""

    def __init__(self, storage: Storage, chance: Chance) -> None:
        self.storage, self.chance = storage, chance
        self.writer = Writer(storage)

    def now(self, at: datetime.datetime, by: str) -> Moment:
        """
        When a change is made and by whom.

        Raises:
            ValueError: an instant without a time zone.
            InputError: nobody, or words that cannot be printed.
        """
        written_instant(at)
        return Moment(at, plain_words("by", by, least=1), self.chance)

    def write(
        self,
        work: Callable[[Page], _T],
        asked: Asked | None = None,
        again: Callable[[Page, str, int], Any] | None = None,
    ) -> _T:
        """
        Have work done and kept.

        Args:
            asked: The request that it is done for, once.
            again: What answers that request when it comes again, from the subject and version it led to; the
                quotation as it was then, if left out.
        """
        return self.writer.write(work if asked is None else once(work, asked, again), asked)

    def read(self, question: Callable[[Connection], _T]) -> _T:
        """Ask something of the book as it is now."""
        with self.storage.reading() as connection:
            return question(connection)

    def close(self) -> None:
        """Finish what is being written and let the storage go."""
        self.writer.close()
        self.storage.close()
