"""What one worker has at hand: settings, the card in force, the book, the clock; how much is done at once."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from typing import TypeVar
from zoneinfo import ZoneInfo

from anyio import CapacityLimiter, to_thread

from api.keys import ANON, DEMO, Credential, sent_secret, unauthorized
from api.settings import Settings
from quoting import Estimate, Job, RateCard, estimate_job, load_rate_card
from quoting.book import QuoteBook
from quoting.errors import StorageError
from quoting.planning.pins import Pin

_T = TypeVar("_T")
Clock = Callable[[], datetime.datetime]
BOOK_THREADS = 64  # each waits for the disk; the book's one writer keeps many together


def system_clock() -> datetime.datetime:
    """The time now."""
    return datetime.datetime.now(datetime.UTC)


class Desk:
    """Made once a worker; operations ask it for everything that is not in the request."""

    def __init__(self, settings: Settings, *, clock: Clock = system_clock) -> None:
        """
        Read the card, open the book.

        Raises:
            RateCardError: the card is refused.
        """
        self.settings = settings
        self.now = clock
        self.card = load_rate_card(settings.card)
        self._book: QuoteBook | None = None
        self._engine = CapacityLimiter(1)
        self._questions = CapacityLimiter(1)
        self._documents = CapacityLimiter(2)
        self._storage = CapacityLimiter(BOOK_THREADS)

    @property
    def book(self) -> QuoteBook:
        """
        The quote book.

        Raises:
            StorageError: there is none, or it does not answer.
        """
        if self._book is None:
            if not self.settings.book:
                raise StorageError("expected QUOTING_BOOK to name a quote book; found nothing")
            self._book = QuoteBook(self.settings.book)
        return self._book

    def close(self) -> None:
        """Finish what is being written."""
        if self._book is not None:
            self._book.close()
            self._book = None

    def today(self, card: RateCard | None = None) -> datetime.date:
        """The day it is where the shop is."""
        return self.now().astimezone(ZoneInfo((card or self.card).region.time_zone)).date()

    async def estimate(self, job: Job, *, pins: Sequence[Pin] = ()) -> Estimate:
        """A job, priced today with the card in force."""
        card, on = self.card, self.today()
        return await self.engine(lambda: estimate_job(job, card, on=on, pins=pins))

    async def engine(self, work: Callable[[], _T]) -> _T:
        """Work of the engine: off the loop, one at a time, since more would only wait for each other."""
        return await to_thread.run_sync(work, limiter=self._engine)

    async def question(self, work: Callable[[], _T]) -> _T:
        """A long question, beside which prices go on."""
        return await to_thread.run_sync(work, limiter=self._questions)

    async def document(self, work: Callable[[], _T]) -> _T:
        """A document; it is rendered in a child process."""
        return await to_thread.run_sync(work, limiter=self._documents)

    async def in_book(self, work: Callable[[QuoteBook], _T]) -> _T:
        """Work on the book: it waits for the disk, off the loop."""
        return await to_thread.run_sync(lambda: work(self.book), limiter=self._storage)

    async def credential(self, authorization: str | None) -> Credential:
        """
        Who asks.

        Raises:
            ProblemError: a key that is none of ours, or not in force.
        """
        if self.settings.demo:
            return DEMO
        secret = sent_secret(authorization)
        if secret is None:
            return ANON
        raise unauthorized()
