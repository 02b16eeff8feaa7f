"""What one worker has at hand: settings, the card in force, the book, the clock; how much is done at once."""

from __future__ import annotations

import datetime
import logging
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from anyio import CapacityLimiter, Semaphore, fail_after, move_on_after, sleep, to_thread

from api.keys import ANON, DEMO, KEEP_SECONDS, Credential, credential_of, goes_on, sent_secret, unauthorized
from api.limits import Limits
from api.looks import Looks, SharedLook
from api.settings import Settings
from quoting import Estimate, Job, RateCard, estimate_job, load_rate_card
from quoting.artwork import UPLOADED
from quoting.artwork.measuring import MOST_AT_ONCE
from quoting.book import QuoteBook
from quoting.book.access_keys import KeysInForce
from quoting.book.asking import RequestKey
from quoting.book.looking_up import CardVersion
from quoting.errors import ArtworkBusyError, BookNotReadyError, StorageError
from quoting.planning.pins import Pin

if TYPE_CHECKING:
    from api.operations import Operation

_T = TypeVar("_T")
Clock = Callable[[], datetime.datetime]
LOG = logging.getLogger("api.desk")
CARD_SECONDS = 0.5
KEYS_SECONDS = 10
LOOK_SECONDS = 3  # for a few rows, which take milliseconds
READY_SECONDS = 1.5
BOOK_SECONDS = 20  # under what is left to requests when a server stops
TIDY_SECONDS = 3600
LEAST_BYTES = 200_000_000
WAITING_LONGER = datetime.timedelta(minutes=10)  # a request that is being kept may still read it
MOST_UPLOADS = 32  # each on disk until it is answered
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
        self.operations: tuple[Operation, ...] = ()
        self.card = load_rate_card(settings.card)
        self._book: QuoteBook | None = None
        self._opening = threading.Lock()
        self._looks = Looks(LOOK_SECONDS)
        self._ready_looks = Looks(READY_SECONDS)
        self._keys = KeysInForce()
        self._keys_at = -math.inf
        self._keys_look = SharedLook(self._read_keys)
        self._card_until = 0.0
        self._published = False
        self.limits = Limits(self, settings.secret)
        self._engine = CapacityLimiter(1)
        self._questions = CapacityLimiter(1)
        self._documents = CapacityLimiter(2)
        self._storage = CapacityLimiter(BOOK_THREADS)
        self._measuring = Semaphore(MOST_AT_ONCE)
        self._measurers = CapacityLimiter(MOST_AT_ONCE)
        self._uploads = 0

    @property
    def book(self) -> QuoteBook:
        """
        The quote book.

        Raises:
            StorageError: there is none, or it does not answer.
        """
        with self._opening:
            if self._book is None:
                if not self.settings.book:
                    raise StorageError("expected QUOTING_BOOK to name a quote book; found nothing")
                self._book = QuoteBook(
                    self.settings.book,
                    secret=self.settings.secret.encode(),
                    artwork=Path(self.settings.artwork) if self.settings.artwork else None,
                )
            return self._book

    def close(self) -> None:
        """Finish what is being written."""
        if self._book is not None:
            self._book.close()
            self._book = None

    def today(self, card: RateCard) -> datetime.date:
        """The day it is where the shop is."""
        return self.now().astimezone(ZoneInfo(card.region.time_zone)).date()

    async def estimate(self, job: Job, card: RateCard, *, pins: Sequence[Pin] = ()) -> Estimate:
        """A job, priced today."""
        return await self.made(job, card, lambda estimate: estimate, pins=pins)

    async def made(self, job: Job, card: RateCard, make: Callable[[Estimate], _T], *, pins: Sequence[Pin] = ()) -> _T:
        """What is made of a job that is priced today: in the same thread, which has the estimate at hand."""
        on = self.today(card)
        return await self.engine(lambda: make(estimate_job(job, card, on=on, pins=pins)))

    async def engine(self, work: Callable[[], _T]) -> _T:
        """Work of the engine: off the loop, one at a time, since more would only wait for each other."""
        return await to_thread.run_sync(work, limiter=self._engine)

    async def question(self, work: Callable[[], _T]) -> _T:
        """A long question, beside which prices go on."""
        return await to_thread.run_sync(work, limiter=self._questions)

    async def document(self, work: Callable[[], _T]) -> _T:
        """A document; it is rendered in a child process."""
        return await to_thread.run_sync(work, limiter=self._documents)

    async def artwork(self, work: Callable[[], _T]) -> _T:
        """
        Artwork to be measured, in a child of its own: few at a time, and the others wait a little.

        Raises:
            ArtworkBusyError: no place was free in time.
        """
        try:
            with fail_after(UPLOADED.waited_seconds):
                await self._measuring.acquire()
        except TimeoutError as error:
            raise ArtworkBusyError(f"expected a place to measure artwork in {UPLOADED.waited_seconds} s") from error
        try:
            return await to_thread.run_sync(work, limiter=self._measurers)
        finally:
            self._measuring.release()

    @contextmanager
    def place_for_upload(self) -> Iterator[None]:
        """
        A place on the disk for what somebody sends.

        Raises:
            ArtworkBusyError: all are taken.
        """
        if self._uploads >= MOST_UPLOADS:
            raise ArtworkBusyError(f"expected at most {MOST_UPLOADS} files at once; found one more")
        self._uploads += 1
        try:
            yield
        finally:
            self._uploads -= 1

    async def in_book(self, work: Callable[[QuoteBook], _T], *, seconds: float = BOOK_SECONDS) -> _T:
        """
        Work on the book: it waits for the disk, off the loop.

        Raises:
            StorageError: the book does not answer, or not in time; what became of the work nobody knows then.
        """
        self._looks.hold_none_waits()
        with move_on_after(seconds):
            return await to_thread.run_sync(lambda: work(self.book), limiter=self._storage, abandon_on_cancel=True)
        raise StorageError(f"expected the book to answer in {seconds:g} s; found that it did not")

    async def look(self, work: Callable[[QuoteBook], _T]) -> _T:
        """
        A look at a few rows of the book, which a request does not wait long for.

        Raises:
            StorageError: the book does not answer, or not in time.
        """
        return await self._looks.look(lambda: work(self.book))

    async def credential(self, authorization: str | None) -> Credential:
        """
        Who asks.

        Raises:
            ProblemError: a key that is none of ours, or not in force.
            StorageError: the book does not answer, and the key is not known from a moment ago.
        """
        if self.settings.demo:
            return DEMO
        secret = sent_secret(authorization)
        if secret is None:
            return ANON
        if self._keys_age < KEEP_SECONDS and (known := self._known(secret)):
            return known
        try:
            await self._keys_look.look()
        except StorageError:
            known = self._known(secret)
            if known is None or not goes_on(known, self._keys_age):
                raise
            return known
        if (known := self._known(secret)) is None:
            raise unauthorized()
        return known

    def _known(self, secret: str) -> Credential | None:
        key = self._keys.find(secret, at=self.now())
        return credential_of(key) if key else None

    @property
    def _keys_age(self) -> float:
        """How long ago the keys were read. [s]"""
        return time.monotonic() - self._keys_at

    async def _read_keys(self) -> None:
        asked_at = time.monotonic()
        self._keys = await self.look(lambda book: book.keys.in_force(at=self.now()))
        self._keys_at = asked_at

    async def origins(self) -> frozenset[str]:
        """The origins of web pages that may ask the public face: of the settings, and of keys in force."""
        if self.settings.book and self._keys_age >= KEEP_SECONDS:
            with suppress(StorageError):
                await self._keys_look.look()
        return frozenset({*self.settings.origins, *self._keys.origins_at(self.now())})

    def methods_at(self, path: str) -> tuple[str, ...]:
        """The methods that what is at a path can be asked with; none where nothing is."""
        at = [one for one in self.operations if one.is_at(path)]
        found = {one.method for one in at if one.path == path} or {one.method for one in at}
        return tuple(sorted({*found, "OPTIONS", *(("HEAD",) if "GET" in found else ())})) if found else ()

    async def check_ready(self) -> None:
        """
        Hold that the book can be worked with.

        Raises:
            StorageError: it cannot, or does not say so in time.
        """
        await self._ready_looks.look(lambda: self.book.check_ready(least_bytes=LEAST_BYTES))

    async def publish(self, card: RateCard, *, by: str, key: RequestKey) -> CardVersion:
        """
        Publish a card; from now on it prices.

        Raises:
            PublishedCardError: its version was published with other content.
        """

        def work(book: QuoteBook) -> CardVersion:
            hash = book.publish_card(card, at=self.now(), by=by, key=key)
            return next(version for version in book.cards() if version.hash == hash)

        version = await self.in_book(work)
        self._card_until = 0.0
        return version

    async def keep_tidy(self) -> None:
        """Every hour, forget keys of requests, and files that nobody sent, that are older than they are kept."""
        while self.settings.book:
            await sleep(TIDY_SECONDS)
            with suppress(StorageError):
                await self.in_book(self._tidy)

    def _tidy(self, book: QuoteBook) -> None:
        book.forget_keys(before=self.now() - datetime.timedelta(days=self.settings.keep_keys_days))
        book.tidy_artwork(before=self.now() - WAITING_LONGER)

    async def keep_keys_in_mind(self) -> None:
        """Every few seconds, also while nobody asks: a book that goes away finds every worker knowing the keys."""
        while self.settings.book:
            await sleep(KEYS_SECONDS)
            with suppress(StorageError):
                await self._keys_look.look()

    async def card_in_force(self) -> RateCard:
        """The card that prices: the one published last; while the book does not answer, the one before."""
        if self.settings.book and time.monotonic() >= self._card_until:
            self._card_until = time.monotonic() + CARD_SECONDS
            with suppress(StorageError):
                self.card = await self.look(self._newest)
        return self.card

    def _newest(self, book: QuoteBook) -> RateCard:
        if not self._published:
            self._publish_own(book)
        versions = book.cards()
        newest = versions[-1].hash
        return self.card if newest == self.card.content_hash else book.card(newest)

    def _publish_own(self, book: QuoteBook) -> None:
        """The card that the settings name is published, unless it was before, so that it prices from now on."""
        if self.card.content_hash not in {version.hash for version in book.cards()}:
            book.publish_card(self.card, at=self.now(), by="owner")
        self._published = True

    async def open(self) -> None:
        """
        Open the book and publish the card; a book that does not answer yet is asked again later.

        Raises:
            BookNotReadyError: it is not as it must be.
            PublishedCardError: the card's version was published with other content.
        """
        await to_thread.run_sync(self.open_book, limiter=self._storage)
        with suppress(StorageError):
            await self._keys_look.look()

    def open_book(self) -> None:
        """
        Open the book, publish the card and forget what is old, before anybody asks; see ``open``.

        Raises:
            BookNotReadyError: it is not as it must be.
            PublishedCardError: the card's version was published with other content.
        """
        if not self.settings.book:
            return
        try:
            self.card = self._newest(self.book)
            self._tidy(self.book)
        except BookNotReadyError:
            raise
        except StorageError as error:
            LOG.error("the quote book does not answer", exc_info=error)
